//go:build linux

package store_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// children of namespaces: a folder that nobody can write to, and a small disk. Root
// may write anywhere, so that rights alone would show nothing here.
func inNamespace(t *testing.T, script string, args ...string) string {
	t.Helper()
	if out, err := exec.Command("unshare", "-rm", "true").CombinedOutput(); err != nil {
		if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
			t.Skip("NOT TESTED on other file systems: no mount namespace, and BANDPROOF_NO_PEERS=1 is set")
		}
		t.Fatalf("a mount namespace is needed (or set BANDPROOF_NO_PEERS=1 to go without): %v: %s", err, out)
	}
	c := exec.Command("unshare", append([]string{"-rm", "sh", "-euc", script, os.Args[0]}, args...)...)
	c.Dir = t.TempDir()
	out, err := c.CombinedOutput()
	require.NoError(t, err, "%s", out)
	return string(out)
}

// What only reads works on a store in a folder that can't be written: one that was
// closed, one of an earlier layout, and one whose log still holds what was written last.
func TestReadOnlyFolder(t *testing.T) {
	for name, make := range map[string]func(dir string){
		"closed": func(dir string) {
			s, err := store.Open(t.Context(), filepath.Join(dir, "s.db"))
			require.NoError(t, err)
			for k := range 2 {
				add(t, s, some([]string{"a", "b"}[k], "1", runner.AsFound, at(k)))
			}
			require.NoError(t, s.Close())
		},
		"earlier layout": func(dir string) {
			text, err := os.ReadFile(store.OldStore(t))
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(dir, "s.db"), text, 0o644))
		},
		"with its log": func(dir string) {
			live := filepath.Join(t.TempDir(), "live.db")
			s := open(t, live)
			for k := range 2 {
				add(t, s, some([]string{"a", "b"}[k], "1", runner.AsFound, at(k)))
			}
			for _, ending := range []string{"", "-wal"} {
				text, err := os.ReadFile(live + ending)
				require.NoError(t, err)
				require.NotEmpty(t, text)
				require.NoError(t, os.WriteFile(filepath.Join(dir, "s.db"+ending), text, 0o644))
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			make(dir)
			out := inNamespace(t, `mount --bind "$1" "$1"; mount -o remount,ro,bind "$1"
STORE_TEST_CHILD=reads STORE_TEST_PLACE="$1/s.db" "$0"`, dir)
			require.Contains(t, out, "can't be written here: it is opened to read only")
			require.Contains(t, out, "records: 2")
			require.Contains(t, out, "a store must be writable")
			require.Contains(t, out, "writing: store ")
		})
	}
}

// A disk that is full: what was kept is there, and nothing half made is left, be it
// a backup, an archive, an import or a migration.
func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	from := open(t, filepath.Join(dir, "from.db"))
	for k := range 60 {
		r := some(string(rune('a'+k%26))+string(rune('a'+k/26)), "1", runner.AsFound, at(k))
		var noise strings.Builder // as long as it is packed
		for i := range 1000 {
			noise.WriteString(record.Hash(fmt.Append(nil, k, i)))
		}
		r.Job.Remarks = noise.String()
		add(t, from, r)
	}
	archive, _ := export(t, from, store.Export{})
	out := inNamespace(t, `mkdir disk; mount -t tmpfs -o size=1500k tmpfs disk
STORE_TEST_CHILD=full STORE_TEST_PLACE="$1 $2 $PWD/disk" "$0"; ls -A disk`, filepath.Join(dir, "from.db"), archive)
	for _, what := range []string{"backup", "export", "import"} {
		require.Regexp(t, what+": store .*(disk is full|no space left)", out)
	}
	require.Contains(t, out, "left: 0 records")
	_, files, ok := strings.Cut(out, "whole: true <nil>\n")
	require.True(t, ok, out)
	require.Equal(t, "to.db\nto.db-shm\nto.db-wal\n", files, "nothing half made is left")
	v, err := from.Verify(t.Context(), record.Expect{}, nil)
	require.NoError(t, err)
	require.True(t, v.Holds())
}

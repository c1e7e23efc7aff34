package store_test

import (
	"bytes"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// filled is a closed store of some size.
func filled(t *testing.T) string {
	file := filepath.Join(t.TempDir(), "s.db")
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	j, err := s.Begin(t.Context(), store.Header{ID: "run", Kind: runner.AsFound})
	require.NoError(t, err)
	for k := range 200 {
		require.NoError(t, j.Event(t.Context(), runner.Event{At: at(1), Text: strings.Repeat(fmt.Sprint(k), 300)}))
	}
	require.NoError(t, s.Close())
	require.NoFileExists(t, file+"-wal")
	return file
}

func hash(t *testing.T, file string) [32]byte {
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	return sha256.Sum256(text)
}

// Wherever a page of the file is damaged, it is refused in plain words, or its
// structure holds and it opens; a refused file is left as it is.
func TestDamagedFile(t *testing.T) {
	file := filled(t)
	whole, err := os.ReadFile(file)
	require.NoError(t, err)
	const page = 4096
	refused := 0
	for k := 0; k < len(whole)/page; k += 3 {
		for name, harm := range map[string]func([]byte){
			"page of noise":  func(p []byte) { copy(p, bytes.Repeat([]byte{0x5a, 0xc3, 0x11}, page/3)) },
			"page of zeros":  func(p []byte) { clear(p) },
			"a flipped byte": func(p []byte) { p[3] ^= 0x40 },
		} {
			damaged := filepath.Join(t.TempDir(), "d.db")
			text := bytes.Clone(whole)
			harm(text[k*page : (k+1)*page])
			require.NoError(t, os.WriteFile(damaged, text, 0o644))
			before := hash(t, damaged)
			s, err := store.Open(t.Context(), damaged)
			if err == nil {
				require.NoError(t, s.Close())
				continue
			}
			refused++
			require.ErrorIs(t, err, store.ErrStore)
			require.True(t, isAny(err, store.ErrDamaged, store.ErrNotAStore), "%s of page %d: %v", name, k, err)
			require.Equal(t, before, hash(t, damaged), "%s of page %d: it was written to", name, k)
		}
	}
	require.Greater(t, refused, len(whole)/page/3, "most damage of the structure is found")
	t.Logf("%d of %d damaged files refused", refused, (len(whole)/page+2)/3*3)
}

func isAny(err error, of ...error) bool {
	for _, e := range of {
		if strings.Contains(err.Error(), e.Error()) {
			return true
		}
	}
	return false
}

// A file that was cut short, as a copy that was broken off.
func TestCutFile(t *testing.T) {
	file := filled(t)
	info, err := os.Stat(file)
	require.NoError(t, err)
	for _, size := range []int64{1, 50, 100, 5000, info.Size() / 2, info.Size() - 4096} {
		require.NoError(t, os.Truncate(file, info.Size()))
		cut := filepath.Join(t.TempDir(), "c.db")
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(cut, text[:size], 0o644))
		before := hash(t, cut)
		_, err = store.Open(t.Context(), cut)
		require.Error(t, err, size)
		require.True(t, isAny(err, store.ErrDamaged, store.ErrNotAStore), "%d: %v", size, err)
		require.Equal(t, before, hash(t, cut), "%d", size)
	}
}

// What another program has written is not ours to write to.
func TestSQLiteFileOfAnotherProgram(t *testing.T) {
	file := filepath.Join(t.TempDir(), "other.db")
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	_, err = db.Exec("CREATE TABLE run (id TEXT); INSERT INTO run VALUES ('theirs')")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	before := hash(t, file)
	_, err = store.Open(t.Context(), file)
	require.ErrorIs(t, err, store.ErrNotAStore)
	require.ErrorContains(t, err, "another program")
	require.Equal(t, before, hash(t, file))
}

// A store of an earlier layout is brought up to date once it has been copied, and
// all that it held reads as before.
func TestOlderFileIsMigratedAfterABackup(t *testing.T) {
	file := store.OldStore(t)
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	require.Len(t, s.Notes(), 1)
	require.Regexp(t, `the layout of store .* is brought up to date \(from 5 to [0-9]+\); as it was before, it is kept in .*\.before-000[0-9]+$`, s.Notes()[0])
	_, kept, _ := strings.Cut(s.Notes()[0], "is kept in ")
	rows, err := s.List(t.Context(), store.Query{})
	require.NoError(t, err)
	require.Len(t, rows, 2)
	for _, row := range rows {
		r, err := s.Record(t.Context(), row.ID)
		require.NoError(t, err)
		require.Equal(t, "bandproof record 1", r.Schema)
		require.Equal(t, "DC3-0042", r.Job.Serial)
		require.Len(t, r.Run.Points, 47)
	}
	open, err := s.Interrupted(t.Context())
	require.NoError(t, err)
	require.Len(t, open, 1)
	require.Equal(t, 17, open[0].Points)
	wire, err := s.ReadWireLog(t.Context(), open[0].Header.ID)
	require.NoError(t, err)
	require.NotEmpty(t, wire)
	log, err := s.BenchLog(t.Context(), "")
	require.NoError(t, err)
	require.Len(t, log, 1)
	require.Equal(t, 7, log[0].Tries)
	require.NoError(t, s.Close())

	db, err := sql.Open("sqlite", kept)
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	var layout, records int
	require.NoError(t, db.QueryRow("SELECT max(version_id), (SELECT count(*) FROM record) FROM goose_db_version").Scan(&layout, &records))
	require.Equal(t, []int{5, 2}, []int{layout, records}, "the backup is the store of before")

	s, err = store.Open(t.Context(), file)
	require.NoError(t, err)
	require.Empty(t, s.Notes(), "once")
	require.NoError(t, s.Close())
}

// A backup of an earlier try is not written over.
func TestBackupBeforeMigrationTakesNoOthersPlace(t *testing.T) {
	file := store.OldStore(t)
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	_, kept, _ := strings.Cut(s.Notes()[0], "is kept in ")
	require.NoError(t, s.Close())
	again := store.OldStore(t)
	mine := again + strings.TrimPrefix(kept, file)
	require.NoError(t, os.WriteFile(mine, []byte("precious"), 0o644))
	s, err = store.Open(t.Context(), again)
	require.NoError(t, err)
	require.Contains(t, s.Notes()[0], mine+"-2")
	require.NoError(t, s.Close())
	text, err := os.ReadFile(mine)
	require.NoError(t, err)
	require.Equal(t, "precious", string(text))
}

//go:build linux

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A disk that fills up ends the run with RF off, by an error that names the file;
// once there is space it goes on, to the same record. The disk is a small file
// system of its own, in a mount namespace.
func TestDiskFull(t *testing.T) {
	t.Parallel() // it mostly waits
	bandproof, _ := programs(t)
	if out, err := exec.Command("unshare", "-rm", "true").CombinedOutput(); err != nil {
		if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
			t.Skip("NOT TESTED that a full disk ends a run well: no mount namespace, and BANDPROOF_NO_PEERS=1 is set")
		}
		t.Fatalf("a mount namespace is needed (or set BANDPROOF_NO_PEERS=1 to go without): %v: %s", err, out)
	}
	whole := newKillable(t)
	c, said := whole.run(bandproof)
	_ = c.Run() // the unit fails
	require.Equal(t, exitFailed, c.ProcessState.ExitCode(), said.String())
	want := apartFromTimes(t, whole.record(t))

	k := newKillable(t)
	disk := filepath.Join(k.dir, "disk")
	require.NoError(t, os.Mkdir(disk, 0o755))
	script := `set -u
mount -t tmpfs -o size=900k tmpfs disk
yes "" | "$0" run "$1"/procedure.toml bench.toml --as-found --job "$1"/job-as-found.toml --out . --invented --store disk/store.db; echo "run ended with $?" >&2
mount -o remount,size=50m disk
yes "" | "$0" resume --store disk/store.db; echo "resume ended with $?" >&2
cp disk/store.db* .`
	demo, err := filepath.Abs("demo")
	require.NoError(t, err)
	sh := exec.Command("unshare", "-rm", "sh", "-c", script, bandproof, demo)
	sh.Dir = k.dir
	var out strings.Builder
	sh.Stderr = &out
	require.NoError(t, sh.Run(), out.String())
	first, second, _ := strings.Cut(out.String(), "run ended with 4\n")
	require.NotEmpty(t, second, out.String())
	require.Regexp(t, `store disk/store\.db: .*disk is full|disk I/O error`, first)
	require.Contains(t, first, "bandproof resume")
	require.Regexp(t, `run resumed with [0-9]+ of [0-9]+ points taken`, second)
	require.NotContains(t, second, "run resumed with 0 of", "some were kept before it was full")
	require.Contains(t, second, "resume ended with 1\n")
	// The gates of the point that could not be kept are gone by: noise apart, the record is the same.
	got := apartFromTimes(t, k.record(t))
	require.Equal(t, verdictLines.FindAllString(want, -1), verdictLines.FindAllString(got, -1))
	require.Empty(t, k.Events())
}

var verdictLines = regexp.MustCompile(`"word": "[^"]*"`)

// A run that is stopped (as when a computer is suspended) for longer than its links
// wait goes on when it is woken, to the end.
func TestStoppedProcess(t *testing.T) {
	t.Parallel() // it mostly waits
	bandproof, _ := programs(t)
	k := newKillable(t)
	file := filepath.Join(k.dir, "bench.toml")
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, []byte(strings.ReplaceAll(string(text), "profile = \"scpi-", "timeout = \"300 ms\"\nprofile = \"scpi-")), 0o644))
	c, said := k.run(bandproof)
	require.NoError(t, c.Start())
	for range 3 {
		pause := time.NewTimer(700 * time.Millisecond)
		<-pause.C
		require.NoError(t, c.Process.Signal(syscall.SIGSTOP))
		pause.Reset(800 * time.Millisecond)
		<-pause.C
		require.NoError(t, c.Process.Signal(syscall.SIGCONT))
	}
	_ = c.Wait() // the unit fails
	require.Equal(t, exitFailed, c.ProcessState.ExitCode(), said.String())
	r := k.record(t)
	require.True(t, r.Run.Complete)
	require.Empty(t, r.Run.Sessions, "it was one process")
	for _, p := range r.Run.Points {
		require.True(t, p.Judged(), "%s: %s %v", p.Point.ID, p.Verdict, p.Notes)
	}
	require.Empty(t, k.Events())
}

// An instrument serves one run at a time; a run that was killed keeps none.
func TestOneRunPerBench(t *testing.T) {
	t.Parallel() // it mostly waits
	bandproof, _ := programs(t)
	k := newKillable(t)
	c, said := k.run(bandproof)
	require.NoError(t, c.Start())
	require.Eventually(t, func() bool { return k.interrupted(t) != nil }, time.Minute, 20*time.Millisecond)
	second, complaint := k.run(bandproof)
	require.Error(t, second.Run())
	require.Equal(t, exitBench, second.ProcessState.ExitCode())
	require.Regexp(t, `at TCPIP0::127\.0\.0\.1::[0-9]+::SOCKET is in use by another run: as-found run [0-9a-f]+, process [0-9]+, since `, complaint.String())
	resumed, complaint := k.command(bandproof, "resume")
	require.Error(t, resumed.Run(), "it is under way")
	require.Contains(t, complaint.String(), "in use by another run")
	list, notes := k.command(bandproof, "records", "list")
	require.NoError(t, list.Run())
	require.Contains(t, notes.String(), "is under way")
	require.NoError(t, c.Process.Kill())
	_ = c.Wait() // killed
	k.rewind(t)
	resumed, complaint = k.command(bandproof, "resume")
	_ = resumed.Run() // the unit fails
	require.Equal(t, exitFailed, resumed.ProcessState.ExitCode(), "%s\n%s", said, complaint)
	k.record(t)
}

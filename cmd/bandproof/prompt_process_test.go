//go:build linux

package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
)

// atTerminal is bandproof at a terminal of its own.
type atTerminal struct {
	t    *testing.T
	c    *exec.Cmd
	keys *os.File
	all  sync.WaitGroup

	mu   sync.Mutex
	text bytes.Buffer
	from int // what was waited for up to here
}

func startAtTerminal(t *testing.T, program string, args ...string) *atTerminal {
	t.Helper()
	x := &atTerminal{t: t, c: exec.Command(program, args...)}
	var err error
	x.keys, err = pty.StartWithSize(x.c, &pty.Winsize{Rows: 24, Cols: 100})
	require.NoError(t, err)
	x.all.Go(func() {
		buf := make([]byte, 4096)
		for {
			n, err := x.keys.Read(buf)
			x.mu.Lock()
			x.text.Write(buf[:n])
			x.mu.Unlock()
			if err != nil {
				return
			}
		}
	})
	t.Cleanup(func() {
		_ = x.c.Process.Kill()
		_ = x.keys.Close()
		x.all.Wait()
		if t.Failed() {
			t.Logf("on the screen: %q", x.screen())
		}
	})
	return x
}

// sees waits until a text has come, after what was seen before.
func (x *atTerminal) sees(text string) {
	x.t.Helper()
	require.Eventually(x.t, func() bool {
		x.mu.Lock()
		defer x.mu.Unlock()
		rest := x.text.String()[x.from:]
		k := strings.Index(rest, text)
		if k >= 0 {
			x.from += k + len(text)
		}
		return k >= 0
	}, time.Minute, 5*time.Millisecond, text)
}

func (x *atTerminal) screen() string {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.text.String()
}

func (x *atTerminal) types(text string) {
	x.t.Helper()
	_, err := x.keys.WriteString(text)
	require.NoError(x.t, err)
}

func (x *atTerminal) ends(code int) {
	x.t.Helper()
	done := make(chan struct{})
	go func() {
		_ = x.c.Wait()
		close(done)
	}()
	select {
	case <-done:
	case <-time.After(2 * time.Minute):
		x.t.Fatal("the program does not end")
	}
	require.Equal(x.t, code, x.c.ProcessState.ExitCode())
}

// Nobody is there when the first cable has to be moved; the bell rings, the
// input is put off, and whoever comes back then answers with the bar on the screen.
func TestPromptsAtATerminal(t *testing.T) {
	t.Parallel() // it mostly waits
	bandproof, bench := programs(t)
	dir := t.TempDir()
	resources, _ := serveBench(t, bench, "--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0", "--tcp", "MW=127.0.0.1:0")
	file := benchFile(t, dir, resources, "")
	run := func(more ...string) *atTerminal {
		return startAtTerminal(t, bandproof, append([]string{"run", "demo/procedure.toml", file, "--as-found", "--job", "demo/job-as-found.toml",
			"--store", filepath.Join(dir, "store.db"), "--out", dir, "--invented"}, more...)...)
	}

	x := run("--prompt-timeout", "8s", "--on-timeout", "skip")
	x.sees("\a")
	x.sees(">> connect source LF to input A (BNC)")
	x.sees("caution: input A is destroyed at")
	x.sees("skipped at ")
	x.sees(" if nobody answers")
	x.sees("no answer within 8 s: skipped")
	x.sees("path LF to A put off to the end of the run: nobody answers")
	x.sees("press Enter to be asked sooner")
	x.sees("offered once more")
	answer := func(inputs ...string) {
		for _, input := range inputs {
			x.sees(" to input " + input + " (")
			x.sees("leave this input out")
			x.types("\r")
		}
	}
	allPass := func() {
		x.sees("points passed, 0 failed, 0 not judged, 0 not taken")
		x.ends(exitOK)
	}
	x.sees("\a")
	answer("A", "B", "C")
	allPass()
	entries := lastRecord(t, dir)["run"].(map[string]any)["entries"].([]any)
	first, second := entries[0].(map[string]any), entries[1].(map[string]any)
	require.Equal(t, "nobody", first["who"])
	require.Equal(t, "no answer within 8 s: skipped", first["answer"])
	require.NotEmpty(t, first["asked_at"])
	require.Equal(t, first["asked"], second["asked"])
	require.Equal(t, "done", second["answer"])

	// Somebody answers once and goes home: the run ends, and goes on in the morning.
	x = run("--prompt-timeout", "8s", "--on-timeout", "stop", "--no-bell")
	answer("A")
	x.sees("the run ends at ")
	x.sees("ending the run: switching RF off")
	x.sees("the run ended early: no operator: no answer within 8 s to \"connect source MW to input B")
	x.ends(exitOpen)
	require.NotContains(t, x.screen(), "\a")
	x = startAtTerminal(t, bandproof, "resume", "--store", filepath.Join(dir, "store.db"), "--on-for", "2h")
	answer("B", "C")
	allPass()
}

//go:build linux

package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A run is logged, the log is played, and the same run against what is played
// gives the same readings: what somebody's log holds can be had again anywhere.
func TestARunIsReproducedFromItsWireLog(t *testing.T) {
	t.Parallel() // it mostly waits
	bandproof, bench := programs(t)
	dir, again := t.TempDir(), t.TempDir()
	log := filepath.Join(dir, "run.log")
	resources, end := serveBench(t, bench, "--seed", "11", "--fault", "dead-above:input=B,from=850 MHz",
		"--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0", "--pty", "MW="+filepath.Join(dir, "mw"))
	code, said, first := runProcess(t, bandproof, benchFile(t, dir, resources, ""), dir, "--as-found", "--wire-log", "--wire-log-to", log)
	require.Equal(t, exitFailed, code, said)
	require.NotContains(t, said, "warning: wire log")
	end()

	c := exec.Command(bench, "--replay", log, "--time-scale", "500", "--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0", "--tcp", "MW=127.0.0.1:0")
	played := startBench(t, c)
	code, said, second := runProcess(t, bandproof, benchFile(t, again, played, ""), again, "--as-found")
	require.Equal(t, exitFailed, code, said)
	require.NoError(t, c.Wait(), "every log is at its end, and the process ends by itself: %s", c.Stderr)
	require.Equal(t, comparable(first), comparable(second))

	// What was kept with the record is what was written to the file.
	store := filepath.Join(dir, "store.db")
	id := first["id"].(string)
	kept := filepath.Join(dir, "kept.log")
	output(t, exitOK, bandproof, "records", "wire-log", id, "--store", store, "--to", kept)
	a, err := os.ReadFile(log)
	require.NoError(t, err)
	b, err := os.ReadFile(kept)
	require.NoError(t, err)
	require.Equal(t, exchangesOf(string(a)), exchangesOf(string(b)))

	shown := output(t, exitOK, bandproof, "records", "wire-log", id, "--store", store, "--only", "counter")
	require.Regexp(t, `(?m)^ +\d+\.\d{6}  counter +-> "\*IDN\?\\n"$`, shown)
	require.Regexp(t, `(?m)^ +\d+\.\d{6}  counter +<- "Invented Instruments,Demo Counter Three`, shown)
	require.Regexp(t, `(?m)^ +\d+\.\d{6}  counter +== close$`, shown)
	require.NotContains(t, shown, "  LF ")
	require.Contains(t, output(t, exitOK, bandproof, "wire-log", kept, "--json"), `"schema": "bandproof wire log 1"`)
	require.Contains(t, output(t, exitUsage, bandproof, "records", "wire-log", second["id"].(string), "--store", filepath.Join(again, "store.db")), "no wire log was kept")
}

// exchangesOf leaves the head out, whose times differ.
func exchangesOf(log string) []string {
	var list []string
	for line := range strings.Lines(log) {
		if !strings.HasPrefix(line, "#") {
			list = append(list, line)
		}
	}
	return list
}

// output runs a program and returns all that it says.
func output(t *testing.T, code int, program string, args ...string) string {
	t.Helper()
	c := exec.Command(program, args...)
	text, _ := c.CombinedOutput() // the exit code is what counts
	require.Equal(t, code, c.ProcessState.ExitCode(), string(text))
	return string(text)
}

// startBench starts a virtual bench and returns the resource names, by name.
func startBench(t *testing.T, c *exec.Cmd) map[string]string {
	t.Helper()
	var complaints bytes.Buffer
	c.Stderr = &complaints
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	t.Cleanup(func() { _ = c.Process.Kill() })
	resources := readyLines(out)
	require.NotNil(t, resources, "the virtual bench did not get ready: %s", &complaints)
	return resources
}

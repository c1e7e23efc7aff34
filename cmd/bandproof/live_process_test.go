//go:build linux

package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"bandproof/drivers/virtual"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// atPark starts hold or adjust at a terminal, on a bench that is served in this
// process, and answers the prompt for the cable.
func atPark(t *testing.T, bandproof string, extra ...string) (*atTerminal, *virtual.Bench) {
	t.Helper()
	b, file := servedBench(t)
	t.Setenv("BANDPROOF_CLAIMS", filepath.Join(t.TempDir(), "claims"))
	args := append(extra, "demo/procedure.toml", file, "--input", "B", "--frequency", "1GHz", "--store", filepath.Join(t.TempDir(), "s.db"))
	x := startAtTerminal(t, bandproof, args...)
	x.sees(`press Enter when the cable is on, or type "skip" to leave this input out`)
	_, err := x.keys.WriteString("\r")
	require.NoError(t, err)
	x.sees(" ppm  ")
	return x, b
}

// servedBench serves the virtual bench in this process, a hundred times faster
// than the clock.
func servedBench(t *testing.T) (*virtual.Bench, string) {
	t.Helper()
	s, err := virtual.DefaultScenario()
	require.NoError(t, err)
	clock, err := virtual.NewScaledClock(100)
	require.NoError(t, err)
	b, err := virtual.New(s, virtual.Options{Clock: clock, Follow: true})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	var serving sync.WaitGroup
	t.Cleanup(func() { cancel(); serving.Wait(); _ = b.Close() })
	resources := map[string]string{}
	for _, i := range b.Instruments() {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		serving.Go(func() { _ = b.ServeListener(ctx, i.Name, l) })
		resources[i.Name] = fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", l.Addr().(*net.TCPAddr).Port)
	}
	return b, benchFile(t, t.TempDir(), resources, "")
}

// rfOutput tells whether the RF of a source is on, past all our own code.
func rfOutput(t *testing.T, b *virtual.Bench, source string) string {
	t.Helper()
	return runnertest.Ask(t, b, source, "OUTP?")
}

// Signals switch RF off at the source, whatever the terminal does meanwhile.
func TestHoldAtATerminal(t *testing.T) {
	bandproof, _ := programs(t)
	for name, end := range map[string]func(x *atTerminal) error{
		"SIGINT":  func(x *atTerminal) error { return x.c.Process.Signal(os.Interrupt) },
		"SIGTERM": func(x *atTerminal) error { return x.c.Process.Signal(syscall.SIGTERM) },
		"Ctrl-C":  func(x *atTerminal) error { _, err := x.keys.WriteString("\x03"); return err },
		"q":       func(x *atTerminal) error { _, err := x.keys.WriteString("q\r"); return err },
		"hang-up": func(x *atTerminal) error { return x.keys.Close() },
	} {
		t.Run(name, func(t *testing.T) {
			x, b := atPark(t, bandproof, "hold")
			require.Equal(t, "1", rfOutput(t, b, "MW"))
			require.NoError(t, end(x))
			err := x.c.Wait()
			if name != "hang-up" { // then its output has nowhere to go
				require.NoError(t, err)
			}
			require.Equal(t, "0", rfOutput(t, b, "MW"))
			require.Empty(t, b.Events())
		})
	}
}

// Each Enter is a try; the line is drawn anew and never longer than the terminal.
func TestAdjustAtATerminal(t *testing.T) {
	bandproof, _ := programs(t)
	x, b := atPark(t, bandproof, "adjust", "--not-obtainable", "no as-found run in this test", "--gate", "10 s")
	require.NoError(t, b.SetFaults(nil))
	_, err := x.keys.WriteString("a quarter turn\r")
	require.NoError(t, err)
	x.sees("try 1: ")
	x.sees("(a quarter turn)")
	x.sees("steady")
	_, err = x.keys.WriteString("q\r")
	require.NoError(t, err)
	x.sees("adjustment: ended by the person")
	x.sees("an as-left run is due")
	require.NoError(t, x.c.Wait())
	for _, line := range strings.FieldsFunc(x.screen(), func(r rune) bool { return r == '\r' || r == '\n' }) {
		if i := strings.Index(line, "\x1b[K"); i > 0 {
			require.LessOrEqual(t, len([]rune(line[:i])), 99)
		}
	}
	require.Equal(t, "0", rfOutput(t, b, "MW"))
}

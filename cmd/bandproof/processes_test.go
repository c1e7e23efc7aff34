//go:build linux

package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// serveBench runs the virtual bench as a process and returns the VISA resource
// name of each instrument, and a way to end it.
func serveBench(t *testing.T, program string, args ...string) (map[string]string, func()) {
	t.Helper()
	c := exec.Command(program, append([]string{"--time-scale", "500", "--follow"}, args...)...)
	var complaints bytes.Buffer
	c.Stderr = &complaints
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	ended := false
	end := func() {
		if !ended {
			ended = true
			_ = c.Process.Signal(syscall.SIGTERM)
			_ = c.Wait()
		}
	}
	t.Cleanup(end)
	resources := readyLines(out)
	if resources == nil {
		t.Fatalf("the virtual bench did not get ready: %s", complaints.String())
	}
	return resources, end
}

// readyLines reads what the virtual bench says until it is ready, nil if it
// does not get so far.
func readyLines(out io.Reader) map[string]string {
	resources := map[string]string{}
	s := bufio.NewScanner(out)
	for s.Scan() {
		if s.Text() == "ready" {
			return resources
		}
		name, resource, _ := strings.Cut(s.Text(), " ")
		resources[name] = resource
	}
	return nil
}

// benchFile writes the demo's bench file with other addresses.
func benchFile(t *testing.T, dir string, resources map[string]string, more string) string {
	t.Helper()
	data, err := os.ReadFile("demo/bench.toml")
	require.NoError(t, err)
	text := string(toToday(data, time.Now()))
	for name, was := range map[string]string{"counter": "5025", "LF": "5026", "MW": "5027"} {
		old := `address = "TCPIP0::127.0.0.1::` + was + `::SOCKET"`
		require.Contains(t, text, old)
		require.NotEmpty(t, resources[name], name)
		address, via, behind := strings.Cut(resources[name], " via ")
		settings := more
		if behind {
			settings += `via = "` + via + "\"\n"
		}
		text = strings.Replace(text, old, `address = "`+address+"\"\n"+settings, 1)
	}
	file := filepath.Join(dir, "bench.toml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	return file
}

// runProcess runs bandproof with Enter at every prompt and returns its exit
// code, standard error, and the record that it wrote.
func runProcess(t *testing.T, program, bench, dir string, args ...string) (int, string, map[string]any) {
	t.Helper()
	c := exec.Command(program, append([]string{"run", "demo/procedure.toml", bench, "--job", "demo/job-as-found.toml",
		"--store", filepath.Join(dir, "store.db"), "--out", dir, "--invented"}, args...)...)
	c.Stdin = strings.NewReader(strings.Repeat("\n", 10))
	var out, complaints bytes.Buffer
	c.Stdout, c.Stderr = &out, &complaints
	err := c.Run()
	var code *exec.ExitError
	if err != nil {
		require.ErrorAs(t, err, &code, complaints.String())
	}
	return c.ProcessState.ExitCode(), complaints.String(), lastRecord(t, dir)
}

// lastRecord reads the record that a run wrote, nil where it wrote none.
func lastRecord(t *testing.T, dir string) (r map[string]any) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "as-*.json"))
	require.NoError(t, err)
	if len(files) > 0 {
		data, err := os.ReadFile(files[len(files)-1])
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(data, &r))
	}
	return r
}

// runUntil starts bandproof, does something once its standard error shows a
// text, and returns exit code and standard error.
func runUntil(t *testing.T, program, bench, dir, seen string, then func(*os.Process)) (code int, said string) {
	t.Helper()
	c := exec.Command(program, "run", "demo/procedure.toml", bench, "--as-found", "--job", "demo/job-as-found.toml",
		"--store", filepath.Join(dir, "store.db"), "--out", dir, "--invented")
	c.Stdin = strings.NewReader(strings.Repeat("\n", 10))
	progress, err := c.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	done := false
	for s := bufio.NewScanner(progress); s.Scan(); {
		said += s.Text() + "\n"
		if !done && strings.Contains(s.Text(), seen) {
			done = true
			then(c.Process)
		}
	}
	_ = c.Wait() // the exit code is what counts
	require.True(t, done, "%q was never seen in:\n%s", seen, said)
	return c.ProcessState.ExitCode(), said
}

// comparable takes out of a record what two runs may differ in: times, ids,
// and the addresses of the bench file.
func comparable(v any) any {
	switch x := v.(type) {
	case map[string]any:
		out := map[string]any{}
		for k, y := range x {
			switch k {
			case "id", "at", "asked_at", "started", "finished", "created", "bench", "program":
			default:
				out[k] = comparable(y)
			}
		}
		return out
	case []any:
		out := make([]any, len(x))
		for k, y := range x {
			out[k] = comparable(y)
		}
		return out
	}
	return v
}

// The main job against instruments that are processes of their own: over every
// link that can be served here (for serial lines pseudo-terminals, and a linked
// pair with another serial library at the far end), with the same seed the same
// record.
func TestSameRecordOverEveryLink(t *testing.T) {
	bandproof, bench := programs(t)
	if _, err := exec.LookPath("socat"); err != nil && os.Getenv("BANDPROOF_NO_PEERS") != "1" {
		t.Fatal("socat is missing; install with: apt-get install socat (or set BANDPROOF_NO_PEERS=1 to go without)")
	}
	fault := []string{"--seed", "11", "--fault", "dead-above:input=B,from=850 MHz"}
	sweep := func(t *testing.T, settings string, args ...string) any {
		t.Helper()
		dir := t.TempDir()
		resources, _ := serveBench(t, bench, append(append([]string{}, fault...), args...)...)
		code, said, r := runProcess(t, bandproof, benchFile(t, dir, resources, settings), dir, "--as-found")
		require.Equal(t, exitFailed, code, said)
		require.Equal(t, "outside tolerance", r["run"].(map[string]any)["statement"])
		require.Equal(t, true, r["run"].(map[string]any)["complete"], said)
		require.Contains(t, said, "connect source LF to input A")
		require.FileExists(t, filepath.Join(dir, "store.db"))
		return comparable(r)
	}
	// each serves every instrument on its own port by one flag.
	each := func(flag, more string) (args []string) {
		for i, name := range []string{"counter", "LF", "MW"} {
			where := "127.0.0.1:0"
			if more != "" {
				where += fmt.Sprintf(more, 7+i)
			}
			args = append(args, flag, name+"="+where)
		}
		return args
	}
	want := sweep(t, "", each("--tcp", "")...)
	dir := t.TempDir()
	var terminals []string
	for _, name := range []string{"counter", "LF", "MW"} {
		terminals = append(terminals, "--pty", name+"="+filepath.Join(dir, name))
	}
	for _, row := range []struct {
		name, settings string
		args           []string
	}{
		{"tcp again", "", each("--tcp", "")},
		{"pseudo-terminal", "baud = 115200\n", terminals},
		{"HiSLIP, synchronised", "", each("--hislip", "")},
		{"HiSLIP, overlap", "overlap = true\n", each("--hislip", "")},
		{"VXI-11", "", each("--vxi11", "")},
		{"VXI-11 gateway", "", each("--vxi11", ",gpib0,%d")},
		{"GPIB adapter on Ethernet", "", []string{"--adapter", "127.0.0.1:0=counter@7,LF@8,MW@9"}},
		{"GPIB adapter on a serial line", "", []string{"--adapter", "pty:" + filepath.Join(dir, "adapter") + "=counter@7,LF@8,MW@9"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel() // they mostly wait
			require.Equal(t, want, sweep(t, row.settings, row.args...))
		})
	}
	t.Run("linked serial lines", func(t *testing.T) {
		if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
			t.Skip("NOT TESTED over linked serial lines: BANDPROOF_NO_PEERS=1 is set")
		}
		t.Parallel()
		dir := t.TempDir()
		near := map[string]string{}
		args := []string{"--tcp", "LF=127.0.0.1:0", "--tcp", "MW=127.0.0.1:0"}
		here, there := filepath.Join(dir, "here"), filepath.Join(dir, "there")
		socat := exec.Command("socat", "pty,raw,echo=0,link="+here, "pty,raw,echo=0,link="+there)
		require.NoError(t, socat.Start())
		t.Cleanup(func() { _ = socat.Process.Kill(); _ = socat.Wait() })
		require.Eventually(t, func() bool { _, a := os.Stat(here); _, b := os.Stat(there); return a == nil && b == nil }, 10*time.Second, 20*time.Millisecond)
		near["counter"] = "ASRL" + here + "::INSTR"
		resources, _ := serveBench(t, bench, append(append(append([]string{}, fault...), args...), "--serial", "counter="+there+",9600")...)
		resources["counter"] = near["counter"]
		work := t.TempDir()
		code, said, r := runProcess(t, bandproof, benchFile(t, work, resources, ""), work, "--as-found")
		require.Equal(t, exitFailed, code, said)
		require.Equal(t, want, comparable(r))
	})
}

// An interrupted process switches RF off, keeps what there is in its journal,
// and exits with 3; the record of what there is comes with resume --finish.
func TestInterruptedProcess(t *testing.T) {
	t.Parallel() // it mostly waits
	bandproof, bench := programs(t)
	for _, signal := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM} {
		t.Run(signal.String(), func(t *testing.T) {
			dir := t.TempDir()
			resources, _ := serveBench(t, bench, "--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0", "--tcp", "MW=127.0.0.1:0")
			code, said := runUntil(t, bandproof, benchFile(t, dir, resources, ""), dir, "B-003", func(p *os.Process) { require.NoError(t, p.Signal(signal)) })
			require.Equal(t, exitOpen, code)
			require.Contains(t, said, "bandproof resume")
			require.Nil(t, lastRecord(t, dir), "the run is not over")
			code, said = resumeProcess(t, bandproof, dir, "--finish")
			require.Equal(t, exitOpen, code, said)
			r := lastRecord(t, dir)["run"].(map[string]any)
			require.Equal(t, false, r["complete"])
			require.Contains(t, r["ended"], "ended with what there is")
			sessions := r["sessions"].([]any)
			require.Len(t, sessions, 1)
			require.Equal(t, "interrupted by the operator", sessions[0].(map[string]any)["how"])
			for _, name := range []string{"LF", "MW"} {
				part := strings.Split(resources[name], "::")
				conn, err := net.Dial("tcp", net.JoinHostPort(part[1], part[2]))
				require.NoError(t, err)
				require.NoError(t, conn.SetDeadline(time.Now().Add(10*time.Second)))
				_, err = conn.Write([]byte("OUTP?\n"))
				require.NoError(t, err)
				reply, err := bufio.NewReader(conn).ReadString('\n')
				require.NoError(t, err)
				require.Equal(t, "0\n", reply, "RF of %s", name)
				require.NoError(t, conn.Close())
			}
		})
	}
}

// A link that is pulled in the middle of a run: exit 4, the address is named,
// and what there is is kept.
func TestPulledLinkOfAProcess(t *testing.T) {
	t.Parallel() // it mostly waits
	bandproof, bench := programs(t)
	dir := t.TempDir()
	resources, end := serveBench(t, bench, "--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0", "--tcp", "MW=127.0.0.1:0")
	file := benchFile(t, dir, resources, "timeout = \"300 ms\"\n")
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, bytes.Replace(text, []byte("move_time"), []byte("link_patience = \"2 s\"\nmove_time"), 1), 0o644))
	code, said := runUntil(t, bandproof, file, dir, "A-005", func(*os.Process) { end() })
	require.Equal(t, exitBench, code, said)
	require.Contains(t, said, "SOCKET")
	require.Contains(t, said, "could not be switched off, do it by hand")
	require.Nil(t, lastRecord(t, dir), "the run is not over")
	code, said = resumeProcess(t, bandproof, dir)
	require.Equal(t, exitBench, code, "the bench is still away: %s", said)
	code, said = resumeProcess(t, bandproof, dir, "--finish")
	require.Equal(t, exitBench, code, said)
	require.Contains(t, said, "RF of source LF may still be ON")
	r := lastRecord(t, dir)
	require.NotNil(t, r, "the record of what there is")
	require.Equal(t, false, r["run"].(map[string]any)["complete"])
	code, said = resumeProcess(t, bandproof, dir)
	require.Equal(t, exitUsage, code, "a run is sealed once")
	require.Contains(t, said, "every run has come to its end")
}

// resumeProcess goes on with the interrupted run of a folder, with Enter at every
// prompt, and returns exit code and standard error.
func resumeProcess(t *testing.T, program, dir string, args ...string) (int, string) {
	t.Helper()
	c := exec.Command(program, append([]string{"resume", "--store", filepath.Join(dir, "store.db")}, args...)...)
	c.Stdin = strings.NewReader(strings.Repeat("\n", 10))
	var complaints bytes.Buffer
	c.Stderr = &complaints
	var code *exec.ExitError
	if err := c.Run(); err != nil {
		require.ErrorAs(t, err, &code, complaints.String())
	}
	return c.ProcessState.ExitCode(), complaints.String()
}

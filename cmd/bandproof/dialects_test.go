//go:build linux

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/virtual"

	"github.com/stretchr/testify/require"
)

// oldScenario writes the default scenario with other dialects to a file.
func oldScenario(t *testing.T, dir string, edit func(text string) string) string {
	t.Helper()
	file := filepath.Join(dir, "scenario.toml")
	require.NoError(t, os.WriteFile(file, []byte(edit(string(virtual.DefaultScenarioText()))), 0o644))
	return file
}

// oldBenchFile writes the demo's bench file with other profiles and addresses.
func oldBenchFile(t *testing.T, dir, counter, source string, resources map[string]string) string {
	t.Helper()
	data, err := os.ReadFile("demo/bench.toml")
	require.NoError(t, err)
	text := strings.NewReplacer(`profile = "scpi-counter"`, `profile = "`+counter+`"`, `profile = "scpi-source"`, `profile = "`+source+`"`).Replace(string(toToday(data, time.Now())))
	for name, port := range map[string]string{"counter": "5025", "LF": "5026", "MW": "5027"} {
		address, via, _ := strings.Cut(resources[name], " via ")
		stated := `address = "` + address + `"`
		if via != "" {
			stated += "\nvia = \"" + via + `"`
		}
		old := `address = "TCPIP0::127.0.0.1::` + port + `::SOCKET"`
		require.Contains(t, text, old)
		text = strings.Replace(text, old, stated, 1)
	}
	file := filepath.Join(dir, "bench.toml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	return file
}

// runAnswering runs bandproof with Enter and "yes" at every question: an old unit can't
// tell which reference it uses, so that the person is asked.
func runAnswering(t *testing.T, program, procedure, bench, dir string) (int, string, map[string]any) {
	t.Helper()
	c := exec.Command(program, "run", procedure, bench, "--as-found", "--job", "demo/job-as-found.toml",
		"--store", filepath.Join(dir, "store.db"), "--out", dir, "--invented")
	c.Stdin = strings.NewReader(strings.Repeat("\nyes\n", 100))
	var complaints bytes.Buffer
	c.Stderr = &complaints
	err := c.Run()
	var code *exec.ExitError
	if err != nil {
		require.ErrorAs(t, err, &code, complaints.String())
	}
	return c.ProcessState.ExitCode(), complaints.String(), lastRecord(t, dir)
}

// shownPoints is what a record says of each point, apart from what only an
// instrument that speaks SCPI can tell: verdict and the values that counted.
func shownPoints(t *testing.T, record map[string]any) (list []string) {
	t.Helper()
	for _, p := range record["run"].(map[string]any)["points"].([]any) {
		point := p.(map[string]any)
		line := fmt.Sprintf("%v %v", point["point"].(map[string]any)["id"], point["verdict"])
		for _, x := range point["readings"].([]any) {
			if r := x.(map[string]any); r["use"] == "counted" {
				line += fmt.Sprintf(" %v%v", r["frequency"], r["mark"])
			}
		}
		list = append(list, line)
	}
	require.NotEmpty(t, list)
	require.Contains(t, list[0], "pass", "verdicts are there")
	return list
}

// longest is the demo's procedure with the longest gates and all readings: which
// gates may be chosen depends on what a counter offers.
func longest(t *testing.T, dir string) string {
	t.Helper()
	file := filepath.Join(dir, "procedure.toml")
	require.NoError(t, os.WriteFile(file, []byte(longestGates(t)), 0o644))
	return file
}

// The main job with a unit and sources that are older than SCPI: with the same
// seed the same values and verdicts at each point, over sockets, serial lines
// and a GPIB adapter.
func TestLettersGiveTheRecordOfSCPI(t *testing.T) {
	bandproof, bench := programs(t)
	seed := []string{"--seed", "11", "--fault", "dead-above:input=B,from=850 MHz"}
	sockets := []string{"--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0", "--tcp", "MW=127.0.0.1:0"}
	sweep := func(t *testing.T, counter, source string, args ...string) []string {
		dir := t.TempDir()
		file := oldScenario(t, dir, func(text string) string {
			if counter == "scpi-counter" {
				return text
			}
			return strings.NewReplacer("[counter.link]\n", "[counter.link]\ndialect = \"letters\"\n", "[source.link]\n", "[source.link]\ndialect = \"letters\"\n").Replace(text)
		})
		resources, _ := serveBench(t, bench, append(append([]string{"--scenario", file}, seed...), args...)...)
		code, said, r := runAnswering(t, bandproof, longest(t, dir), oldBenchFile(t, dir, counter, source, resources), dir)
		require.Equal(t, exitFailed, code, said)
		require.Equal(t, true, r["run"].(map[string]any)["complete"], said)
		return shownPoints(t, r)
	}
	want := sweep(t, "scpi-counter", "scpi-source", sockets...)
	t.Run("sockets", func(t *testing.T) {
		t.Parallel() // they mostly wait
		require.Equal(t, want, sweep(t, "letters-counter", "letters-source", sockets...))
	})
	t.Run("serial lines", func(t *testing.T) {
		t.Parallel()
		dir := t.TempDir()
		var lines []string
		for _, name := range []string{"counter", "LF", "MW"} {
			lines = append(lines, "--pty", name+"="+filepath.Join(dir, name))
		}
		require.Equal(t, want, sweep(t, "letters-counter", "letters-source", lines...))
	})
	t.Run("GPIB adapter", func(t *testing.T) {
		t.Parallel()
		require.Equal(t, want, sweep(t, "letters-counter", "letters-source", "--adapter", "127.0.0.1:0=counter@7,LF@12,MW@13"))
	})
}

// onlyA is the demo's procedure with one input and one gate time, as a counter
// that only talks can be proven without anybody at its front panel.
func onlyA(t *testing.T, dir string) string {
	t.Helper()
	parts := strings.Split(longestGates(t), "\n[[")
	text, input := parts[0], ""
	for _, part := range parts[1:] {
		_, name, _ := strings.Cut(part, "name = \"")
		name, _, _ = strings.Cut(name, "\"")
		if strings.HasPrefix(part, "input]]") {
			input = name
		}
		if strings.HasPrefix(part, "input") && input == "A" || strings.HasPrefix(part, "sweep]]") && name == "A" {
			text += "\n[[" + part
		}
	}
	file := filepath.Join(dir, "procedure.toml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	return file
}

// A counter that only talks gives the values of one that is asked. Which of its
// readings are taken depends on the time of day, so both run from the source's
// reference: then there is no doubt of a count from one gate to the next.
func TestTalkOnlyGivesTheRecordOfSCPI(t *testing.T) {
	bandproof, bench := programs(t)
	sweep := func(t *testing.T, counter, dialect string, args ...string) []string {
		dir := t.TempDir()
		scenario := oldScenario(t, dir, func(text string) string {
			return strings.NewReplacer("[counter.link]\n", "[counter.link]\ndialect = \""+dialect+"\"\n", "reference = \"own\"\n", "reference = \"external\"\n",
				"default_gate = \"100 ms\"", "default_gate = \"1 s\"").Replace(text)
		})
		resources, _ := serveBench(t, bench, append([]string{"--scenario", scenario, "--tcp", "LF=127.0.0.1:0", "--tcp", "MW=127.0.0.1:0"}, args...)...)
		file := oldBenchFile(t, dir, counter, "scpi-source", resources)
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		text = bytes.Replace(text, []byte(`reference = "own"`), []byte(`reference = "house standard"`), 1)
		require.NoError(t, os.WriteFile(file, text, 0o644))
		code, said, r := runAnswering(t, bandproof, onlyA(t, dir), file, dir)
		require.Equal(t, exitOK, code, said)
		if dialect == "talk-only" {
			require.Contains(t, said, "counter: select input A [press Enter when it is done]")
			require.Contains(t, said, "counter: set the gate time to 1 s")
		}
		return shownPoints(t, r)
	}
	want := sweep(t, "scpi-counter", "scpi", "--tcp", "counter=127.0.0.1:0")
	t.Run("socket", func(t *testing.T) {
		t.Parallel()
		require.Equal(t, want, sweep(t, "talk-only-counter", "talk-only", "--tcp", "counter=127.0.0.1:0"))
	})
	t.Run("serial line", func(t *testing.T) {
		t.Parallel()
		require.Equal(t, want, sweep(t, "talk-only-counter", "talk-only", "--pty", "counter="+filepath.Join(t.TempDir(), "counter")))
	})
}

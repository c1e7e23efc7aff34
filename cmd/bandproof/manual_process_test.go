//go:build linux

package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A unit that a person reads, at sources with remote control: the readings
// come through standard input, the sources are instruments in another process.
func TestCounterByHandSourcesByLink(t *testing.T) {
	t.Parallel() // it mostly waits
	bandproof, bench := programs(t)
	dir := t.TempDir()
	resources, _ := serveBench(t, bench, "--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0", "--tcp", "MW=127.0.0.1:0")
	text, err := os.ReadFile(benchFile(t, dir, resources, ""))
	require.NoError(t, err)
	counter := regexp.MustCompile(`(?s)(\[counter\]\n).*?(reference = [^\n]*\n)`)
	require.True(t, counter.Match(text))
	text = counter.ReplaceAll(text, []byte("${1}profile = \"manual\"\n${2}\n[counter.panel]\nunit = \"MHz\"\n"))
	file := filepath.Join(dir, "by-hand.toml")
	require.NoError(t, os.WriteFile(file, text, 0o644))
	procedure := filepath.Join(dir, "procedure.toml")
	require.NoError(t, os.WriteFile(procedure, []byte(oneInput), 0o644))

	c := exec.Command(bandproof, "run", procedure, file, "--as-found", "--on-for", "1h", "--technician", "A. Example (invented)", "--invented",
		"--store", filepath.Join(dir, "store.db"), "--out", dir)
	c.Stdin = strings.NewReader(strings.Join([]string{
		"",                                      // cable
		"",                                      // input
		"yes",                                   // reference
		"",                                      // gate
		"1.00000", "10.00000", "1.00000", "1.0", // a slip, and digits left out
		"1.00000", "-", "-", // RF off
		"10.00000", "10.00000", "10.00000", ""}, "\n"))
	var out, complaints bytes.Buffer
	c.Stdout, c.Stderr = &out, &complaints
	err = c.Run()
	require.Equal(t, exitOK, c.ProcessState.ExitCode(), "%v\n%s%s", err, complaints.String(), out.String())
	require.Contains(t, complaints.String(), "10.000 00 MHz is ten times what the source makes")
	require.Contains(t, complaints.String(), "fewer digits than gate 100 ms gives")
	require.NotContains(t, complaints.String(), ">> source", "the sources have links")
	run := lastRecord(t, dir)["run"].(map[string]any)
	require.Equal(t, "within tolerance over all of the specified range", run["statement"])
	for _, p := range run["points"].([]any) {
		for _, r := range p.(map[string]any)["readings"].([]any) {
			require.Contains(t, r.(map[string]any)["by"], "A. Example (invented)")
		}
	}
}

// oneInput is an invented unit with one input and two points.
const oneInput = `schema = "bandproof procedure 1"
name = "Invented counter, read by hand"
revision = "1"
origin = "Invented for a test."
[decision]
rule = "simple"
[unit]
maker = "Invented Instruments"
model = "Old Counter"
damage_margin = "3 dB"
[unit.timebase]
stated = "1 ppm"
[[input]]
name = "A"
connector = "BNC"
range = ["1 MHz", "10 MHz"]
impedance = "1 MΩ"
capacitance = "35 pF"
maximum = "1 V"
damage = "5 V"
max_gap = "1 decade"
accuracy = { kind = "direct", counts = 1 }
[[input.sensitivity]]
from = "1 MHz"
to = "10 MHz"
level = "25 mV"
[[sweep]]
name = "A"
input = "A"
per_decade = 1
gate = "100 ms"
readings = 2
above_sensitivity = "6 dB"
`

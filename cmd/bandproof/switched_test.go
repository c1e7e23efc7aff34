//go:build linux

package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// switchedPlaces are the instruments of the switched bench with the ports that
// its bench file names.
var switchedPlaces = map[string]string{"counter": "5025", "SG": "5026", "monitor": "5027", "SW": "5028", "PM": "5029", "room": "5030"}

// runSwitched serves the switched bench as a process, runs its procedure
// unattended, and returns exit code, what was said, and the record.
func runSwitched(t *testing.T, bandproof, bench string, faults ...string) (int, string, map[string]any, string) {
	t.Helper()
	dir := t.TempDir()
	args := []string{"--scenario", "../../drivers/virtual/scenarios/switched.toml"}
	for name := range switchedPlaces {
		args = append(args, "--tcp", name+"=127.0.0.1:0")
	}
	for _, f := range faults {
		args = append(args, "--fault", f)
	}
	resources, _ := serveBench(t, bench, args...)
	data, err := os.ReadFile("../../testdata/switched/bench.toml")
	require.NoError(t, err)
	text := string(data)
	for name, port := range switchedPlaces {
		old := `address = "TCPIP0::127.0.0.1::` + port + `::SOCKET"`
		require.Contains(t, text, old)
		text = strings.Replace(text, old, `address = "`+resources[name]+"\"\ntimeout = \"2 s\"", 1)
	}
	file := filepath.Join(dir, "bench.toml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	c := exec.Command(bandproof, "run", "../../testdata/switched/procedure.toml", file, "--as-found", "--unattended", "--on-for", "1 h",
		"--store", filepath.Join(dir, "store.db"), "--out", dir, "--invented")
	out, err := c.CombinedOutput()
	var code *exec.ExitError
	if err != nil {
		require.ErrorAs(t, err, &code, string(out))
	}
	return c.ProcessState.ExitCode(), string(out), lastRecord(t, dir), dir
}

// A whole job over a switch, with power meter, monitor and thermometer, against
// instruments in another process, and nobody there to be asked.
func TestSwitchedBenchUnattended(t *testing.T) {
	t.Parallel() // it mostly waits
	bandproof, bench := programs(t)
	for _, row := range []struct {
		name, fault string
		code        int
		says        string
	}{
		{"healthy", "", exitOK, "0 failed, 0 not judged"},
		{"stuck switch", "switch-stuck", exitOpen, "not judged: path not proven"},
		{"meter that is off", "meter-offset:amount=6 dB", exitOpen, "not judged: level at the input not as planned (power meter)"},
		{"source off frequency", "source-offset:instrument=SG,amount=3 ppm", exitOpen, "not judged: source not at frequency (monitor)"},
		{"monitor disagrees", "gate-short:instrument=monitor,amount=1 %", exitOpen, "not judged: source not at frequency (monitor)"},
		{"silent thermometer", "silent:instrument=room", exitOK, "thermometer room does not answer"},
		{"dead input", "dead-input:input=C", exitFailed, "fail: no count"},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			var faults []string
			if row.fault != "" {
				faults = append(faults, row.fault)
			}
			code, said, r, dir := runSwitched(t, bandproof, bench, faults...)
			require.Equal(t, row.code, code, said)
			require.NotContains(t, said, "connect source")
			run := r["run"].(map[string]any)
			require.Equal(t, true, run["complete"], said)
			text, err := json.Marshal(r)
			require.NoError(t, err)
			if row.name == "healthy" {
				showsAids(t, bandproof, dir, r["id"].(string))
				_, _, again, _ := runSwitched(t, bandproof, bench)
				require.Equal(t, comparable(r), comparable(again), "one seed, one record")
			}
			require.True(t, strings.Contains(said, row.says) || strings.Contains(string(text), row.says), said)
		})
	}
}

// showsAids looks at a point in the store and at the CSV of a run: both say
// what stood in for a person and what measured beside the unit.
func showsAids(t *testing.T, bandproof, dir, id string) {
	t.Helper()
	out, err := exec.Command(bandproof, "records", "show", id, "--point", "C-002", "--store", filepath.Join(dir, "store.db")).CombinedOutput()
	require.NoError(t, err, string(out))
	require.Contains(t, string(out), "switch SW: position 3, read back")
	require.Regexp(t, `power meter PM: -2\d\.\d+; level at the input -1\d\.\d\d dBm, U = 0.22 dB \(k = 2\); computed`, string(out))
	require.Contains(t, string(out), "monitor counted: 2000000000.0, as expected (2 000 000 000.00 Hz ± 0.106 Hz)")
	files, err := filepath.Glob(filepath.Join(dir, "as-found-*.csv"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	text, err := os.ReadFile(files[0])
	require.NoError(t, err)
	require.Contains(t, string(text), "monitor_hz")
	require.Regexp(t, `C-002,.*,dBm,0\.2236\d*,2000000000\.0,2000000000,0\.10\d*,SW,3`, string(text))
}

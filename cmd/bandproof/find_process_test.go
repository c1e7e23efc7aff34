//go:build linux

package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A bench of two instruments on TCP, which announce themselves, and one on a
// pseudo-terminal, which is named: find tells all three, and what bench init
// makes of it plans once its gaps are filled in.
func TestABenchIsFoundAndItsFileBegun(t *testing.T) {
	bandproof, bench := programs(t)
	dir := t.TempDir()
	line := filepath.Join(dir, "mw")
	resources, _ := serveBench(t, bench, "--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0", "--announce", "--pty", "MW="+line)
	var l looked
	for range 3 { // multicast may lose a packet
		l = looked{}
		require.NoError(t, json.Unmarshal([]byte(stdout(t, bandproof, "find", "--try", line, "--json")), &l))
		if len(l.byAddress(resources["counter"]).How)*len(l.byAddress(resources["LF"]).How) > 0 {
			break
		}
	}
	require.Equal(t, findSchema, l.Schema)
	for name, want := range map[string]struct{ how, model, role string }{
		"counter": {"multicast DNS _scpi-raw._tcp", "Demo Counter Three", "counter"},
		"LF":      {"multicast DNS _scpi-raw._tcp", "Demo Source Low", "source"},
		"MW":      {"named", "Demo Source High", "source"},
	} {
		got := l.byAddress(resources[name])
		require.Contains(t, got.How, want.how, "%s: %+v", name, l)
		require.Equal(t, want.model, got.Model, name)
		require.Equal(t, want.role, got.Role, name)
		require.Contains(t, got.Bench, "address = \""+resources[name]+"\"")
	}

	// Only these three, whatever else is on this machine and its network.
	var three []foundItem
	for _, name := range []string{"counter", "LF", "MW"} {
		three = append(three, l.byAddress(resources[name]))
	}
	l.Found = three
	text, err := json.Marshal(l)
	require.NoError(t, err)
	from, file := filepath.Join(dir, "found.json"), filepath.Join(dir, "bench.toml")
	require.NoError(t, os.WriteFile(from, text, 0o644))
	require.Contains(t, output(t, exitOK, bandproof, "bench", "init", file, "--from", from), "with 3 instruments")

	// Each gap is told by its line.
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	said := output(t, exitUsage, bandproof, "plan", "demo/procedure.toml", file)
	for k, at := range strings.Split(string(data), "\n") {
		if strings.Contains(at, gap) {
			require.Regexp(t, `bench\.toml:`+strconv.Itoa(k+1)+`: `, said, at)
		}
	}

	// Filled in by hand, it plans.
	filled := string(data)
	for _, f := range []struct{ key, value string }{
		{`name = ""`, `name = "b"`}, {`range = ["", ""]`, `range = ["1 Hz", "18 GHz"]`}, {`level = ["", ""]`, `level = ["-60 dBm", "13 dBm"]`},
		{`level_uncertainty = ""`, `level_uncertainty = "1 dB"`}, {`reference = ""`, "reference = \"own\"\nown_timebase = \"1e-9\""}, {`loss = []`, `loss = [["1 Hz", "0 dB"], ["18 GHz", "4 dB"]]`},
		{`uncertainty = ""`, `uncertainty = "0.2 dB"`},
	} {
		require.Contains(t, filled, f.key)
		filled = strings.ReplaceAll(filled, f.key, f.value)
	}
	i := strings.Index(filled, "[counter]")
	filled = filled[:i] + strings.Replace(filled[i:], "own_timebase = \"1e-9\"", "", 1)
	filled = strings.Replace(filled, `input = ""`, `input = "A"`, 1)
	filled = strings.Replace(filled, `input = ""`, `input = "B"`, 1)
	require.NoError(t, os.WriteFile(file, []byte(filled), 0o644))
	require.Contains(t, output(t, exitOK, bandproof, "plan", "demo/procedure.toml", file), "input A")
}

func (l looked) byAddress(address string) foundItem {
	for _, x := range l.Found {
		if x.Address == address {
			return x
		}
	}
	return foundItem{}
}

// stdout runs a program that ends well and returns what it prints.
func stdout(t *testing.T, program string, args ...string) string {
	t.Helper()
	out, err := exec.Command(program, args...).Output()
	require.NoError(t, err)
	return string(out)
}

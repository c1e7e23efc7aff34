package main

import (
	"bytes"
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const oneQuestion = `# bandproof wire log 1
# program: p
# begun: 2026-11-25T11:20:33.100000Z
# instrument: counter GPIB0::7::INSTR
2026-11-25T11:20:33.111000Z GPIB0::7::INSTR sent "ID?"
2026-11-25T11:20:33.112000Z GPIB0::7::INSTR status "P"
2026-11-25T11:20:33.126500Z GPIB0::7::INSTR received "A"
`

func TestMistakesEndWithTwo(t *testing.T) {
	bad := filepath.Join(t.TempDir(), "bad.toml")
	require.NoError(t, os.WriteFile(bad, []byte("schema = 7\n"), 0o600))
	log := filepath.Join(t.TempDir(), "one.log")
	require.NoError(t, os.WriteFile(log, []byte(oneQuestion), 0o600))
	for _, row := range []struct {
		name string
		args []string
		want string
	}{
		{"unknown flag", []string{"--nonsense"}, "unknown flag"},
		{"an argument", []string{"counter"}, "unknown command"},
		{"no scenario file", []string{"--scenario", "no-such-file.toml"}, "no-such-file.toml"},
		{"bad scenario", []string{"--scenario", bad}, "bad.toml:1: schema: is a whole number"},
		{"fault", []string{"--fault", "rust"}, `no fault is called "rust"`},
		{"fault key", []string{"--fault", "deaf:amnt=3 dB"}, `unknown key "amnt"`},
		{"fault of no stage", []string{"--fault", "stage:stage=heater,mode=dead"}, `no stage is called "heater"; there are timebase, `},
		{"probe without test points", []string{"--probe", "--scenario", "../../drivers/virtual/scenarios/switched.toml", "--tcp", "counter=127.0.0.1:0"}, "--probe: the scenario states no test points"},
		{"stages of a scenario without", []string{"--list-stages", "--scenario", "../../drivers/virtual/scenarios/switched.toml"}, "the scenario states no stages of the counter"},
		{"time scale", []string{"--time-scale", "0"}, "--time-scale: time scale 0 is out of range"},
		{"tcp without name", []string{"--tcp", "127.0.0.1:5025"}, "expected NAME=HOST:PORT"},
		{"tcp without port", []string{"--tcp", "counter=127.0.0.1"}, "is no address"},
		{"tcp with a wrong port", []string{"--tcp", "counter=127.0.0.1:99999"}, "no port between"},
		{"unknown instrument", []string{"--tcp", "nobody=127.0.0.1:0"}, `no instrument "nobody"; the bench has counter, LF, MW`},
		{"pty without link", []string{"--pty", "counter="}, "expected NAME=SYMLINK"},
		{"two on one link", []string{"--pty", "counter=/x/y", "--pty", "LF=/x/y"}, "is taken"},
		{"no wire log", []string{"--replay", "no-such.log"}, "no-such.log"},
		{"bad wire log", []string{"--replay", bad}, "bad.toml:1: no wire log"},
		{"a log and a scenario", []string{"--replay", log, "--scenario", bad}, "goes with --tcp, --pty and --time-scale only"},
		{"not in the log", []string{"--replay", log, "--tcp", "LF=127.0.0.1:0"}, `nothing of "LF"; it has counter`},
		{"hislip without port", []string{"--hislip", "counter=127.0.0.1,hislip0"}, "is no address"},
		{"hislip sub-address", []string{"--hislip", "counter=127.0.0.1:0,inst0"}, "expected hislip0"},
		{"two at one sub-address", []string{"--hislip", "counter=127.0.0.1:0,hislip3", "--hislip", "LF=127.0.0.1:0,hislip3"}, "hislip3 at 127.0.0.1:0 is taken by counter"},
		{"vxi11 without port", []string{"--vxi11", "counter=127.0.0.1,inst0"}, "is no address"},
		{"vxi11 device", []string{"--vxi11", "counter=127.0.0.1:0,gpib0:7"}, "expected inst0, or gpib0,7"},
		{"two on one device", []string{"--vxi11", "counter=127.0.0.1:0,inst3", "--vxi11", "LF=127.0.0.1:0,inst3"}, "inst3 at 127.0.0.1:0 is taken by counter"},
		{"portmapper for nothing", []string{"--tcp", "counter=127.0.0.1:0", "--portmapper", "127.0.0.1:0"}, "0 VXI-11 hosts"},
		{"portmapper for two", []string{"--vxi11", "counter=127.0.0.1:0", "--vxi11", "LF=127.0.0.2:0", "--portmapper", "127.0.0.1:0"}, "2 VXI-11 hosts"},
		{"portmapper without port", []string{"--vxi11", "counter=127.0.0.1:0", "--portmapper", "127.0.0.1"}, "is no address"},
		{"adapter without instruments", []string{"--adapter", "127.0.0.1:0"}, "expected HOST:PORT=NAME@ADDRESS"},
		{"adapter at no place", []string{"--adapter", "nowhere=counter@7"}, "neither an address"},
		{"adapter with a wrong address", []string{"--adapter", "127.0.0.1:0=counter@31"}, "each is 0 to 30"},
		{"adapter without an address", []string{"--adapter", "127.0.0.1:0=counter"}, "expected such as counter@7"},
		{"adapter with an unknown instrument", []string{"--adapter", "127.0.0.1:0=nobody@7"}, `no instrument "nobody"`},
		{"two at one GPIB address", []string{"--adapter", "127.0.0.1:0=counter@7,LF@7"}, "the same GPIB address 7"},
		{"adapter's baud", []string{"--adapter", "serial:/dev/null:fast=counter@7"}, `"fast" is no baud rate`},
		{"baud", []string{"--serial", "counter=/dev/null,fast"}, `"fast" is no baud rate`},
	} {
		t.Run(row.name, func(t *testing.T) {
			var out, complaints bytes.Buffer
			code := run(context.Background(), row.args, &out, &complaints)
			require.Equal(t, exitInput, code)
			require.Contains(t, complaints.String(), row.want)
			require.NotContains(t, out.String(), "ready")
		})
	}
}

func TestPortsThatCannotBeOpenedEndWithFour(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { _ = l.Close() }()
	for _, args := range [][]string{
		{"--tcp", "counter=" + l.Addr().String()},
		{"--pty", "counter=" + filepath.Join(t.TempDir(), "no", "dir")},
		{"--serial", "counter=" + filepath.Join(t.TempDir(), "none")},
	} {
		var out, complaints bytes.Buffer
		require.Equal(t, exitBench, run(context.Background(), args, &out, &complaints), "%v", args)
		require.Contains(t, complaints.String(), "counter")
	}
}

func TestListFaults(t *testing.T) {
	var out, complaints bytes.Buffer
	require.Equal(t, exitDone, run(context.Background(), []string{"--list-faults"}, &out, &complaints))
	require.Greater(t, strings.Count(out.String(), "\n"), 25)
	require.Contains(t, out.String(), "dead-above")
}

func TestListStages(t *testing.T) {
	var out, complaints bytes.Buffer
	require.Equal(t, exitDone, run(context.Background(), []string{"--list-stages"}, &out, &complaints))
	require.Regexp(t, `(?m)^B amplifier +amplifier, fed by B limiter; behind it TP8\n +dead .*\n +weak +15 dB +It gives`, out.String())
}

func TestDefaultPortsEndCleanly(t *testing.T) {
	scenario := filepath.Join(t.TempDir(), "free.toml")
	text, err := os.ReadFile("../../drivers/virtual/scenarios/three-input.toml")
	require.NoError(t, err)
	for _, p := range []string{"5025", "5026", "5027"} {
		text = bytes.ReplaceAll(text, []byte("127.0.0.1:"+p), []byte("127.0.0.1:0"))
	}
	require.NoError(t, os.WriteFile(scenario, text, 0o600))
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var out, complaints bytes.Buffer
	require.Equal(t, exitDone, run(ctx, []string{"--scenario", scenario}, &out, &complaints), complaints.String())
	require.Regexp(t, `^counter TCPIP0::127\.0\.0\.1::\d+::SOCKET\nLF TCPIP0::\S+\nMW TCPIP0::\S+\nready\n$`, out.String())
}

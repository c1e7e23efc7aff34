package main

import (
	"encoding/json"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/drivers/link"
	"bandproof/drivers/virtual"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// Links through drivers of the kernel end at models of these drivers, in this
// process: the demo procedure gives over them the record that it gives over
// sockets.
func TestSameRecordThroughTheKernelsDrivers(t *testing.T) {
	sockets := map[string]string{"counter": "TCPIP0::127.0.0.1::5025::SOCKET", "LF": "TCPIP0::127.0.0.1::5026::SOCKET", "MW": "TCPIP0::127.0.0.1::5027::SOCKET"}
	sweepOver := func(t *testing.T, addresses map[string]string, plug func(t *testing.T, b *virtual.Bench) link.System) any {
		t.Helper()
		dir := t.TempDir()
		require.NoError(t, layOut(dir))
		benchFile := filepath.Join(dir, "bench.toml")
		text, err := os.ReadFile(benchFile)
		require.NoError(t, err)
		for name, address := range addresses {
			text = []byte(strings.Replace(string(text), sockets[name], address, 1))
		}
		require.NoError(t, os.WriteFile(benchFile, text, 0o644))
		files, err := loadFiles(filepath.Join(dir, "procedure.toml"), benchFile)
		require.NoError(t, err)
		clock := newDemoClock()
		bench, err := demoBench(clock)
		require.NoError(t, err)
		st, err := store.Open(t.Context(), filepath.Join(dir, "store.db"))
		require.NoError(t, err)
		t.Cleanup(func() { require.NoError(t, st.Close()) })
		screen := newTerminal(strings.NewReader(""), io.Discard, io.Discard)
		w := sweep{files: files, store: st, key: testKey, out: dir, terminal: screen, clock: clock, invented: true, log: slog.New(slog.DiscardHandler),
			operator: demoOperator{screen, bench}}
		if plug == nil {
			w.dial = inProcess(bench)
		} else {
			w.system = plug(t, bench)
		}
		t.Cleanup(func() { require.NoError(t, bench.Close()) })
		done, err := w.demoRun(t.Context(), filepath.Join(dir, "job-as-found.toml"), runner.AsFound)
		require.NoError(t, err)
		require.True(t, done.Record.Run.Complete)
		require.Equal(t, string(runner.Outside), done.Statement)
		written, err := json.Marshal(done.Record)
		require.NoError(t, err)
		var r map[string]any
		require.NoError(t, json.Unmarshal(written, &r))
		return comparable(r)
	}
	want := sweepOver(t, nil, nil)
	t.Run("USBTMC", func(t *testing.T) {
		addresses := map[string]string{}
		for name := range sockets {
			addresses[name] = "USB0::0x1234::0x5678::" + name + "::INSTR"
		}
		require.Equal(t, want, sweepOver(t, addresses, func(t *testing.T, b *virtual.Bench) link.System {
			m := virtual.NewMachine()
			for name := range sockets {
				talk, err := b.Talk(name)
				require.NoError(t, err)
				u := virtual.NewUSBInstrument(talk, 0x1234, 0x5678, name)
				m.PlugUSB(u, true)
				t.Cleanup(u.Close)
			}
			return m
		}))
	})
	t.Run("GPIB board", func(t *testing.T) {
		addresses := map[string]string{"counter": "GPIB0::7::INSTR", "LF": "GPIB0::8::INSTR", "MW": "GPIB0::9::1::INSTR"}
		require.Equal(t, want, sweepOver(t, addresses, func(t *testing.T, b *virtual.Bench) link.System {
			bus, err := b.Bus(map[virtual.BusAddress]string{{Primary: 7, Secondary: -1}: "counter", {Primary: 8, Secondary: -1}: "LF", {Primary: 9, Secondary: 1}: "MW"})
			require.NoError(t, err)
			t.Cleanup(bus.Close)
			m := virtual.NewMachine()
			m.PlugBoard(0, bus)
			return m
		}))
	})
}

package virtual

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

func number64(t *testing.T, s string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err, "reply %q", s)
	return f
}

func quietTimebase(s *Scenario) {
	s.Counter.Timebase = TimebaseScenario{Offset: quantity.MustParse[quantity.One]("0 ppm")}
}

func TestReadingsOfTheDefaultScenario(t *testing.T) {
	d := newDesk(t, Options{}, nil)
	y := 0.12e-6 + 30*0.0005e-6
	for _, row := range []struct {
		source  *client
		name    string
		input   string
		channel int
		f       float64
		gate    string
		q       float64
	}{
		{d.lf, "LF", "A", 1, 34e6, "1", 1},
		{d.lf, "LF", "A", 1, 10, "10", 0.1},
		{d.mw, "MW", "B", 2, 1.2e9, "1", 32},
		{d.mw, "MW", "C", 3, 17.9e9, "1", 1},
	} {
		row.source.write("OUTP OFF")
		require.Equal(t, "0", row.source.ask("OUTP?"))
		require.NoError(t, d.b.Connect(row.name, row.input))
		set(row.source, fmt.Sprint(row.f), "-12")
		got := number64(t, d.read(row.channel, row.gate))
		require.InDelta(t, row.f/(1+y), got, row.q*1.001, "input %s at %v Hz", row.input, row.f)
	}
	require.Empty(t, d.b.Events())
	require.Equal(t, `0,"No error"`, d.unit.ask("SYST:ERR?"))
}

// conversation is a fixed set of commands; its replies must not depend on the link.
func conversation(t *testing.T, counter, lf *client) (replies []string) {
	t.Helper()
	replies = append(replies, lf.ask("*IDN?"), counter.ask("*IDN?"))
	for i, f := range []string{"1234567", "33 MHZ", "119.9 MHZ"} {
		set(lf, f, []string{"-10", "-28.5", "-15"}[i])
		replies = append(replies, counter.ask("FUNC \"FREQ 1\";FREQ:APER 0.01;:READ?"))
		for range 4 {
			replies = append(replies, counter.ask("READ?"))
		}
		replies = append(replies, counter.ask("FETC?"))
	}
	return append(replies, counter.ask("SYST:ERR?"))
}

func TestSameSeedGivesTheSameRepliesOnEveryLink(t *testing.T) {
	faults := []Fault{{Name: "noisy", Amount: "7", Probability: parsedRatio("50 %")}}
	withFaults := func(s *Scenario) { s.Faults = faults }
	d := newDesk(t, Options{}, withFaults)
	inProcess := conversation(t, d.unit, d.lf)

	again := newDesk(t, Options{}, withFaults)
	for range 20 { // polling draws nothing
		again.unit.ask("*STB?;*ESR?;STAT:OPER:COND?")
	}
	require.Equal(t, inProcess, conversation(t, again.unit, again.lf), "with polling before")

	other := newDesk(t, Options{Seed: 2}, withFaults)
	require.NotEqual(t, inProcess, conversation(t, other.unit, other.lf), "another seed")

	t.Run("TCP, real time", func(t *testing.T) {
		b := newBench(t, Options{Clock: drivers.WallClock{}}, withFaults)
		require.Equal(t, inProcess, conversation(t, overTCP(t, b, "counter"), overTCP(t, b, "LF")))
	})
	t.Run("pseudo-terminal, scaled time", func(t *testing.T) {
		clock, err := NewScaledClock(5)
		require.NoError(t, err)
		b := newBench(t, Options{Clock: clock}, withFaults)
		require.Equal(t, inProcess, conversation(t, overPTY(t, b, "counter"), overPTY(t, b, "LF")))
	})
}

// laterClock begins on another day.
type laterClock struct {
	*InstantClock
	ahead time.Duration
}

func (c laterClock) Now() time.Time { return c.InstantClock.Now().Add(c.ahead) }

func TestAClockThatEmbedsTheInstantOneIsInstant(t *testing.T) {
	plain, later := newDesk(t, Options{}, nil), newDesk(t, Options{Clock: laterClock{NewInstantClock(), time.Hour}}, nil)
	require.Equal(t, conversation(t, plain.unit, plain.lf), conversation(t, later.unit, later.lf))
	require.Equal(t, "0", later.lf.ask("FREQ 20 MHZ;:STAT:QUES:COND?"), "a client that polls for lock comes to an end")
	require.Equal(t, "1", later.unit.ask("*CLS;INIT;*OPC;*ESR?"), "and one that polls for the end of a gate")
}

func parsedRatio(s string) *quantity.Ratio { r := quantity.MustParse[quantity.One](s); return &r }

func parsedHertz(s string) *quantity.Frequency {
	f := quantity.MustParse[quantity.Hertz](s)
	return &f
}

// running runs a serve function until the test ends, and checks its end.
func running(t *testing.T, serve func(ctx context.Context) error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- serve(ctx) }()
	t.Cleanup(func() {
		cancel()
		select {
		case err := <-done:
			require.NoError(t, err)
		case <-time.After(10 * time.Second):
			t.Error("serving did not end with its context")
		}
	})
}

func overTCP(t *testing.T, b *Bench, name string) *client {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	running(t, func(ctx context.Context) error { return b.ServeListener(ctx, name, l) })
	conn, err := net.Dial("tcp", l.Addr().String())
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return newClient(t, conn)
}

func overPTY(t *testing.T, b *Bench, name string) *client {
	t.Helper()
	link := filepath.Join(t.TempDir(), name)
	p, err := OpenPTY(link)
	require.NoError(t, err)
	running(t, func(ctx context.Context) error { return b.ServePort(ctx, name, p) })
	f, err := os.OpenFile(link, os.O_RDWR, 0)
	require.NoError(t, err)
	t.Cleanup(func() { _ = f.Close() })
	return newClient(t, f)
}

func TestDamageStaysUntilRepair(t *testing.T) {
	d := newDesk(t, Options{}, func(s *Scenario) {
		s.Counter.Inputs[0].Damage = quantity.MustLevel("0.5 V") // +7 dBm as a voltage in 50 Ω, +1 dBm at the source
		s.Counter.Inputs[0].Max = quantity.MustLevel("0.4 V")
	})
	set(d.lf, "1 MHZ", "-10")
	require.InDelta(t, 1e6, number64(t, d.read(1, "0.1")), 11)
	require.Empty(t, d.b.Events())

	set(d.lf, "1 MHZ", "-0.5")
	require.Equal(t, "9.9E37", d.read(1, "0.1"), "over the maximum, below damage")
	require.Empty(t, d.b.Events())

	set(d.lf, "1 MHZ", "5")
	require.Len(t, d.b.Events(), 1)
	require.Equal(t, Damage, d.b.Events()[0].Kind)
	require.Equal(t, "A", d.b.Events()[0].Input)
	set(d.lf, "1 MHZ", "-10")
	require.Zero(t, number64(t, d.read(1, "0.1")), "dead after the level fell")

	d.b.Repair(quantity.MustParse[quantity.One]("0.01 ppm"))
	require.InDelta(t, 1e6, number64(t, d.read(1, "0.1")), 11)
}

func TestTransientOfASwitchCanDestroy(t *testing.T) {
	d := newDesk(t, Options{}, func(s *Scenario) {
		s.Sources[0].LevelError = nil
		three := quantity.MustParse[quantity.Decibel]("3 dB")
		s.Sources[0].Transient = &three
		s.Counter.Inputs[0].Damage = quantity.MustLevel("0.5 V")
		s.Counter.Inputs[0].Max = quantity.MustLevel("0.5 V")
	})
	set(d.lf, "1 MHZ", "-2.5") // 3.5 dB below damage with +6 dB at the input
	require.Empty(t, d.b.Events())
	d.lf.ask("POW -1;*OPC?") // 2 dB below, 1 dB above for a moment
	require.Len(t, d.b.Events(), 1)
}

func TestHotMoveIsNoted(t *testing.T) {
	d := newDesk(t, Options{}, nil)
	require.NoError(t, d.b.Connect("MW", "C"))
	require.NoError(t, d.b.Disconnect("MW"))
	require.Empty(t, d.b.Events(), "moved with RF off")
	require.NoError(t, d.b.Connect("MW", "B"))
	set(d.mw, "1 GHZ", "-20")
	require.NoError(t, d.b.Connect("MW", "C"))
	require.NotEmpty(t, d.b.Events())
	require.Equal(t, HotMove, d.b.Events()[0].Kind)
	require.ErrorContains(t, d.b.Connect("LF", "C"), `no wire from source "LF" to input "C"`)
	require.ErrorContains(t, d.b.Disconnect("XX"), `no source "XX"`)
}

func TestTechnicianFollowsTheSelectedInput(t *testing.T) {
	d := newDesk(t, Options{Follow: true}, func(s *Scenario) {
		s.Wires = append(s.Wires, WireScenario{Source: "LF", Input: "B", Loss: s.Wires[0].Loss})
	})
	set(d.mw, "1.5 GHZ", "-10")
	require.InDelta(t, 1.5e9, number64(t, d.read(2, "0.1")), 1000, "MW stands at B")
	d.mw.ask("OUTP OFF;*OPC?")
	require.InDelta(t, 0, number64(t, d.read(3, "0.1")), 0)
	d.mw.ask("OUTP ON;*OPC?")
	require.InDelta(t, 1.5e9, number64(t, d.unit.ask("READ?")), 1000, "MW was moved to C")
	d.mw.ask("OUTP OFF;*OPC?")
	require.Zero(t, number64(t, d.read(2, "0.1")))
	set(d.lf, "200 MHZ", "-10")
	require.InDelta(t, 200e6, number64(t, d.unit.ask("READ?")), 1000, "of two sources the one with RF on is at B")
	require.Empty(t, d.b.Events())
	d.read(1, "0.1")
	require.NotEmpty(t, d.b.Events(), "selecting another input with RF on is a hot move")
}

func TestTopologies(t *testing.T) {
	spread := func(d *desk) map[string]bool {
		seen := map[string]bool{}
		for range 40 {
			seen[d.unit.ask("READ?")] = true
		}
		return seen
	}
	t.Run("shared reference is coherent and hides the timebase", func(t *testing.T) {
		d := newDesk(t, Options{}, nil)
		set(d.lf, "10 MHZ", "-10")
		d.read(1, "1")
		require.Len(t, spread(d), 2, "on its own timebase")
		require.Equal(t, "EXT", d.unit.ask("ROSC:SOUR EXT;SOUR?"))
		require.Equal(t, map[string]bool{"10000000": true}, spread(d))
	})
	t.Run("source locked to the unit's timebase", func(t *testing.T) {
		d := newDesk(t, Options{}, func(s *Scenario) { s.Sources[0].Reference = "counter" })
		require.NoError(t, d.b.SetFaults([]Fault{{Name: "timebase-offset", Amount: "20 ppm"}}))
		set(d.lf, "10 MHZ", "-10")
		d.read(1, "1")
		require.Equal(t, map[string]bool{"10000000": true}, spread(d))
	})
	t.Run("two references", func(t *testing.T) {
		d := newDesk(t, Options{}, func(s *Scenario) {
			s.References = append(s.References, ReferenceScenario{"other", quantity.MustParse[quantity.One]("1 ppm")})
			s.Counter.External = "other"
		})
		set(d.lf, "100 MHZ", "-10")
		d.unit.write("ROSC:SOUR EXT")
		require.InDelta(t, 100e6-100, number64(t, d.read(1, "1")), 2)
	})
	t.Run("nothing plugged in", func(t *testing.T) {
		d := newDesk(t, Options{}, nil)
		require.NoError(t, d.b.PlugReference(""))
		require.Equal(t, `INT;-241,"Hardware missing"`, d.unit.ask("ROSC:SOUR EXT;SOUR?;:SYST:ERR?"))
		require.Equal(t, "INT", d.unit.ask("ROSC:SOUR AUTO;SOUR?"))
		require.NoError(t, d.b.PlugReference("standard"))
		require.Equal(t, "EXT", d.unit.ask("ROSC:SOUR?"))
		require.Error(t, d.b.PlugReference("nowhere"))
	})
}

func TestDriftGoesWithModelTimeOnly(t *testing.T) {
	d := newDesk(t, Options{}, func(s *Scenario) {
		quietTimebase(s)
		s.Counter.Timebase.Ageing = parsedRatio("1 ppm")
	})
	set(d.lf, "100 MHZ", "-10")
	require.InDelta(t, 100e6, number64(t, d.read(1, "1")), 1.01)
	d.b.Advance(quantity.MustParse[quantity.Second]("2 d"))
	require.InDelta(t, 100e6-200, number64(t, d.unit.ask("READ?")), 1.01)
	d.b.Repair(quantity.MustParse[quantity.One]("1e-7"))
	require.InDelta(t, 100e6-10, number64(t, d.unit.ask("READ?")), 1.01)
}

func TestSensitivity(t *testing.T) {
	// Input B at 500 MHz: specified -25 dBm, this unit 7 dB better; cable about 0.65 dB.
	d := newDesk(t, Options{}, func(s *Scenario) { s.Sources[1].LevelError = nil })
	for _, row := range []struct {
		level string
		want  string
	}{{"-25", "counts"}, {"-31", "counts"}, {"-33", "miscounts"}, {"-36", "nothing"}} {
		set(d.mw, "500 MHZ", row.level)
		low := 0
		for range 10 {
			got := number64(t, d.read(2, "0.1"))
			switch {
			case row.want == "nothing":
				require.Zero(t, got, "level %s", row.level)
			case row.want == "counts":
				require.InDelta(t, 500e6, got, 1000, "level %s", row.level)
			case got < 499e6:
				low++
			}
		}
		if row.want == "miscounts" {
			require.Greater(t, low, 5, "level %s", row.level)
		}
	}
}

func TestSignalThatChangesDuringTheGateSpoilsTheReading(t *testing.T) {
	d := newDesk(t, Options{}, quietTimebase)
	d.lf.ask("FREQ 1 MHZ;:POW -10;:OUTP ON;*OPC?")
	d.lf.ask("FREQ 2 MHZ;*IDN?") // no *OPC?: it is still settling
	got := number64(t, d.read(1, "0.01"))
	require.Less(t, got, 1.96e6)
	require.Greater(t, got, 1.9e6)
	require.InDelta(t, 2e6, number64(t, d.unit.ask("READ?")), 101, "settled by now")
}

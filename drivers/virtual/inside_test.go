package virtual

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// sweepPoints are settings over all inputs of the default scenario: well inside
// and near the edges of each path, some with little level to spare.
var sweepPoints = []struct {
	channel  int
	source   string
	f, level string
}{
	{1, "LF", "1 KHZ", "-12"}, {1, "LF", "10 MHZ", "-12"}, {1, "LF", "60 MHZ", "-12"}, {1, "LF", "100 MHZ", "-6"}, {1, "LF", "119 MHZ", "-6"},
	{2, "MW", "50 MHZ", "-18"}, {2, "MW", "400 MHZ", "-18"}, {2, "MW", "900 MHZ", "-18"}, {2, "MW", "1.2 GHZ", "-12"}, {2, "MW", "1.58 GHZ", "-12"},
	{3, "MW", "1.5 GHZ", "-16"}, {3, "MW", "3.13 GHZ", "-16"}, {3, "MW", "5.999 GHZ", "-16"}, {3, "MW", "6.21 GHZ", "-16"}, {3, "MW", "9.137 GHZ", "-16"},
	{3, "MW", "11.9 GHZ", "-16"}, {3, "MW", "12.3 GHZ", "-10"}, {3, "MW", "15 GHZ", "-10"}, {3, "MW", "17.9 GHZ", "-10"},
}

// sweep reads every point twice, probes everywhere at one or two points of each
// path, and asks for the self-test.
func sweep(t *testing.T, d *desk) (list []string) {
	t.Helper()
	for i, p := range sweepPoints {
		input := string(rune('A' + p.channel - 1))
		require.NoError(t, d.b.Connect(p.source, input))
		source := d.lf
		if p.source == "MW" {
			source = d.mw
		}
		set(source, p.f, p.level)
		for range 2 {
			list = append(list, fmt.Sprintf("%s %s %s: %s", input, p.f, p.level, d.read(p.channel, "0.1")))
		}
		for _, x := range d.b.TestPoints() {
			if i%3 != 0 { // one or two points of each path do
				break
			}
			found, err := d.b.Probe(x.Name)
			require.NoError(t, err)
			list = append(list, input+" "+p.f+" "+found.String())
		}
		source.write("OUTP OFF")
		require.Equal(t, "1", source.ask("*OPC?"))
	}
	return append(list, "self-test "+d.unit.ask("*TST?"))
}

// different lists the lines of b that are not those of a.
func different(a, b []string) (list []string) {
	for i := range a {
		if a[i] != b[i] {
			list = append(list, b[i])
		}
	}
	return list
}

func TestEachModeOfEachStageShows(t *testing.T) {
	good := sweep(t, newDesk(t, Options{}, quietTimebase))
	for _, s := range newBench(t, Options{}, nil).Stages() {
		require.NotEmpty(t, s.Modes, s.Name)
		for _, m := range s.Modes {
			t.Run(s.Name+" "+m.Name, func(t *testing.T) {
				d := newDesk(t, Options{}, quietTimebase)
				f := Fault{Name: StageFault, Stage: s.Name, Mode: m.Name}
				require.NoError(t, d.b.SetFaults([]Fault{f}))
				again, err := ParseFault(f.String())
				require.NoError(t, err)
				require.Equal(t, f, again)
				changed := different(good, sweep(t, d))
				require.NotEmpty(t, changed)
				for _, l := range changed {
					t.Log(l)
				}
			})
		}
	}
}

// The readings of a unit whose stages are good are those of one without stages,
// and a fault in one input's stage leaves those of another as they are.
func TestGoodStagesChangeNoReading(t *testing.T) {
	read := func(channels string, fault string, edit func(*Scenario)) (list []string) {
		d := newDesk(t, Options{Follow: true}, edit)
		if fault != "" {
			fail(t, d, fault)
		}
		for _, p := range sweepPoints {
			if !strings.Contains(channels, strconv.Itoa(p.channel)) {
				continue
			}
			require.Equal(t, "1", d.unit.ask("FUNC \"FREQ %d\";*OPC?", p.channel))
			source := d.lf
			if p.source == "MW" {
				source = d.mw
			}
			set(source, p.f, p.level)
			list = append(list, d.read(p.channel, "0.1"), d.read(p.channel, "1"))
		}
		return list
	}
	without := func(s *Scenario) { s.Counter.Stages, s.Counter.TestPoints = nil, nil }
	require.Equal(t, read("123", "", without), read("123", "", nil))
	require.Equal(t, read("13", "", without), read("13", "stage:stage=B limiter,mode=dead", nil))
	require.Equal(t, read("12", "", without), read("12", "stage:stage=C mixer,mode=dead", nil))
	require.Equal(t, read("23", "", without), read("23", "stage:stage=A amplifier,mode=noisy", nil))
	require.NotEqual(t, read("2", "", without), read("2", "stage:stage=B limiter,mode=dead", nil))
}

// No fault of any stage at any signal makes the counter or a probe fall over.
func TestNoFaultBreaksTheBench(t *testing.T) {
	units := map[string]*rapid.Generator[string]{
		"": rapid.Just(""), inDecibel.what: rapid.SampledFrom([]string{"0 dB", "3 dB", "17.3 dB", "200 dB"}),
		inShare.what: rapid.SampledFrom([]string{"0 %", "50 %", "100 %"}), inCounts.what: rapid.SampledFrom([]string{"0", "1000000"}),
		inPositive.what: rapid.SampledFrom([]string{"1 mHz", "1 MHz", "200 MHz", "1000 GHz"}), inWhole.what: rapid.SampledFrom([]string{"1", "1000000"}),
		inRatio.what: rapid.SampledFrom([]string{"-50 %", "1e-12", "50 %"}), inHertz.what: rapid.SampledFrom([]string{"-1000 GHz", "0 Hz", "1000 GHz"}),
		inTime.what: rapid.SampledFrom([]string{"0 s", "1 ns", "3600 s"}), inRational.what: rapid.SampledFrom([]string{"1/1000000", "1000000/1"}),
		inDigit.what: rapid.SampledFrom([]string{"0:0", "20:9"}),
	}
	stages := newBench(t, Options{}, nil).Stages()
	scenario, err := DefaultScenario()
	require.NoError(t, err)
	rapid.Check(t, func(r *rapid.T) {
		b, err := New(scenario, Options{Clock: NewInstantClock(), Follow: true})
		require.NoError(r, err)
		defer func() { _ = b.Close() }() // no link is open
		var faults []Fault
		for range rapid.IntRange(1, 3).Draw(r, "faults") {
			s := rapid.SampledFrom(stages).Draw(r, "stage")
			m := rapid.SampledFrom(s.Modes).Draw(r, "mode")
			f := Fault{Name: StageFault, Stage: s.Name, Mode: m.Name}
			if g, ok := units[m.Amount]; ok && rapid.Bool().Draw(r, "stated") {
				f.Amount = g.Draw(r, "amount")
			}
			faults = append(faults, f)
		}
		require.NoError(r, b.SetFaults(faults))
		counter := &session{b: b, dev: b.counter, ctx: context.Background()}
		source := &session{b: b, dev: b.sources[rapid.IntRange(0, 1).Draw(r, "source")], ctx: context.Background()}
		say := func(s *session, format string, args ...any) string {
			reply, _, err := s.execute(fmt.Sprintf(format, args...))
			require.NoError(r, err)
			return reply
		}
		say(counter, "FUNC \"FREQ %d\"", rapid.IntRange(1, 3).Draw(r, "channel"))
		say(source, "FREQ %v;:POW %d;:OUTP %d", math.Pow(10, rapid.Float64Range(0, 10.3).Draw(r, "lg f")), rapid.IntRange(-60, 13).Draw(r, "level"), rapid.IntRange(0, 1).Draw(r, "rf"))
		require.NotEmpty(r, say(counter, "FREQ:APER %s;:READ?", rapid.SampledFrom([]string{"0.001", "0.1", "100"}).Draw(r, "gate")))
		require.NotEmpty(r, say(counter, "*TST?"))
		for _, p := range b.TestPoints() {
			found, err := b.Probe(p.Name)
			require.NoError(r, err)
			require.NotEmpty(r, found.String())
		}
	})
}

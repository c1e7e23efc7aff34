package symptom_test

import (
	"flag"
	"math"
	"slices"
	"strings"
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/runnertest"
	"bandproof/runner/selftest"
	"bandproof/runner/sensitivity"
	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// search asks for the least level at input B.
const search = `
[[measure]]
kind = "sensitivity"
input = "B"
from = "100 MHz"
to = "1.6 GHz"
points = ["400 MHz"]
gate = "100 ms"
`

// The virtual unit's own timebase: 0.12 ppm, and 30 days of 0.0005 ppm a day.
const own = 0.135

// TestInjected: each fault of the virtual unit is named for what it shows, with
// what was injected within the uncertainty that is stated. The faults know nothing
// of symptoms.
func TestInjected(t *testing.T) {
	for _, c := range []struct {
		fault  string
		want   string // symptoms, in order
		inputs string
		figure string
		value  float64 // what was injected
		more   string  // on the procedure
	}{
		{"timebase-offset", "same relative error", "ABC", "offset that the timebase would have", 5 + own, ""},
		{"timebase-offset:amount=-1.3 ppm", "same relative error", "ABC", "offset that the timebase would have", -1.3 + own, ""},
		{"timebase-offset:amount=1 %", "same relative error", "ABC", "offset that the timebase would have", 1e4 + own, ""},
		{"wrong-prescale:input=B", "wrong ratio", "B", "shown over true", 32. / 31, ""},
		{"wrong-prescale:input=B,amount=16/15,from=1 GHz", "wrong ratio", "B", "shown over true", 16. / 15, ""},
		{"wrong-prescale:input=B,amount=1/2", "wrong ratio", "B", "shown over true", 0.5, ""},
		{"double-counting:input=B", "wrong ratio", "B", "shown over true", 2, ""},
		{"double-counting:input=A,amount=50 %", "wrong ratio", "A", "shown over true", 1.5, ""},
		{"double-counting", "wrong ratio, constant error in hertz", "ABC", "shown over true", 2, ""},
		{"wrong-harmonic:input=C", "constant error in hertz", "C", "error", 200e6, ""},
		{"wrong-harmonic:input=C,amount=-400 MHz,from=5 GHz", "constant error in hertz", "C", "error", -400e6, ""},
		{"wrong-harmonic:input=C,amount=57.3 MHz,from=15 GHz", "constant error in hertz", "C", "error", 57.3e6, ""}, // at one point
		{"gate-short", "same relative error, constant error in hertz", "ABC", "relative error of the readings", -1e4 - 0.99*own, ""},
		{"dead-input:input=B", "dead input", "B", "", 0, ""},
		{"dead-above:input=B,from=850 MHz", "dead above a frequency", "B", "edge", 850e6, ""},
		{"dead-below:input=C,to=3 GHz", "dead below a frequency", "C", "edge", 3e9, ""},
		{"deaf:input=B,amount=12 dB", "needs too much level", "B", "least level above what is specified", 7, search},
		{"noisy", "scatters beyond the count", "ABC", "standard deviation", 20, ""},
		{"timebase-wander", "scatters beyond the count", "ABC", "standard deviation, relative", 1, ""},
		{"missing-counts:input=B", "loses cycles", "B", "", 0, ""},
		{"dead-input:input=B,probability=40 %", "comes and goes", "B", "share of the readings", 40, ""},
		{"stuck-digit", "a digit is stuck or missing", "AB", "", 0, ""},
		{"self-test-fails", "self-test fails", "", "", 0, "[[measure]]\nkind = \"self-test\"\n"},
	} {
		t.Run(c.fault, func(t *testing.T) {
			within, n := 0, 0
			for seed := range 3 {
				o := runnertest.Options{Seed: seed + 1, Switched: true, Faults: []string{c.fault}, Append: c.more, Kinds: every}
				got := runnertest.New(t, o).Run()
				list := symptom.Name(got)
				covered(t, got)
				f := list[0]
				if c.fault == "dead-input:input=B,probability=40 %" { // all readings of a point may fail
					f = named(t, list, symptom.ComesGoes)
				} else {
					require.Equal(t, c.want, words(list), "seed %d: %v", seed+1, list)
				}
				require.Equal(t, c.inputs, strings.Join(f.Inputs, ""))
				if c.figure == "" {
					continue
				}
				x := figure(t, f, c.figure)
				n++
				if math.Abs(x.Value-c.value) <= math.Max(x.U, 1e-12) {
					within++
				} else {
					t.Logf("seed %d: %s, injected %g", seed+1, x, c.value)
				}
			}
			// At least 95 % are promised by k = 2; one of them may lie beyond.
			require.GreaterOrEqual(t, within, n-1)
		})
	}
}

var every = []runner.MeasureKind{sensitivity.Kind{}, selftest.Kind{}}

// TestInjectedTogether: faults at once are each named.
func TestInjectedTogether(t *testing.T) {
	got := runnertest.New(t, runnertest.Options{Switched: true, Faults: []string{"timebase-offset", "wrong-prescale:input=B", "dead-above:input=C,from=15 GHz", "wrong-harmonic:input=C,from=5 GHz"}}).Run()
	list := symptom.Name(got)
	require.Equal(t, "same relative error, wrong ratio, constant error in hertz, dead above a frequency", words(list), "%v", list)
	x := figure(t, list[0], "offset")
	require.InDelta(t, 5+own, x.Value, x.U)
	x = figure(t, list[2], "error")
	require.InDelta(t, 200e6, x.Value, x.U)
	covered(t, got)
}

// TestInjectedWhenWarm: a fault that begins within the run is told from one of
// frequency, and the time that the unit had been on is right.
func TestInjectedWhenWarm(t *testing.T) {
	for fault, with := range map[string]string{
		"timebase-offset:after=2200 s":         "same relative error, worse the longer it is on",
		"dead-input:input=B,after=2170 s":      "worse the longer it is on",
		"wrong-prescale:input=B,after=2190 s":  "wrong ratio, worse the longer it is on",
		"dead-input:after=2240 s":              "dead input, worse the longer it is on", // input C was never read before
		"wrong-harmonic:input=C,after=2345 s":  "constant error in hertz, worse the longer it is on",
		"dead-above:input=B,from=850 MHz":      "dead above a frequency",
		"wrong-harmonic:input=C,from=10.1 GHz": "constant error in hertz",
	} {
		t.Run(fault, func(t *testing.T) {
			r := runnertest.New(t, runnertest.Options{Switched: true, Faults: []string{fault}, Scenario: []string{`powered_for = "2 d"`, `powered_for = "30 min"`}})
			r.Setup.OnFor = quantity.Of[quantity.Second](1800, 0)
			got := r.Run()
			list := symptom.Name(got)
			require.Equal(t, with, words(list), "%v", list)
			covered(t, got)
			_, after, ok := strings.Cut(fault, "after=")
			if !ok {
				require.Contains(t, strings.Join(list[0].Evidence, "\n"), "not a matter of time")
				return
			}
			began := quantity.MustParse[quantity.Second](after).Float()
			x := figure(t, named(t, list, symptom.Changes), "time that the unit had been on")
			require.InDelta(t, began, x.Value, math.Sqrt(3)/2*x.U+2) // the bracket is rectangular
		})
	}
}

// TestWarmingUp: a timebase that is still warming up drifts.
func TestWarmingUp(t *testing.T) {
	r := runnertest.New(t, runnertest.Options{Switched: true, Scenario: []string{"adjusted = \"30 d\"\npowered_for = \"2 d\"", "adjusted = \"30 d\"\npowered_for = \"1 min\"\nwarm_up = \"-6 ppm\"\nwarm_up_time = \"8 min\""}})
	r.Setup.OnFor = quantity.Of[quantity.Second](60, 0)
	got := r.Run()
	list := symptom.Name(got)
	f := named(t, list, symptom.Drifts)
	t.Log(f.Text(100))
	require.Negative(t, figure(t, f, "change of the relative error").Value)
	require.Contains(t, strings.Join(f.Open, "\n"), "time or frequency", "no point that passed was read again")
	covered(t, got)
}

var healthy = flag.Int("healthy", 30, "how many healthy units TestHealthyUnit takes")

// TestHealthyUnit: of a unit with nothing wrong no symptom is named. Without any in
// n units there are fewer than 3/n false alarms, at 95 % confidence (rule of three;
// common practice, from memory): 1 % with the 300 of make soak.
func TestHealthyUnit(t *testing.T) {
	var wrong []string
	for seed := range *healthy {
		got := runnertest.New(t, runnertest.Options{Seed: seed + 1, Switched: true}).Run()
		if w := words(symptom.Name(got)); w != "nothing wrong" {
			wrong = append(wrong, w)
		}
		if slices.ContainsFunc(symptom.Read(got), func(x symptom.Seen) bool { return x.Kind != symptom.Good }) {
			wrong = append(wrong, kinds(symptom.Read(got)))
		}
	}
	require.Empty(t, wrong)
}

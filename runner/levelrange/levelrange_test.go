package levelrange_test

import (
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/levelrange"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

var kinds = []runner.MeasureKind{levelrange.Kind{}}

const table = `
[[measure]]
kind = "level range"
input = "B"
from = "399 MHz"
to = "400 MHz"
gate = "100 ms"
level_step = "6 dB"
`

// maximum of input B in the procedure of these tests.
func maximum(level string) []string {
	return []string{`damage = "20 dBm"`, `damage = "20 dBm"` + "\nmaximum = \"" + level + "\""}
}

func outcome(t *testing.T, o runnertest.Options) (runner.Outcome, *runnertest.Rig) {
	t.Helper()
	o.Kinds = kinds
	r := runnertest.New(t, o)
	got := r.Run()
	require.True(t, got.Complete, got.Ended)
	require.Len(t, got.Outcomes, 1)
	return got.Outcomes[0], r
}

// All levels from the specified sensitivity to the highest specified level, in
// steps, both ends among them but for the uncertainty of the level, and nothing
// beyond.
func TestWholeRange(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Append: table, Procedure: maximum("6 dBm")})
	require.Len(t, o.Rows, 2)
	for _, r := range o.Rows {
		require.Equal(t, decision.Pass, r.Verdict.Word)
		require.Contains(t, r.Says, "counts properly at all 5 levels from -18.7")
		require.NotContains(t, r.Says, "not shown")
	}
	require.Len(t, o.Shots, 10)
	for k, x := range o.Shots {
		level := x.Point.Levels.Input.DBm(quantity.Dbm50())
		u := x.Point.LevelU
		require.GreaterOrEqual(t, level, -20+u-1e-9)
		require.LessOrEqual(t, level, 6-u+1e-9, "never beyond the maximum, whatever the uncertainty")
		if k%5 == 4 {
			require.Greater(t, level, 6-u-0.11, "up to a step of the source")
		}
	}
	require.Len(t, o.Curves[0].Lines, 1)
	require.Len(t, o.Curves[0].Lines[0].X, 10)
}

// Where damage margin or source end before the maximum, plan and row say so.
func TestRangeThatTheBenchCannotShow(t *testing.T) {
	o, r := outcome(t, runnertest.Options{Append: table, Procedure: []string{`damage = "20 dBm"`, "damage = \"9 dBm\"\nmaximum = \"8 dBm\""}})
	for _, x := range o.Rows {
		require.Contains(t, x.Says, "not shown above: input B is destroyed at 9 dBm, margin 3 dB")
	}
	warned := false
	for _, w := range r.Setup.Plan.Warnings {
		warned = warned || strings.Contains(w, "level range B at 400 MHz: levels above ")
	}
	require.True(t, warned, "%q", r.Setup.Plan.Warnings)
}

// A unit that overloads too early fails at those levels, and only there.
func TestOverloadTooEarly(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Append: table, Procedure: maximum("6 dBm"), Faults: []string{"overload-at-low-level:input=B,amount=10 dB"}})
	for _, r := range o.Rows {
		require.Equal(t, decision.Fail, r.Verdict.Word, r.Says)
		require.Contains(t, r.Says, "5 levels from -18.7")
		require.NotContains(t, r.Says, "miscounts at -18")
		require.Contains(t, r.Says, "miscounts at -0.7") // above 7 dBm less the 10 dB of the fault
	}
}

// A deaf unit fails at the lower end; the path is proven by what counts.
func TestDeafUnit(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Append: table, Procedure: maximum("6 dBm"), Faults: []string{"deaf:input=B,amount=16 dB"}})
	for _, r := range o.Rows {
		require.Equal(t, decision.Fail, r.Verdict.Word, r.Says)
		require.Contains(t, r.Says, "miscounts at -18.7")
	}
}

func TestSourceThatDoesNotLock(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Append: table, Procedure: maximum("6 dBm"), Faults: []string{"source-unlock:instrument=MW,from=399.5 MHz,to=401 MHz"}})
	require.Equal(t, decision.Pass, o.Rows[0].Verdict.Word)
	require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.SourceNotLocked}, o.Rows[1].Verdict)
}

func TestKeys(t *testing.T) {
	text := `schema = "bandproof procedure 1"
name = "x"
revision = "1"
origin = "invented"
[decision]
rule = "simple"
[unit]
maker = "x"
model = "x"
[unit.timebase]
stated = "1 ppm"
[[input]]
name = "B"
connector = "N"
range = ["40 MHz", "1.6 GHz"]
impedance = "50 Ω"
damage = "20 dBm"
max_gap = "2 octaves"
accuracy = { kind = "direct" }
sensitivity = [{ from = "40 MHz", to = "1.6 GHz", level = "-20 dBm" }]
[[sweep]]
input = "B"
gate = "1 s"
[[measure]]
kind = "level range"
gate = "1 s"
[[measure]]
kind = "level range"
input = "B"
from = "2 GHz"
gate = "0 s"
level_step = "0 dB"
`
	_, err := procedures.LoadProcedure("p.toml", []byte(text), levelrange.Kind{})
	for _, want := range []string{
		`measure[1].input: is missing; a level range is that of one input`,
		`measure[2].input: is "B", for which no maximum is stated`,
		`measure[2].from: is 2 GHz, outside the range of input B`,
		`measure[2].gate: is 0 s; expected 1 µs to 10000 s`,
		`measure[2].level_step: is 0 dB; expected above 0`,
	} {
		require.ErrorContains(t, err, want)
	}
}

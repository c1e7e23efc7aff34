package timebase_test

import (
	"context"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"bandproof/drivers/virtual"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/runnertest"
	"bandproof/runner/timebase"

	"github.com/stretchr/testify/require"
)

const day = `
[[measure]]
kind = "timebase"
input = "B"
frequency = "1 GHz"
gate = "10 s"
every = "1 min"
lasts = "24 h"
ageing_per_day = "0.03 ppm"
stability = [["2 min", "5e-9"], ["1 h", "1e-12"]]
`

// The unit of these tests is 0.12 ppm high when it was adjusted 30 days ago, and
// ages by 0.02 ppm per day since, by the clock: 0.72 ppm when the run begins.
var ageing = []string{"seed = 1\n", "seed = 1\nage_by_clock = true\n", `ageing_per_day = "0.0005 ppm"`, `ageing_per_day = "0.02 ppm"`}

func rig(t *testing.T, table string, pairs ...string) *runnertest.Rig {
	t.Helper()
	return runnertest.New(t, runnertest.Options{Append: table, Kinds: []runner.MeasureKind{timebase.Kind{}}, Scenario: ageing, Procedure: pairs})
}

func row(t *testing.T, o runner.Outcome, what string) runner.Row {
	t.Helper()
	for _, x := range o.Rows {
		if x.What == what {
			return x
		}
	}
	t.Fatalf("no row %q in %v", what, o.Rows)
	return runner.Row{}
}

func TestTimebaseOverADay(t *testing.T) {
	r := rig(t, day)
	got := r.Run()
	require.True(t, got.Complete, got.Ended)
	o := got.Outcomes[0]
	for _, x := range o.Rows {
		t.Logf("%s: %s: %s", x.What, x.Verdict, x.Says)
	}
	started, ended := o.Courses[0].Readings[0].At, o.Courses[0].Readings[len(o.Courses[0].Readings)-1].At
	require.InDelta(t, 24, ended.Sub(started).Hours(), 0.02)
	require.InDelta(t, 1441, len(o.Courses[0].Readings), 5)

	offset := row(t, o, "timebase offset, mean of the series")
	u := offset.Uncertainty.Expanded
	require.InDelta(t, 0.12e-6+0.02e-6*30.5, offset.Found.Float(), u+3e-9)
	require.Less(t, u, 1e-9)
	require.Equal(t, decision.Pass, offset.Verdict.Word)
	require.Contains(t, offset.Says, "timebase +0.73")
	require.Contains(t, offset.Says, "readings are -0.73")

	slope := row(t, o, "ageing per day")
	require.InDelta(t, 0.02e-6, slope.Found.Float(), slope.Uncertainty.Expanded)
	require.Less(t, slope.Uncertainty.Expanded, 1e-9)
	require.Equal(t, "1/d", slope.Unit)
	require.Equal(t, decision.Pass, slope.Verdict.Word)

	// One count of 3.2 Hz at 1 GHz, asynchronous, is 3.2e-9/√6 = 1.3e-9 at one
	// reading; it averages down with the root of their number.
	short := row(t, o, "OADEV at 1 min")
	require.InEpsilon(t, 3.2e-9/math.Sqrt(6), short.Found.Float(), 0.1)
	require.Empty(t, short.Verdict.Word)
	promised := row(t, o, "OADEV at 2 min")
	require.Equal(t, decision.Pass, promised.Verdict.Word)
	coarse := row(t, o, "OADEV at 1 h")
	require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.UncertaintyTooLarge}, coarse.Verdict)
	require.Contains(t, strings.Join(r.Setup.Plan.Warnings, "\n"), "a deviation of 1e-12 at 1 h can't be shown: one count alone makes")

	// The limit is 0.8 ppm, so that the best setting is −0.8 ppm less U.
	best := row(t, o, "recommended setting of the timebase")
	require.InDelta(t, -0.8e-6, best.Found.Float(), 1e-9)
	require.Contains(t, best.Says, "(readings then +0.799 ppm): within tolerance for at least 79 d, 80 d at the slope found")
	require.Len(t, o.Curves, 3)
	require.Equal(t, "Offset of the timebase", o.Curves[0].Title)
	require.True(t, o.Curves[1].X.Log && o.Curves[1].Y.Log)
	require.LessOrEqual(t, len(o.Curves[0].Lines[0].X), 500)
	require.Equal(t, []string{"MW", "house standard"}, o.Standards)
	require.Equal(t, runner.Incomplete, got.Statement, "the stability at 1 h is open")
	text, err := json.Marshal(o)
	require.NoError(t, err)
	require.NotContains(t, string(text), "NaN")
}

// One-sided promises, and a slope that is known too badly to judge by.
func TestAgeingLimits(t *testing.T) {
	for _, c := range []struct {
		keys   []string
		want   decision.Word
		reason decision.Reason
	}{
		{[]string{`"0.03 ppm"`, `"0.01 ppm"`}, decision.Fail, decision.OutsideLimit},
		{[]string{`ageing_per_day = "0.03 ppm"`, "ageing_per_day = \"0.03 ppm\"\nageing_side = \"at most\""}, decision.Pass, ""},
		{[]string{`ageing_per_day = "0.03 ppm"`, "ageing_per_day = \"-0.01 ppm\"\nageing_side = \"at most\""}, decision.Fail, decision.OutsideLimit},
		{[]string{`ageing_per_day = "0.03 ppm"`, "ageing_per_day = \"0.01 ppm\"\nageing_side = \"at least\""}, decision.Pass, ""},
		{[]string{`"0.03 ppm"`, `"0.02 ppm"`, `"24 h"`, `"1 h"`, `stability = [["2 min", "5e-9"], ["1 h", "1e-12"]]`, ``}, decision.NotJudged, decision.UncertaintyTooLarge},
	} {
		got := rig(t, strings.NewReplacer(append(c.keys, `"1 min"`, `"5 min"`, `["2 min"`, `["10 min"`)...).Replace(day)).Run()
		slope := row(t, got.Outcomes[0], "ageing per day")
		require.Equal(t, decision.Verdict{Word: c.want, Reason: c.reason}, slope.Verdict, "%v: %s", c.keys, slope.Says)
	}
}

// Cut off in the middle, the series goes on with what was kept and ends when it
// would have ended.
func TestTimebaseGoesOn(t *testing.T) {
	whole := rig(t, day).Run().Outcomes[0]
	r := rig(t, day)
	ctx, cancel := context.WithCancel(t.Context())
	r.Journal.OnStep = func() {
		if len(r.Journal.Steps) == 600 {
			cancel()
		}
	}
	first, err := runner.Run(ctx, r.Setup)
	require.NoError(t, err)
	require.Empty(t, first.Outcomes)
	kept := map[string][]json.RawMessage{}
	for _, s := range r.Journal.Steps {
		task, body, _ := strings.Cut(s, " ")
		kept[task] = append(kept[task], json.RawMessage(body))
	}
	r.Journal.OnStep, r.Setup.Steps = nil, kept
	require.NoError(t, r.Clock.Sleep(t.Context(), 3600e9))
	got := r.Run().Outcomes[0]
	a, b := whole.Courses[0].Readings, got.Courses[0].Readings
	require.Equal(t, a[:590], b[:590])
	require.InDelta(t, 24, b[len(b)-1].At.Sub(b[0].At).Hours(), 0.02)
	require.InDelta(t, len(a)-60, len(b), 10)
	require.Contains(t, strings.Join(got.Notes, "\n"), "from before an interruption")
	require.Contains(t, strings.Join(got.Notes, "\n"), "missing values between the first and the last")
	require.InDelta(t, row(t, whole, "ageing per day").Found.Float(), row(t, got, "ageing per day").Found.Float(), 1e-9)

	// All of it kept: nothing is read again.
	kept["B-timebase-001"] = append(kept["B-timebase-001"], json.RawMessage(`{"readings":[]}`))
	r.Setup.Steps = kept
	require.NoError(t, r.Clock.Sleep(t.Context(), 48*3600e9))
	again := r.Run().Outcomes[0]
	require.Less(t, len(again.Courses[0].Readings), 620)
	require.Equal(t, whole.Courses[0].Expected, again.Courses[0].Expected)
}

const throughOutput = `
[[measure]]
kind = "timebase"
name = "timebase output"
through = "output"
every = "5 min"
lasts = "24 h"
ageing_per_day = "0.03 ppm"
`

// outputRig measures the unit's 10 MHz output with the monitor, whose reference
// is 2e-12 high: it reads the timebase itself.
func outputRig(t *testing.T) *runnertest.Rig {
	t.Helper()
	second := `

[[monitor.input]]
name = "2"
channel = 2
range = ["1 MHz", "100 MHz"]
kind = "reciprocal"
time_resolution = "100 ps"
impedance = "50 Ω"
max = "10 dBm"
damage = "20 dBm"
sensitivity = [{ range = ["1 MHz", "100 MHz"], specified = "-30 dBm", better_by = "5 dB" }]

[monitor.timebase_output]
input = "2"
level = "3 dBm"

[[switch]]
name = "SW"`
	return runnertest.New(t, runnertest.Options{Append: throughOutput, Kinds: []runner.MeasureKind{timebase.Kind{}}, Switched: true,
		Scenario:  []string{"seed = 1\n", "seed = 1\nage_by_clock = true\n", "\n[[switch]]\nname = \"SW\"", second, `ageing_per_day = "0.0005 ppm"`, `ageing_per_day = "0.02 ppm"`},
		BenchFile: []string{"\n[[switch]]\nname = \"SW\"", "\n[monitor.timebase_output]\ninput = \"2\"\nfrequency = \"10 MHz\"\ngate = \"10 s\"\nresolution = \"1 mHz\"\n\n[[switch]]\nname = \"SW\""}})
}

func TestTimebaseThroughItsOutput(t *testing.T) {
	r := outputRig(t)
	got := r.Run()
	r.Alone()
	require.True(t, got.Complete, got.Ended)
	o := got.Outcomes[0]
	for _, x := range o.Rows {
		t.Logf("%s: %s: %s", x.What, x.Verdict, x.Says)
	}
	require.Equal(t, "monitor", o.Courses[0].By)
	slope := row(t, o, "ageing per day")
	require.InDelta(t, 0.02e-6, slope.Found.Float(), slope.Uncertainty.Expanded)
	require.Less(t, slope.Uncertainty.Expanded, 2e-11)
	require.Equal(t, []string{"monitor", "house standard"}, o.Standards)
	require.NotEmpty(t, got.Points)
	for _, p := range got.Points { // the monitor watches the source again
		if p.Point.Watched {
			require.True(t, p.Monitor[len(p.Monitor)-1].Good)
		}
	}
}

func TestTimebaseThatCannotBeSeen(t *testing.T) {
	r := runnertest.New(t, runnertest.Options{Append: day, Kinds: []runner.MeasureKind{timebase.Kind{}}, BenchFile: []string{"profile = \"scpi-counter\"\nreference = \"own\"", "profile = \"scpi-counter\"\nreference = \"house standard\""}})
	require.Empty(t, r.Setup.Plan.Tasks)
	require.Contains(t, strings.Join(r.Setup.Plan.Warnings, "\n"), "timebase B: not shown: Unit and source share house standard")

	p := r.Setup.Procedure
	p.Measures[0].Keys = nil
	loaded, err := procedures.LoadProcedure("p.toml", []byte(strings.Replace(throughOutput, "[[measure]]", "schema = \"bandproof procedure 1\"\n[[measure]]", 1)), timebase.Kind{})
	require.Error(t, err) // nothing but the table
	_, err = procedures.NewPlan(loaded, r.Setup.Bench, procedures.Options{})
	require.Error(t, err)
}

// A unit that keeps showing what it read last would look steady for ever.
func TestTimebaseOfAUnitThatHoldsItsReading(t *testing.T) {
	r := runnertest.New(t, runnertest.Options{Append: strings.NewReplacer(`"24 h"`, `"2 h"`, `"1 h", "1e-12"`, `"4 min", "5e-9"`).Replace(day), Kinds: []runner.MeasureKind{timebase.Kind{}}, Scenario: ageing, Faults: []string{"held-reading"}})
	got := r.Run().Outcomes[0]
	require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.HeldReading}, got.Rows[0].Verdict)
}

// A source that is not locked for hours leaves a gap, and the series goes on.
func TestTimebaseWithASourceThatLosesLock(t *testing.T) {
	r := rig(t, strings.NewReplacer(`"24 h"`, `"6 h"`, `"1 h", "1e-12"`, `"4 min", "5e-9"`).Replace(day))
	set := func(list []virtual.Fault) { require.NoError(t, r.Bench.SetFaults(list)) }
	fault, err := virtual.ParseFault("source-unlock:instrument=MW")
	require.NoError(t, err)
	begun, stage := r.Clock.Now(), 0
	r.Setup.Clock = told{r.Clock, func() {
		switch h := r.Clock.Now().Sub(begun).Hours(); {
		case stage == 0 && h > 2:
			set([]virtual.Fault{fault})
			stage++
		case stage == 1 && h > 3:
			set(nil)
			stage++
		}
	}}
	got := r.Run()
	o := got.Outcomes[0]
	require.Equal(t, decision.Pass, row(t, o, "ageing per day").Verdict.Word, row(t, o, "ageing per day").Says)
	require.Contains(t, strings.Join(o.Notes, "\n"), "missing values between the first and the last")
	require.InDelta(t, 300, len(o.Courses[0].Readings), 12)
}

// How long a unit that is switched on takes to be warm: with 1.5 ppm that come in
// with 8 min, drift over 10 min is below 0.1 ppm/h from 43.7 min on, so that it
// was warm from 33.7 min on, and U makes it a little more.
func TestTimebaseTellsTheWarmUp(t *testing.T) {
	until := "origin = \"Invented for the tests.\"\n[warm_up_until]\ninput = \"B\"\nfrequency = \"1 GHz\"\ngate = \"1 s\"\nevery = \"10 s\"\ndrift = \"0.1 ppm\"\nper = \"1 h\"\nover = \"10 min\"\nlongest = \"2 h\"\notherwise = \"warn\"\n"
	short := strings.NewReplacer(`"24 h"`, `"1 h"`, `stability = [["2 min", "5e-9"], ["1 h", "1e-12"]]`, ``, `ageing_per_day = "0.03 ppm"`, `warm_up = "1 h"`)
	take := func(table, powered, on string) runner.Row {
		r := runnertest.New(t, runnertest.Options{Append: table, Kinds: []runner.MeasureKind{timebase.Kind{}}, Procedure: []string{`origin = "Invented for the tests."`, until},
			Scenario: []string{`powered_for = "2 d"`, powered, "seed = 1\n", "seed = 1\nage_by_clock = true\n"}})
		r.Setup.OnFor = quantity.MustParse[quantity.Second](on)
		return row(t, r.Run().Outcomes[0], "time from switching on until warm")
	}
	cold := `powered_for = "0 s"`
	x := take(short.Replace(day), cold, "0 s")
	require.Equal(t, decision.Pass, x.Verdict.Word)
	require.InDelta(t, 33.7*60, x.Found.Float(), 600)
	require.Equal(t, decision.Fail, take(strings.Replace(short.Replace(day), `warm_up = "1 h"`, `warm_up = "20 min"`, 1), cold, "0 s").Verdict.Word)
	require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.NotCold}, take(short.Replace(day), `powered_for = "2 d"`, "2 h").Verdict)
	require.Empty(t, take(strings.Replace(short.Replace(day), `warm_up = "1 h"`, ``, 1), cold, "0 s").Verdict.Word)
}

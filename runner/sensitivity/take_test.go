package sensitivity_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/runnertest"
	"bandproof/runner/sensitivity"

	"github.com/stretchr/testify/require"
)

var kinds = []runner.MeasureKind{sensitivity.Kind{}}

const table = `
[[measure]]
kind = "sensitivity"
input = "B"
from = "100 MHz"
to = "1.2 GHz"
points = ["400 MHz"]
gate = "100 ms"
`

// outcome runs a rig and returns its only outcome.
func outcome(t *testing.T, o runnertest.Options) (runner.Outcome, runner.Result) {
	t.Helper()
	o.Kinds = kinds
	got := runnertest.New(t, o).Run()
	require.Len(t, got.Outcomes, 1)
	require.True(t, got.Complete, got.Ended)
	return got.Outcomes[0], got
}

// true thresholds of input B of the virtual unit, dBm: what its scenario says.
func threshold(f quantity.Frequency) float64 {
	if f.Float() <= 1.01e9 {
		return -25 - 7
	}
	return -20 - 5
}

// TestFindsTheTrueThreshold sets the virtual source off by up to its stated
// uncertainty, anew at each frequency and seed, and counts how often the
// virtual unit's threshold lies within U of what was found: at least 95.45 %
// are promised by k = 2.
func TestFindsTheTrueThreshold(t *testing.T) {
	within, n, worst := 0, 0, 0.0
	for seed := range 16 {
		o, _ := outcome(t, runnertest.Options{Seed: seed + 1, Append: table,
			Scenario: []string{`level_error = "0.5 dB"`, `level_error = "1 dB"`}})
		for _, r := range o.Rows {
			require.NotNil(t, r.Found, r.Says)
			off := math.Abs(r.Found.Float() - threshold(*r.At))
			worst = math.Max(worst, off/r.Uncertainty.Expanded)
			n++
			if off <= r.Uncertainty.Expanded {
				within++
			}
			require.Equal(t, decision.Pass, r.Verdict.Word, r.Says)
			require.InDelta(t, r.Limit.Float()-r.Found.Float(), r.Margin.Float(), 1e-9)
		}
	}
	t.Logf("%d of %d within U, the worst at %.2f U", within, n, worst)
	require.GreaterOrEqual(t, float64(within), 0.9545*float64(n))
}

// one is a table with one frequency; more keys may follow.
const one = `
[[measure]]
kind = "sensitivity"
input = "B"
from = "399 MHz"
to = "400 MHz"
gate = "100 ms"
`

// A unit that is deaf by more than its reserve fails, by as much as it is off.
func TestDeafUnit(t *testing.T) {
	o, got := outcome(t, runnertest.Options{Append: one, Faults: []string{"deaf:input=B,amount=15 dB"}})
	for _, r := range o.Rows {
		require.Equal(t, decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}, r.Verdict, r.Says)
		require.InDelta(t, -3, r.Margin.Float(), r.Uncertainty.Expanded)
	}
	require.Equal(t, runner.Outside, got.Statement)
	require.Len(t, o.Curves, 1)
	require.Len(t, o.Curves[0].Lines[0].U, 2)
}

// The source is set in steps of 0.1 dB over a path that loses some hundredths,
// and searched through in steps of 0.5 dB: a unit whose threshold lies between
// what is specified and the next fine step below meets it.
func TestThresholdWithinTheLastFineStep(t *testing.T) {
	for amount, want := range map[string]decision.Word{"12.2 dB": decision.Fail, "11.85 dB": decision.Pass, "11.6 dB": decision.Pass} {
		o, _ := outcome(t, runnertest.Options{Append: one, Scenario: []string{`level_error = "0.5 dB"`, `level_error = "0 dB"`}, Faults: []string{"deaf:input=B,amount=" + amount}})
		for _, r := range o.Rows {
			require.Equal(t, want, r.Verdict.Word, "threshold %s above -32 dBm: %s", amount, r.Says)
			require.InDelta(t, -20, r.Found.Float(), 0.6)
		}
	}
}

// Beyond the beginning of the search nothing is found: the point there is
// taken as the band sweep takes one, which proves the path.
func TestDeadInput(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Append: one, Faults: []string{"dead-above:input=B,from=399.5 MHz"}})
	require.Equal(t, decision.Pass, o.Rows[0].Verdict.Word)
	require.Equal(t, decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}, o.Rows[1].Verdict)
	require.Contains(t, o.Rows[1].Says, "does not count properly at -9.9")
	require.Nil(t, o.Rows[1].Found)
}

// Where nothing ever counted the path is to blame until it is proven.
func TestCableThatIsOpen(t *testing.T) {
	o, got := outcome(t, runnertest.Options{Append: one, Faults: []string{"source-no-output:instrument=MW"}})
	require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.PathNotProven}, o.Rows[0].Verdict)
	require.Equal(t, runner.Incomplete, got.Statement)
}

// A source that is not good is never booked on the unit.
func TestSourceThatDoesNotLock(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Append: one, Faults: []string{"source-unlock:instrument=MW,from=399.5 MHz,to=401 MHz"}})
	require.Equal(t, decision.Pass, o.Rows[0].Verdict.Word)
	require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.SourceNotLocked}, o.Rows[1].Verdict)
	require.Nil(t, o.Rows[1].Found)
}

// A unit that counts down to the source's floor is better than that.
func TestFloorOfTheSource(t *testing.T) {
	const was, is = "name = \"MW\"\nmaker = \"Invented Instruments\"\nmodel = \"Demo Source High\"\nserial = \"DSH-0011\"\ncertificate = \"EX-2026-0115 (invented)\"\ncalibrated = \"2026-03-05\"\ndue = \"2027-03-05\"\naddress = \"TCPIP0::127.0.0.1::5027::SOCKET\"\nprofile = \"scpi-source\"\nrange = [\"10 MHz\", \"18 GHz\"]\nlevel = [\"-60 dBm\"", "-26 dBm"
	o, _ := outcome(t, runnertest.Options{Append: one, BenchFile: []string{was, strings.Replace(was, "-60 dBm", is, 1)}})
	for _, r := range o.Rows {
		require.Contains(t, r.Says, "better than -26.")
		require.Equal(t, decision.Pass, r.Verdict.Word)
		require.InDelta(t, -26.5, r.Found.Float(), 0.2)
	}
}

// The interlock's ceiling ends the search at the top, and the record says so;
// no level above it is ever set (the rig looks for damage, and at each shot).
func TestNeverTooNearToDamage(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Append: one, Procedure: []string{`damage = "20 dBm"`, `damage = "-7 dBm"`}})
	for _, r := range o.Rows {
		require.Contains(t, r.Says, "begun less than 10 dB above the specification: input B is destroyed at -7 dBm, margin 3 dB")
		require.Equal(t, decision.Pass, r.Verdict.Word)
	}
	for _, x := range o.Shots {
		// 1 dB of uncertainty and 1 dB of transient, loss not counted on.
		require.LessOrEqual(t, x.Point.Levels.Source.DBm(quantity.Dbm50()), -7.0-3-2, "%s", x.Point.Levels.Source)
	}
}

// At high impedance levels are voltages and compared in dBV.
func TestHighImpedance(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Append: strings.NewReplacer(`"B"`, `"A"`, "399 MHz", "1 MHz", "400 MHz", "60 MHz").Replace(one)})
	for _, r := range o.Rows {
		require.Equal(t, "dBV", r.Unit)
		require.InDelta(t, 20*math.Log10(0.05), r.Limit.Float(), 1e-9)
		require.InDelta(t, 20*math.Log10(0.025)-6, r.Found.Float(), r.Uncertainty.Expanded)
		require.Equal(t, decision.Pass, r.Verdict.Word)
	}
}

// A power meter tells the level; below what it reaches the level is computed.
func TestPowerMeterTellsTheLevel(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Switched: true, Append: strings.NewReplacer(`"B"`, `"C"`, "399 MHz", "2 GHz", "400 MHz", "6 GHz").Replace(one)})
	for _, r := range o.Rows {
		require.NotNil(t, r.Found, "%s: %s", r.Says, r.Verdict)
		require.Contains(t, r.Budget[0].Name, "power meter PM")
	}
	metered := 0
	for _, x := range o.Shots {
		if x.Level != nil {
			metered++
		}
	}
	require.Positive(t, metered)
}

// What was kept of a task that was cut off is not taken again.
func TestGoesOnWhereItWasCutOff(t *testing.T) {
	r := runnertest.New(t, runnertest.Options{Append: one, Kinds: kinds})
	whole := r.Run().Outcomes[0]
	require.Len(t, r.Journal.Steps, 2)
	id, body, _ := strings.Cut(r.Journal.Steps[0], " ")
	r = runnertest.New(t, runnertest.Options{Append: one, Kinds: kinds})
	r.Setup.Steps = map[string][]json.RawMessage{id: {json.RawMessage(body)}}
	again := r.Run().Outcomes[0]
	require.Len(t, r.Journal.Steps, 1, "the second frequency only")
	for k := range whole.Rows {
		require.Equal(t, whole.Rows[k].Says, again.Rows[k].Says)
		require.Equal(t, whole.Rows[k].Verdict, again.Rows[k].Verdict)
	}
	require.Equal(t, len(whole.Shots), len(again.Shots))
}

// A guarded rule leaves no pass where the margin is within the guard band.
func TestGuardedRule(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Append: one, Procedure: []string{`rule = "simple"`, `rule = "guarded"`}, Faults: []string{"deaf:input=B,amount=11.8 dB"}})
	for _, r := range o.Rows {
		require.InDelta(t, r.Uncertainty.Expanded, r.GuardBand.Float(), 1e-9)
		require.Contains(t, []decision.Word{decision.ConditionalPass, decision.ConditionalFail}, r.Verdict.Word, r.Says)
	}
}

// An island of miscounts above the least level is found: what counts is the
// level from which on all of them do, and where the island lies above the
// specification it is not met. A coarse step as wide as the island sees it once;
// finer ones would end the search above it.
func TestIsland(t *testing.T) {
	for _, c := range []struct {
		amount string
		found  float64
		want   decision.Word
	}{{"5 dB", -32 + 5 + 3, decision.Pass}, {"11 dB", -32 + 11 + 3, decision.Fail}} {
		o, _ := outcome(t, runnertest.Options{Append: one + "coarse = \"3 dB\"\n", Faults: []string{"island:input=B,amount=" + c.amount}})
		for _, r := range o.Rows {
			require.Equal(t, c.want, r.Verdict.Word, r.Says)
			require.InDelta(t, c.found, r.Found.Float(), r.Uncertainty.Expanded, r.Says)
			require.Contains(t, r.Says, "an island of miscounts at ")
			require.Contains(t, r.Says, "below which it counts from -3")
		}
	}
}

// A unit that overloads too early counts at low levels only, and the record
// says so.
func TestOverloadTooEarly(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Append: one, Faults: []string{"overload-at-low-level:input=B,amount=22 dB"}})
	for _, r := range o.Rows {
		require.Equal(t, decision.Fail, r.Verdict.Word)
		require.Contains(t, r.Says, "does not count properly at -9.9")
		require.Regexp(t, `it counts properly at lower levels, from -2\d\.\d\d dBm to -1\d`, r.Says)
	}
}

// A source that gives less than it says is seen by the power meter, and not
// booked on the unit.
func TestSourceThatGivesLessThanItSays(t *testing.T) {
	o, _ := outcome(t, runnertest.Options{Switched: true, Append: strings.NewReplacer(`"B"`, `"C"`, "399 MHz", "2 GHz", "400 MHz", "6 GHz").Replace(one),
		Faults: []string{"source-level-low:amount=10 dB"}})
	for _, r := range o.Rows {
		require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.LevelNotAsPlanned}, r.Verdict, r.Says)
	}
}

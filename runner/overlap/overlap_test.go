package overlap_test

import (
	"math"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/runner"
	"bandproof/runner/overlap"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

const table = `
[[measure]]
kind = "overlap"
inputs = ["A", "B"]
frequencies = ["50 MHz", "100 MHz"]
gate = "1 s"
`

func rig(t *testing.T, o runnertest.Options) *runnertest.Rig {
	t.Helper()
	if o.Append == "" {
		o.Append = table
	}
	o.Kinds = []runner.MeasureKind{overlap.Kind{}}
	return runnertest.New(t, o)
}

// At 50 MHz with a gate of 1 s the two inputs may differ by 1 Hz (A counts
// directly) and 32 Hz (B divides by 32 first): q = 1/gate and 32/gate.
func TestInputsAgree(t *testing.T) {
	r := rig(t, runnertest.Options{})
	var ids []string
	for _, x := range r.Setup.Plan.Tasks {
		ids = append(ids, x.ID)
	}
	require.Equal(t, []string{"A-overlap-001", "A-overlap-002", "B-overlap-001", "B-overlap-002"}, ids)
	got := r.Run()
	require.Equal(t, runner.WithinAll, got.Statement)
	require.Len(t, r.Operator.Moves, 2, "no cable is moved more often for it")
	for k, o := range got.Outcomes {
		if k < 2 {
			require.Len(t, o.Rows, 1)
			require.Equal(t, decision.Verdict{}, o.Rows[0].Verdict)
			continue
		}
		require.Len(t, o.Rows, 2)
		x := o.Rows[1]
		require.Equal(t, "difference of inputs B and A", x.What)
		require.Equal(t, "33", x.Limit.String(), "the timebase cancels; no drift is stated")
		require.Equal(t, decision.Pass, x.Verdict.Word)
		require.Contains(t, x.Says, "no drift of it is allowed")
		// The sources run from one reference, which cancels: left are half the
		// setting steps of both, 0.5 mHz and 0.5 Hz, rectangular (GUM 4.3.7).
		require.InEpsilon(t, 2*math.Hypot(0.5e-3, 0.5)/math.Sqrt(3), x.Uncertainty.Expanded, 1e-6)
	}
}

// An error that hides behind the timebase term of its own limit shows here.
func TestErrorBehindTheTimebase(t *testing.T) {
	r := rig(t, runnertest.Options{Faults: []string{"wrong-harmonic:input=B,amount=60 Hz,to=120 MHz"}})
	got := r.Run()
	for _, p := range got.Points {
		require.True(t, p.Verdict.Good(), "0.8 ppm of 100 MHz is more than 60 Hz: %s", p.Point.ID)
	}
	x := got.Outcomes[3].Rows[1]
	require.Equal(t, decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}, x.Verdict)
	require.InDelta(t, 60, x.Found.Float(), 33)
	require.Equal(t, runner.Outside, got.Statement)
}

func TestDrift(t *testing.T) {
	drift := func(o runnertest.Options) (before, after runner.Outcome) {
		got := rig(t, o).Run().Outcomes
		return got[1], got[3]
	}
	_, o := drift(runnertest.Options{Append: table + "drift = \"0.05 ppm\"\n"})
	require.InDelta(t, 38, o.Rows[1].Limit.Float(), 1e-9, "and 0.05 ppm of 100 MHz")
	require.Contains(t, o.Rows[1].Says, "its drift of 0.05 ppm is allowed")

	before, o := drift(runnertest.Options{Procedure: []string{`stated = "0.8 ppm"`, "ageing = \"10 ppm\"\nper = \"day\"\ninterval = \"1 d\""}})
	require.Contains(t, o.Rows[1].Says, "its ageing of ")
	between := o.Shots[0].Finished.Sub(before.Shots[0].Started).Seconds()
	require.Greater(t, between, 10.0)
	require.InDelta(t, 33+100e6*10e-6*math.Ceil(between)/86400, o.Rows[1].Limit.Float(), 1e-6, "10 ppm a day over the time between")
}

func TestOneInputGivesNothing(t *testing.T) {
	t.Run("no count", func(t *testing.T) {
		r := rig(t, runnertest.Options{Faults: []string{"dead-above:input=B,from=90 MHz,to=120 MHz"}})
		got := r.Run()
		o := got.Outcomes[3]
		require.Equal(t, decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}, o.Rows[0].Verdict)
		require.Equal(t, decision.Verdict{}, o.Rows[1].Verdict, "it failed once, not twice")
		require.Equal(t, "not compared: no count", o.Rows[1].Says)
	})
	t.Run("source", func(t *testing.T) {
		r := rig(t, runnertest.Options{Faults: []string{"source-unlock:instrument=LF,from=90 MHz,to=110 MHz"}})
		got := r.Run()
		want := decision.Verdict{Word: decision.NotJudged, Reason: decision.SourceNotLocked}
		require.Equal(t, want, got.Outcomes[1].Rows[0].Verdict)
		require.Equal(t, want, got.Outcomes[3].Rows[1].Verdict)
		require.Equal(t, runner.Incomplete, got.Statement)
	})
	t.Run("nobody moved the cable", func(t *testing.T) {
		r := rig(t, runnertest.Options{})
		r.Operator.Then = func(runner.Move) { r.Operator.Away = true }
		got := r.Run()
		require.Len(t, got.Outcomes, 4)
		require.Equal(t, decision.NoOperator, got.Outcomes[3].Rows[0].Verdict.Reason)
	})
}

func TestKeys(t *testing.T) {
	text := `schema = "bandproof procedure 1"
[[input]]
name = "A"
range = ["10 Hz", "120 MHz"]
[[input]]
name = "B"
range = ["40 MHz", "1.6 GHz"]
[[input]]
name = "C"
range = ["1.4 GHz", "22 GHz"]
[[measure]]
kind = "overlap"
inputs = ["A", "C"]
gate = "1 s"
[[measure]]
kind = "overlap"
inputs = ["A", "A"]
gate = "1 s"
[[measure]]
kind = "overlap"
input = "B"
inputs = ["C", "B"]
frequencies = ["1.5 GHz", "1 GHz"]
gate = "0 s"
`
	_, err := procedures.LoadProcedure("p.toml", []byte(text), overlap.Kind{})
	for _, want := range []string{
		"measure[1].inputs: have no frequency in common",
		"measure[2].inputs: must be two different inputs of the unit",
		"measure[3].input: has no place here",
		"measure[3].gate: is 0 s; expected above zero",
		"measure[3].frequencies[2]: is 1 GHz; both inputs cover 1.4 GHz to 1.6 GHz",
	} {
		require.ErrorContains(t, err, want)
	}
}

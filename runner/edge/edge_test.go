package edge_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/edge"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

const table = `
[[measure]]
kind = "edge"
input = "B"
`

func taken(t *testing.T, append string, faults ...string) (*runnertest.Rig, runner.Result) {
	t.Helper()
	r := runnertest.New(t, runnertest.Options{Append: append, Kinds: []runner.MeasureKind{edge.Kind{}}, Faults: faults})
	got := r.Run()
	require.True(t, got.Complete, got.Ended)
	return r, got
}

// The bracket of an edge holds the frequency at which the fault sets in, is no
// wider than stated, and takes the probes that bisection takes and no more.
func TestEdgeInFrequency(t *testing.T) {
	for _, row := range []struct {
		name, fault, to string
		truth           float64
		says            string
		fraction        float64
	}{
		{"dead above", "dead-above:input=B,from=1.051 GHz", "", 1.051e9, "counts up to 1.05", 1e-3},
		{"finer", "dead-above:input=B,from=1.051 GHz", "to = \"1e-6\"\n", 1.051e9, "counts up to 1.05", 1e-6},
		{"dead below", "dead-below:input=B,to=217 MHz", "", 217e6, "counts from 217", 1e-3},
	} {
		t.Run(row.name, func(t *testing.T) {
			r, got := taken(t, table+row.to, row.fault)
			o := got.Outcomes[0]
			require.Len(t, o.Rows, 1)
			x := o.Rows[0]
			require.Contains(t, x.Says, row.says)
			require.Contains(t, x.Says, "no count")
			require.Equal(t, decision.Verdict{}, x.Verdict, "it only reports")
			require.Equal(t, "Hz", x.Unit)
			require.InDelta(t, row.truth, x.Found.Float(), row.truth*row.fraction/2*1.01)
			half := x.Budget[len(x.Budget)-1]
			require.Equal(t, "half of the bracket", half.Name)
			require.LessOrEqual(t, half.Value, row.truth*row.fraction/2*1.001)
			require.GreaterOrEqual(t, x.Uncertainty.Standard, half.Standard)
			last := o.Shots[len(o.Shots)-1]
			require.Equal(t, fmt.Sprintf("B-edge-001.%d", len(o.Shots)), last.Point.ID)
			require.Len(t, last.Readings, 3+r.Setup.Counter.Discard())
			require.Less(t, float64(len(o.Shots))*r.Setup.Plan.Points[5].Seconds, 1.3*r.Setup.Plan.Tasks[0].Seconds, "the plan's time holds")
			require.Equal(t, runner.Outside, got.Statement, "the points have failed")
		})
	}
}

// Each change in a stretch is listed: an island where the unit counts is no
// edge less.
func TestIslandsAreListed(t *testing.T) {
	_, got := taken(t, table, "dead-above:input=B,from=1 GHz,to=1.05 GHz", "dead-above:input=B,from=1.1 GHz")
	var found []float64
	for _, x := range got.Outcomes[0].Rows {
		found = append(found, x.Found.Float())
	}
	require.Len(t, found, 3)
	for k, want := range []float64{1e9, 1.05e9, 1.1e9} {
		require.InEpsilon(t, want, found[k], 1e-3)
	}
	require.Contains(t, got.Outcomes[0].Rows[0].Says, "counts up to ")
	require.Contains(t, got.Outcomes[0].Rows[1].Says, "counts from ")
	require.Contains(t, got.Outcomes[0].Rows[2].Says, "counts up to ")
}

func TestNoEdge(t *testing.T) {
	_, got := taken(t, table)
	require.Equal(t, []runner.Row{{What: "edge in frequency", Says: "no edge found between 40 MHz and 1.6 GHz"}}, got.Outcomes[0].Rows)
	require.Empty(t, got.Outcomes[0].Shots, "a good unit costs no time")
	r := runnertest.New(t, runnertest.Options{Append: table, Kinds: []runner.MeasureKind{edge.Kind{}}, Faults: []string{"deaf:input=B,amount=25 dB"}})
	r.Operator.Answers = []bool{true, true, true} // an instrument known to be good shows the signal
	got = r.Run()
	require.Equal(t, "no point between 40 MHz and 1.6 GHz passes, so there is nothing to start from", got.Outcomes[0].Rows[0].Says)
}

// A fault that is gone when the search begins is said to be, and no edge made
// up (by the clock of the bench the points are over before it begins).
// One point has no two ends between which an edge could lie.
func TestOnePointHasNoEdge(t *testing.T) {
	r := runnertest.New(t, runnertest.Options{Append: table, Kinds: []runner.MeasureKind{edge.Kind{}}})
	plan := r.Setup.Plan
	plan.Points = slices.DeleteFunc(plan.Points, func(p procedures.Point) bool { return p.ID != "B-001" })
	got := r.Run()
	require.Contains(t, got.Outcomes[0].Rows[0].Says, "not looked for: one point")
}

func TestEndThatChanges(t *testing.T) {
	r := runnertest.New(t, runnertest.Options{Append: table, Kinds: []runner.MeasureKind{edge.Kind{}}, Faults: []string{"dead-above:input=B,from=1 GHz"}})
	r.Setup.Watcher = &mends{r: r}
	got := r.Run()
	require.Regexp(t, `^not found between 900 MHz and 1\.2 GHz: point B-005 failed, and passed now at -1\d\.\d+ dBm and 1 s gate$`, got.Outcomes[0].Rows[0].Says)
}

// mends repairs the unit after the last point.
type mends struct{ r *runnertest.Rig }

func (m *mends) Says(string)             {}
func (m *mends) Measured(runner.Outcome) {}
func (m *mends) Progress(done, planned int, _ time.Duration, _ runner.PointResult) {
	if done == planned {
		m.r.Bench.Repair(quantity.Ratio{})
	}
}

func TestEdgeInLevel(t *testing.T) {
	_, got := taken(t, `
[[measure]]
kind = "edge"
input = "B"
frequencies = ["400 MHz"]
levels = ["-45 dBm", "5 dBm"]
gate = "1 s"
`)
	require.Len(t, got.Outcomes, 1)
	require.Len(t, got.Outcomes[0].Rows, 1)
	x := got.Outcomes[0].Rows[0]
	require.Regexp(t, `^counts from -3\d\.\d+ dBm on; at -3\d\.\d+ dBm: `, x.Says)
	require.Equal(t, "dBm", x.Unit)
	require.InDelta(t, -32, x.Found.Float(), x.Uncertainty.Expanded, "specified -25 dBm, and 7 dB better on the bench")
	require.Greater(t, x.Uncertainty.Expanded, 1.0, "the level of the source is uncertain by 1 dB")
	require.Less(t, x.Uncertainty.Expanded, 1.5)
	require.Equal(t, runner.WithinAll, got.Statement)
}

// At a high-impedance input levels are voltages.
func TestEdgeInVoltage(t *testing.T) {
	_, got := taken(t, `
[[measure]]
kind = "edge"
input = "A"
frequencies = ["1 MHz"]
levels = ["3 mV", "1 V"]
to_level = "0.2 dB"
gate = "1 s"
`)
	x := got.Outcomes[0].Rows[0]
	require.Equal(t, "V", x.Unit)
	require.InDelta(t, 0.0125, x.Found.Float(), x.Uncertainty.Expanded, "specified 25 mV, and 6 dB better on the bench")
	for _, line := range x.Budget {
		require.InEpsilon(t, x.Found.Float()*math.Ln10/20, line.Coefficient(), 1e-12, "dV/V for 1 dB is ln(10)/20")
	}
}

func TestKeys(t *testing.T) {
	text := `schema = "bandproof procedure 1"
[[input]]
name = "B"
range = ["40 MHz", "1.6 GHz"]
impedance = "50 Ω"
maximum = "7 dBm"
[[measure]]
kind = "edge"
to = "50 %"
[[measure]]
kind = "edge"
input = "B"
frequencies = ["2 GHz"]
levels = ["10 dBm", "-10 dBm"]
to_level = "0 dB"
`
	_, err := procedures.LoadProcedure("p.toml", []byte(text), edge.Kind{})
	for _, want := range []string{
		"measure[1].input: is missing; an edge is of one input",
		"measure[2].frequencies[1]: is 2 GHz, outside the range 40 MHz to 1.6 GHz",
		"measure[2].levels: is reversed: 10 dBm is not below -10 dBm",
		"measure[2].to_level: is 0 dB; expected 0.01 dB to 20 dB",
		"measure[2].gate: goes with frequencies and levels",
	} {
		require.ErrorContains(t, err, want)
	}
}

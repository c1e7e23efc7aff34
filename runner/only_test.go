package runner_test

import (
	"context"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// A run that was restricted takes what is named and no more, needs only its
// cables, and states nothing of the rest.
func TestAddedRunOfSinglePoints(t *testing.T) {
	for _, row := range []struct {
		name  string
		ids   []string
		moves []string
		fault string
		want  runner.Statement
	}{
		{"good", []string{"B-004", "B-002", "B-half-001"}, []string{"MW to B"}, "", runner.WithinPoints},
		{"bad", []string{"B-004"}, []string{"MW to B"}, "wrong-harmonic:input=B,amount=1 MHz", runner.Outside},
		{"task alone", []string{"B-half-001"}, []string{"MW to B"}, "", runner.WithinPoints},
	} {
		t.Run(row.name, func(t *testing.T) {
			o := options{Append: halves, Kinds: []runner.MeasureKind{half{}}}
			if row.fault != "" {
				o.Faults = []string{row.fault}
			}
			r := newRig(t, o)
			whole := r.Setup.Plan.Minutes
			require.NoError(t, r.Setup.Plan.Restrict(r.Setup.Bench, row.ids))
			require.Less(t, r.Setup.Plan.Minutes, whole)
			require.Equal(t, 1, r.Setup.Plan.Moves)
			got := r.Run()
			require.True(t, got.Complete)
			require.ElementsMatch(t, row.ids, got.Only)
			require.Len(t, got.Inputs, 1, "nothing is said of an input that was not asked for")
			require.Equal(t, row.moves, r.Operator.Moves)
			require.Equal(t, len(row.ids), len(got.Points)+len(got.Outcomes))
			require.Equal(t, row.want, got.Statement)
		})
	}
}

// telling is a kind of measurement that reports, and judges nothing.
type telling struct{ half }

func (m telling) Take(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	o, err := m.half.Take(ctx, s, t)
	for k := range o.Rows {
		o.Rows[k] = runner.Row{What: o.Rows[k].What, Says: "as found"}
	}
	return o, err
}

// An added run that only reports has shown nothing to be within tolerance.
func TestNothingJudgedIsNothingShown(t *testing.T) {
	r := newRig(t, options{Append: halves, Kinds: []runner.MeasureKind{telling{}}})
	require.NoError(t, r.Setup.Plan.Restrict(r.Setup.Bench, []string{"B-half-001"}))
	got := r.Run()
	require.True(t, got.Complete)
	require.Len(t, got.Outcomes, 1)
	require.Equal(t, runner.Incomplete, got.Statement)
}

// One dead point is no unit that gives no readings at all.
func TestAddedRunThatReadsNothing(t *testing.T) {
	r := newRig(t, options{Faults: []string{"dead-above:input=B,from=1 GHz"}})
	require.NoError(t, r.Setup.Plan.Restrict(r.Setup.Bench, []string{"B-005"}))
	r.Operator.Answers = []bool{true, true, true} // the signal arrives
	got := r.Run()
	require.Equal(t, decision.NoCount, got.Points[0].Verdict.Reason)
	require.Equal(t, runner.Outside, got.Statement)
}

package runner_test

import (
	"testing"

	"bandproof/procedures/decision"
	"bandproof/runner"
	"bandproof/runner/kinds"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// Of a unit from which no run can be taken every planned point is not obtainable;
// no instrument is spoken to.
func TestAUnitThatIsDead(t *testing.T) {
	r := runnertest.New(t, runnertest.Options{Kinds: kinds.All()})
	res, err := runner.Unobtainable(t.Context(), r.Setup, "no display", "A. B.")
	require.NoError(t, err)
	requireUnobtainable(t, res, "no display")
	require.Len(t, res.Points, len(r.Setup.Plan.Points))
	require.Len(t, res.Outcomes, len(r.Setup.Plan.Tasks))
	require.True(t, res.Complete)
	require.Contains(t, res.Events[0].Text, "not obtainable, by A. B.: no display")
	failed, bench, open := res.Worst()
	require.Equal(t, []bool{true, false, false}, []bool{failed, bench, open})
}

func requireUnobtainable(t *testing.T, res runner.Result, symptom string) {
	t.Helper()
	require.Equal(t, runner.NotObtainable, res.Statement)
	require.Contains(t, res.Symptom, symptom)
	require.NotEmpty(t, res.Points)
	for _, p := range res.Points {
		require.Equal(t, decision.Verdict{Word: decision.Fail, Reason: decision.NotObtainable}, p.Verdict, p.Point.ID)
		require.NotEmpty(t, p.Symptom, p.Point.ID)
	}
	for _, i := range res.Inputs {
		require.Zero(t, i.Coverage.Share, i.Input.Name)
	}
}

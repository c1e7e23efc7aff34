package symptom_test

import (
	"testing"

	"bandproof/runner"
	measurements "bandproof/runner/kinds"
	"bandproof/runner/runnertest"
	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// A unit that gives no reading at all is one finding, not a dead input each.
func TestAUnitThatGivesNothing(t *testing.T) {
	never := runnertest.New(t, runnertest.Options{Kinds: measurements.All()})
	res, err := runner.Unobtainable(t.Context(), never.Setup, "no display", "A. B.")
	require.NoError(t, err)
	seen := runnertest.New(t, runnertest.Options{Faults: []string{"dead-input"}})
	seen.Operator.Answers = []bool{true, true, true, true, true, true} // the signal arrives, a person says
	for name, c := range map[string]struct {
		run        runner.Result
		says, open string
	}{
		"not tried": {res, "no display", "none was tried"},
		"tried":     {seen.Run(), "no reading at any of", "what reads the unit"},
	} {
		t.Run(name, func(t *testing.T) {
			list := symptom.Name(c.run)
			require.Len(t, list, 1)
			f := list[0]
			require.Equal(t, symptom.NoReadings, f.Symptom)
			require.Contains(t, f.Says, c.says)
			require.Contains(t, f.Text(100), c.open)
			require.NotContains(t, f.Text(100), "dB")
			require.Len(t, f.Inputs, 2)
		})
	}
}

package isolate

import (
	"testing"

	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// Evidence that no one or two faults explain is said to be so.
func TestThreeFaultsLeaveSomethingUnexplained(t *testing.T) {
	n := loaded(t, largeModel(20))
	dead := func(inputs int) []Observation {
		return largeEvidence(func(input, band, _ int) symptom.Kind {
			if input < inputs && band == 1 {
				return symptom.None
			}
			return symptom.Good
		})
	}
	for inputs, want := range []bool{false, false, false, true} {
		post, err := n.Infer(t.Context(), dead(inputs), Options{})
		require.NoError(t, err)
		require.Equal(t, want, len(post.Unexplained()) > 0, "%d inputs", inputs)
		for _, o := range post.Unexplained() {
			require.Equal(t, symptom.None, o.Kind)
		}
	}
}

// A look that contradicts all others is named, and others are not.
func TestContradictionIsNamed(t *testing.T) {
	n := chain(t, 4)
	evidence := append(deadPoints(), Observation{ID: "TP2", TestPoint: "TP2", Input: "A", Frequency: 1e7, Kind: symptom.None})
	for k := range evidence[:4] {
		evidence[k].Kind = symptom.Good
	}
	post := inferred(t, n, evidence)
	require.Equal(t, evidence[4:], post.Unexplained())
	require.Empty(t, inferred(t, n, evidence[:4]).Unexplained())
}

// Points that the model knows no way for, and frequencies that are none, are
// handed back, not dropped.
func TestEvidenceOutsideTheModel(t *testing.T) {
	n := chain(t, 4)
	outside := []Observation{{ID: "1", Input: "Z", Frequency: 1e7, Kind: symptom.None}, {ID: "2", Input: "A", Frequency: -1, Kind: symptom.None},
		{ID: "3", Input: "A", Frequency: 1e9, Kind: symptom.None}, {ID: "4", Input: "A", Frequency: 1e7, TestPoint: "TP9", Kind: symptom.None},
		{ID: "5", Input: "A", Frequency: 1e7, Kind: "unheard of"}}
	require.Equal(t, outside, inferred(t, n, outside).Outside)
}

// A reason counts the points that it is true of: of a fault that shows above some
// frequency only those above.
func TestReasonsCountWhatTheyAreTrueOf(t *testing.T) {
	n := loaded(t, `schema = "bandproof block model 1"
name = "one amplifier"
unit = "one"
origin = "a test"
reading = "chain"
stage = [{ name = "A", kind = "connector", input = "A", modes = ["dead"] }, { name = "amplifier", kind = "amplifier", modes = ["rolls off above"] },
  { name = "chain", kind = "counting chain", modes = ["dead"] }]
way = [{ name = "A", input = "A" }]
connection = [{ from = "A", to = "amplifier" }, { from = "amplifier", to = "chain" }]
`)
	var evidence []Observation
	for k := range 10 {
		o := Observation{Input: "A", Frequency: float64(k+1) * 1e6, Kind: symptom.Good}
		if k > 6 || k == 2 {
			o.Kind = symptom.None
		}
		evidence = append(evidence, o)
	}
	post := inferred(t, n, evidence)
	first := post.Suspects()[0]
	require.Equal(t, "amplifier", first.Stage)
	require.Equal(t, []string{"input A: nothing at 3 points through it"}, first.For)
	require.Equal(t, []string{"input A: nothing at 1 point through it"}, first.Leaves)
	require.Empty(t, first.Against)
	require.Equal(t, evidence[2:3], post.Unexplained())
	dead := post.Suspects()[1]
	require.Equal(t, []string{"input A passes at 6 points through it"}, dead.Against)
	require.Equal(t, []string{"input A: nothing at 4 points through it"}, dead.For)
}

// Two that are alike need not both be like a third.
func TestAlikeIsNotHandedOn(t *testing.T) {
	list := []Suspect{{Stage: "a", Probability: 0.5, fit: 0}, {Stage: "b", Probability: 0.3, fit: -0.5}, {Stage: "c", Probability: 0.1, fit: -0.9},
		{Stage: "d", Probability: 0.05, fit: -5}, {Stage: "e", Probability: 0.001, fit: -5}}
	require.Equal(t, [][]string{{"a", "b"}, {"b", "c"}}, Alike(list, 0.01))
	require.Equal(t, [][]string{{"a", "b"}, {"b", "c"}, {"d", "e"}}, Alike(list, 0))
	require.Empty(t, Alike(nil, 0))
}

package isolate

import (
	"context"
	"testing"

	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// uncertainty is the entropy of which stages are at fault, bit.
func (p *Posterior) uncertainty() float64 {
	of := map[[2]int]float64{}
	for _, h := range p.supposed() {
		of[stagesOf(h.faults)] += h.p
	}
	var list []float64
	for _, x := range of {
		list = append(list, x)
	}
	return entropy(list)
}

// What a look is said to tell is the uncertainty before it less that after each
// answer, times the answer's probability, with each inferred anew (Shannon 1948).
func TestInformationIsWhatTheAnswerTakesAway(t *testing.T) {
	var tried int
	modes := []Mode{Dead, Weak, ComesAndGoes, Doubles, OffFrequency, StaysOneWay, DeadOneWay} // what is seen adds no degree to these
	rapid.Check(t, func(t *rapid.T) {
		n := loaded(t, randomModel(t, small{stages: 3, ways: 2, points: 2, modes: modes}))
		evidence := randomEvidence(t, 5)
		before := inferred(t, n, evidence)
		if len(before.list) > mostBelieved {
			t.Skip("more is supposed than a look's worth is worked out from")
		}
		probes, err := before.Probes(context.Background(), nil)
		require.NoError(t, err)
		for _, p := range probes[:min(2, len(probes))] {
			told, sum := before.uncertainty(), 0.0
			for s, kind := range symptom.Kinds() {
				probability := 0.0
				for _, h := range before.supposed() {
					probability += h.p * n.predict(h.faults, &p.look)[s]
				}
				after := inferred(t, n, append(evidence[:len(evidence):len(evidence)], p.Observation(kind)))
				told -= probability * after.uncertainty()
				sum += probability
			}
			require.InDelta(t, 1, sum, 1e-12)
			require.InDelta(t, told, p.Information, 1e-12, "%s", p.TestPoint)
			tried++
		}
	})
	require.Positive(t, tried)
}

package isolate

import (
	"context"
	"maps"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The looks to expect are none where a stage is found or no look tells more, and
// else one more than those to expect after its answer, on average, with each
// answer inferred anew. By induction that is all there is to it.
func TestExpectedIsOneLookAndThoseAfterIt(t *testing.T) {
	none, some, apart := 0, 0, 0
	modes := []Mode{Dead, Weak, ComesAndGoes, Doubles, OffFrequency, StaysOneWay, DeadOneWay} // what is seen adds no degree to these
	rapid.Check(t, func(t *rapid.T) {
		n := loaded(t, randomModel(t, small{stages: 4, ways: 2, points: 3, modes: modes}))
		evidence := randomEvidence(t, 3)
		before := inferred(t, n, evidence)
		if len(before.list) > 500 {
			t.Skip("more is supposed than is looked ahead from")
		}
		expected := func(p *Posterior) float64 {
			looks, exact, err := p.Expected(context.Background(), nil)
			require.NoError(t, err)
			require.True(t, exact)
			return looks
		}
		probes, err := before.Probes(context.Background(), nil)
		require.NoError(t, err)
		of := map[int]float64{} // by stage, -1: none
		for _, h := range before.supposed() {
			one := stagesOf(h.faults)
			if of[one[1]] += h.p; one[0] >= 0 && one[0] != one[1] {
				of[one[0]] += h.p
			}
		}
		told := slices.Max(slices.Collect(maps.Values(of)))
		if told >= Found || len(probes) == 0 || !probes[0].TellsMore() {
			require.Zero(t, expected(before))
			none++
			return
		}
		p := probes[0]
		want, reckoned := 0.0, 0.0
		for _, a := range p.Answers {
			after := inferred(t, n, append(evidence[:len(evidence):len(evidence)], p.Observation(a.Kind)))
			want += a.Probability * expected(after)
			reckoned += a.Probability
		}
		if off := math.Abs(1 + want/reckoned - expected(before)); off > 0.06 {
			apart++
			t.Logf("%s first: %.3f looks expected, %.3f by what follows", p.TestPoint, expected(before), 1+want/reckoned)
		}
		some++
	})
	t.Logf("nothing to look at in %d cases, something in %d, of which %d differ", none, some, apart)
	require.Positive(t, some)
	// Where a look tells hardly enough to be taken, or a stage is hardly found, what was left out decides.
	require.LessOrEqual(t, apart, 1+some/20)
}

// Five stages that explain a dead input, and looks that are spoiled once in a
// hundred times: what is unlikely does not make it many.
func TestExpectedOfFewStagesIsFew(t *testing.T) {
	network := chain(t, 5)
	post, err := network.Infer(t.Context(), deadPoints(), Options{})
	require.NoError(t, err)
	looks, exact, err := post.Expected(t.Context(), nil)
	require.NoError(t, err)
	require.True(t, exact)
	require.InDelta(t, 2.4, looks, 0.3) // of five leaves two lie three looks deep: (3·2 + 2·3)/5, and what the spoiled ones cost
}

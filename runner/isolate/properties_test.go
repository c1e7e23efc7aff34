package isolate

import (
	"context"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The order of evidence does not matter, and what is revoked leaves no trace.
func TestOrderAndRevocation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := loaded(t, randomModel(t, small{stages: 4, ways: 3, points: 3}))
		evidence := randomEvidence(t, 8)
		before := inferred(t, n, evidence)
		mixed := append([]Observation(nil), evidence...)
		rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 0)).Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		after := inferred(t, n, mixed)
		more := append(evidence[:len(evidence):len(evidence)], randomEvidence(t, 3)...)
		inferred(t, n, more)
		again := inferred(t, n, more[:len(evidence)])
		sum := before.Good()
		for _, s := range n.Model.Stages {
			require.InDelta(t, before.Stage(s.Name), after.Stage(s.Name), 1e-12, s.Name)
			require.Equal(t, before.Stage(s.Name), again.Stage(s.Name), s.Name) // to the last bit
			sum += before.Stage(s.Name)
		}
		for _, p := range before.Pairs(0) {
			sum -= p.Probability // counted with both of its stages
		}
		require.InDelta(t, 1, sum, 1e-12)
	})
}

// Of stages that no evidence touches, each stays as much more likely than the
// other as it was, by odds.
func TestUntouchedStagesKeepTheirOdds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := loaded(t, randomModel(t, small{stages: 5, ways: 2, points: 2}))
		post := inferred(t, n, randomEvidence(t, 6))
		odds, first := n.odds(), -1
		alone := make([]float64, len(n.Model.Stages))
		for k, v := range post.all {
			alone[v.stage] += post.alone[k]
		}
		for k := range n.Model.Stages {
			touched := false
			for i := range post.looks {
				touched = touched || post.looks[i].touches(k)
			}
			switch {
			case touched:
			case first < 0:
				first = k
			default:
				require.InEpsilon(t, odds[k]/odds[first], alone[k]/alone[first], 1e-9)
			}
		}
	})
}

// What leaving out unlikely pairs loses is no more than Lost says.
func TestLostBoundsWhatIsLeftOut(t *testing.T) {
	lost := false
	rapid.Check(t, func(t *rapid.T) {
		n := loaded(t, randomModel(t, small{stages: 5, ways: 3, points: 3}))
		evidence := randomEvidence(t, 8)
		o := Options{Lose: rapid.SampledFrom([]float64{1e-9, 1e-4, 0.01, 0.2}).Draw(t, "lose"), Pairs: rapid.SampledFrom([]int{1, 5, 20, 600}).Draw(t, "pairs")}
		whole := inferred(t, n, evidence)
		cut, err := n.Infer(context.Background(), evidence, o)
		require.NoError(t, err)
		lost = lost || cut.Lost > 0
		require.GreaterOrEqual(t, cut.Lost, 0.0)
		if o.Pairs == 600 {
			require.LessOrEqual(t, cut.Lost, o.Lose*(1+1e-9))
		}
		// What is kept is larger by what was left out, relative to what is kept.
		share := cut.Good() / whole.Good()
		require.LessOrEqual(t, share, (1+cut.Lost)*(1+1e-12))
		require.GreaterOrEqual(t, share, 1-1e-12)
		for _, s := range n.Model.Stages {
			require.InDelta(t, whole.Stage(s.Name), cut.Stage(s.Name), cut.Lost+1e-12, s.Name)
		}
	})
	require.True(t, lost, "nothing was left out in any of them")
}

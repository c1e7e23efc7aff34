package symptom

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestSimplestIsTheSimplest compares with all fractions, tried one by one.
func TestSimplestIsTheSimplest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.Float64Range(0.01, 100).Draw(t, "ratio")
		half := rapid.Float64Range(0, 0.2).Draw(t, "half") * at
		low, high := at-half, at+half
		var want *big.Rat
		for q := int64(1); q <= mostTerm && want == nil; q++ {
			for p := int64(1); p <= mostTerm; p++ {
				if x := float64(p) / float64(q); x >= low && x <= high {
					want = big.NewRat(p, q)
					break
				}
			}
		}
		got := simplest(low, high)
		switch {
		case (got == nil) != (want == nil):
			t.Fatalf("[%g, %g]: got %v, want %v", low, high, got, want)
		case got == nil:
		case got.Denom().Cmp(want.Denom()) != 0:
			t.Fatalf("[%g, %g]: got %v, want denominator of %v", low, high, got, want)
		}
	})
	for _, c := range [][2]float64{{-1, 1}, {0, 0}, {2, 1}} {
		require.Nil(t, simplest(c[0], c[1]))
	}
}

// TestRatioByChance: errors that have nothing to do with any ratio, at all widths
// of the limit, are named a ratio no more often than the bound says; a true one is
// named where the limit is narrow enough to tell.
func TestRatioByChance(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, limit := range []float64{1e-8, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3} {
		const n = 200_000
		named := 0
		for range n {
			l := &look{Seen: Seen{Shown: 0.02 + 1.9*rng.Float64()}, ref: 1, coarse: limit}
			if r, c := l.ratioOf(); r != nil && c <= mostChance {
				named++
			}
		}
		share := float64(named) / n
		t.Logf("limit %.0e: %.3f %% named by chance", limit, 100*share)
		require.LessOrEqual(t, share, mostChance)
	}
	for _, c := range []struct {
		limit float64
		named bool
	}{{1e-6, true}, {5e-6, true}, {1e-4, false}} {
		l := &look{Seen: Seen{Shown: 32. / 31 * (1 + 0.3*c.limit)}, ref: 1, coarse: c.limit}
		r, p := l.ratioOf()
		require.Equal(t, big.NewRat(32, 31), r)
		require.Equal(t, c.named, p <= mostChance, "limit %g: %g", c.limit, p)
	}
}

package timebase

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// By hand: 0.5 ppm either way, ageing +0.001 ppm per day. Set to −0.5 ppm it has
// 1 ppm to go: 1000 days; with ±0.00025 ppm per day at least 1/0.00125 = 800.
func TestSettingByHand(t *testing.T) {
	for _, c := range []struct {
		name                    string
		bound, slope, u         float64
		offset, least, expected float64
	}{
		{"known exactly", 0.5, 0.001, 0, -0.5, 1000, 1000},
		{"known to a quarter", 0.5, 0.001, 0.00025, -0.5, 800, 1000},
		{"downwards", 0.5, -0.001, 0.00025, 0.5, 800, 1000},
		{"direction just known", 0.5, 0.001, 0.001, -0.5, 500, 1000},
		// (B − y)/(u + s) = (B + y)/(u − s): y = −0.5·0.5 = −0.25; 0.75/0.003 = 0.25/0.001 = 250.
		{"direction not known", 0.5, 0.001, 0.002, -0.25, 250, 750},
		{"no ageing found", 0.5, 0, 0.002, 0, 250, math.Inf(1)},
		{"none at all", 0.5, 0, 0, 0, math.Inf(1), math.Inf(1)},
	} {
		s, ok := Longest(c.bound, c.slope, c.u)
		require.True(t, ok, c.name)
		require.InDelta(t, c.offset, s.Offset, 1e-12, c.name)
		for k, x := range []float64{s.Least, s.Expected} {
			want := []float64{c.least, c.expected}[k]
			if math.IsInf(want, 1) {
				require.True(t, math.IsInf(x, 1), c.name)
			} else {
				require.InEpsilon(t, want, x, 1e-12, c.name)
			}
		}
	}
	for _, bad := range [][3]float64{{0, 1, 1}, {-1, 1, 1}, {1, math.NaN(), 1}, {1, 1, -1}, {math.Inf(1), 1, 1}} {
		_, ok := Longest(bad[0], bad[1], bad[2])
		require.False(t, ok, "%v", bad)
	}
}

// walk lets a timebase age in small steps until it leaves ±bound: another way
// to the same time.
func walk(y, bound, slope, step float64) float64 {
	for n := 0; ; n++ {
		if math.Abs(y+slope*float64(n)*step) > bound || n > 200_000 {
			return float64(n) * step
		}
	}
}

// No other setting stays within tolerance for longer at every slope that the
// uncertainty leaves, as a search over settings and slopes shows.
func TestSettingIsTheBestOfAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bound := rapid.Float64Range(0.1, 10).Draw(t, "bound")
		slope := rapid.Float64Range(-1, 1).Draw(t, "slope")
		u := rapid.Float64Range(0.02, 1).Draw(t, "u")
		s, ok := Longest(bound, slope, u)
		if !ok || math.Abs(s.Offset) > bound {
			t.Fatalf("setting %v", s)
		}
		step := s.Least / 500
		worst := func(y float64) float64 {
			least := math.Inf(1)
			for k := -4; k <= 4; k++ {
				least = math.Min(least, walk(y, bound, slope+u*float64(k)/4, step))
			}
			return least
		}
		if got := worst(s.Offset); math.Abs(got-s.Least) > 2.5*step {
			t.Fatalf("at %g it stays for %g, not %g", s.Offset, got, s.Least)
		}
		for k := -20; k <= 20; k++ {
			if y := bound * float64(k) / 20; worst(y) > s.Least+2.5*step {
				t.Fatalf("at %g it stays for %g, at the recommended %g for %g", y, worst(y), s.Offset, s.Least)
			}
		}
	})
}

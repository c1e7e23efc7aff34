package stability_test

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"bandproof/procedures/uncertainty"
	"bandproof/runner/stability"

	"github.com/stretchr/testify/require"
)

// Slope, intercept, their standard deviations and the scatter are those that
// NIST certifies for its Norris data.
func TestCertifiedLine(t *testing.T) {
	c := checks(t, "ageing.toml", 7)["strd-norris"]
	require.Len(t, c.X, 36)
	f, err := stability.FitLinear(c.X, c.Values)
	require.NoError(t, err)
	require.InEpsilon(t, c.Intercept, f.Parameters[0].Value, c.Tolerance)
	require.InEpsilon(t, c.InterceptStandard, f.Parameters[0].Standard, c.Tolerance)
	require.InEpsilon(t, c.Slope, f.Parameters[1].Value, c.Tolerance)
	require.InEpsilon(t, c.SlopeStandard, f.Parameters[1].Standard, c.Tolerance)
	require.InEpsilon(t, c.Scatter, f.Scatter, c.Tolerance)

	// In order of x, as readings over time come; what the line leaves then hangs
	// together a little or not at all, and the trend says no less than the line.
	order := make([]int, len(c.X))
	for k := range order {
		order[k] = k
	}
	sort.SliceStable(order, func(a, b int) bool { return c.X[order[a]] < c.X[order[b]] })
	var x, y []float64
	for _, k := range order {
		x, y = append(x, c.X[k]), append(y, c.Values[k])
	}
	trend, err := stability.FitTrend(x, y, 0)
	require.NoError(t, err)
	require.InEpsilon(t, c.Slope, trend.Slope, c.Tolerance)
	worth := 1.0
	if trend.LagOne > 0 {
		worth = math.Sqrt(34 / trend.Freedom)
	}
	require.InEpsilon(t, c.SlopeStandard*worth, trend.Standard, c.Tolerance)
	at, u := trend.At(0)
	require.InEpsilon(t, c.Intercept, at, 1e-6)
	require.InEpsilon(t, c.InterceptStandard*worth, u, 0.1)
}

// covers tells how often the interval of 95.45 % holds the true slope of 2.
func covers(t *testing.T, count float64, series func(r *rand.Rand, k int, was float64) (noise float64)) (trend, line float64) {
	t.Helper()
	const tries, n, slope = 2000, 60, 2.0
	r := rand.New(rand.NewPCG(5, 9))
	held, plain := 0, 0
	for range tries {
		var times, values []float64
		noise := 0.0
		for k := range n {
			at := float64(k) / n
			noise = series(r, k, noise)
			y := 100 + slope*at + noise
			if count > 0 {
				y = math.Floor(y/count+r.Float64()) * count
			}
			times, values = append(times, at), append(values, y)
		}
		f, err := stability.FitTrend(times, values, count)
		if err != nil {
			require.ErrorIs(t, err, stability.ErrData)
			held, plain = held+1, plain+1 // it says that it can't tell
			continue
		}
		if math.Abs(f.Slope-slope) <= uncertainty.Factor(f.Freedom)*f.Standard {
			held++
		}
		l, err := stability.FitLinear(times, values)
		require.NoError(t, err)
		if math.Abs(l.Parameters[1].Value-slope) <= uncertainty.Factor(float64(l.Freedom))*l.Parameters[1].Standard {
			plain++
		}
	}
	return float64(held) / tries, float64(plain) / tries
}

// The interval of the slope holds the true one as often as it says: for white
// noise, for counts coarser than the drift, and, where a plain fit is far too
// sure of itself, for noise that hangs together.
func TestTrendCovers(t *testing.T) {
	white, _ := covers(t, 0, func(r *rand.Rand, _ int, _ float64) float64 { return r.NormFloat64() })
	require.InDelta(t, 0.9545, white, 0.02)
	counts, _ := covers(t, 10, func(*rand.Rand, int, float64) float64 { return 0 })
	require.Greater(t, counts, 0.94)
	bound, plain := covers(t, 0, func(r *rand.Rand, k int, was float64) float64 { return 0.6*was + r.NormFloat64() })
	require.Greater(t, bound, 0.91)
	require.Less(t, plain, 0.75, "else the test shows nothing")
}

// Readings that are all alike hide a slope of up to what their resolution allows.
func TestTrendOfReadingsAllAlike(t *testing.T) {
	times, values := make([]float64, 13), make([]float64, 13)
	for k := range times {
		times[k], values[k] = float64(k), 5
	}
	f, err := stability.FitTrend(times, values, 2)
	require.NoError(t, err)
	require.InDelta(t, 0, f.Slope, 1e-12)
	// Σ(k − 6)² of 0…12 is 182.
	require.InEpsilon(t, 2/math.Sqrt(6)/math.Sqrt(182), f.Standard, 1e-12)
	values[6] = math.NaN() // in the middle: the sum is the same
	f, err = stability.FitTrend(times, values, 2)
	require.NoError(t, err)
	require.Equal(t, 12, f.Count)
	require.InEpsilon(t, 2/math.Sqrt(6)/math.Sqrt(182), f.Standard, 1e-12)
}

func TestTrendRefuses(t *testing.T) {
	slow := make([]float64, 40) // one long wave: worth few independent values
	times := make([]float64, 40)
	for k := range slow {
		times[k], slow[k] = float64(k), math.Sin(float64(k)/8)
	}
	for _, c := range []struct {
		name          string
		times, values []float64
		count         float64
		says          string
	}{
		{"hang together", times, slow, 0, "hang together like"},
		{"two values", []float64{0, 1}, []float64{1, 2}, 0, "too few"},
		{"back in time", []float64{0, 2, 1, 3}, []float64{1, 2, 3, 4}, 0, "time 3 lies before"},
		{"resolution", times, slow, -1, "resolution -1"},
		{"one time", []float64{1, 1, 1}, []float64{1, 2, 3}, 0, "times don't differ"},
	} {
		_, err := stability.FitTrend(c.times, c.values, c.count)
		require.ErrorIs(t, err, stability.ErrData, c.name)
		require.ErrorContains(t, err, c.says, c.name)
	}
}

package stability_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"bandproof/runner/stability"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
)

// powerLaw simulates n values of frequency with spectral density ∝ f^alpha:
// white noise through the filter (1 − 1/z)^(alpha/2), with a run-in left out.
func powerLaw(r *rand.Rand, alpha float64, n int) []float64 {
	size := 2 * n
	h, w := make([]float64, 2*size), make([]float64, 2*size)
	h[0] = 1
	for k := 1; k < size; k++ {
		h[k] = h[k-1] * (float64(k) - 1 - alpha/2) / float64(k)
	}
	for k := range size {
		w[k] = r.NormFloat64()
	}
	f := fourier.NewFFT(2 * size)
	a, b := f.Coefficients(nil, h), f.Coefficients(nil, w)
	for k := range a {
		a[k] *= b[k] / complex(float64(2*size), 0)
	}
	return f.Sequence(nil, a)[size-n : size]
}

// TestNoiseSlopes: simulated noise of each type falls with averaging time as
// the standard's table says, and is identified.
func TestNoiseSlopes(t *testing.T) {
	c := checks(t, "stability.toml", 5)["ieee1139-noise-slopes"]
	r := rand.New(rand.NewPCG(11, 39))
	for k, alpha := range c.Alpha {
		y := powerLaw(r, alpha, 1<<15)
		for _, s := range []stability.Series{{Kind: stability.Frequency, Values: y, Tau0: second}, {Kind: stability.Phase, Values: phase(y, 1, false), Tau0: second}} {
			rows := analyse(t, s, stability.Request{Deviations: []stability.Deviation{stability.OADEV, stability.MDEV, stability.OHDEV}, Averaging: stability.Averaging{Factors: []int{4, 8, 16, 32, 64, 128}}}).Rows
			for j, want := range []float64{c.AdevSlope[k], c.MdevSlope[k]} {
				first, last := rows[6*j], rows[6*j+5]
				slope := math.Log(last.Value/first.Value) / math.Log(last.Tau/first.Tau)
				require.InDelta(t, want, slope, c.Tolerance, "%s of %s: slope of %s", s.Kind, c.Noise[k], first.Deviation)
			}
			for _, row := range rows {
				if c.Noise[k] == "flicker PM" && row.Averaging > 4 {
					// Taking each m-th point folds flicker of phase towards white.
					require.Contains(t, []string{"flicker PM", "white PM"}, row.Noise.String())
					continue
				}
				if row.Averaging > 32 { // few hundred values are left
					require.InDelta(t, alpha, row.Noise.Alpha, 1, "%s: %s at %d", s.Kind, row.Deviation, row.Averaging)
					continue
				}
				require.Equal(t, c.Noise[k], row.Noise.String(), "%s: %s at %d", s.Kind, row.Deviation, row.Averaging)
			}
		}
	}
}

// The Hadamard deviation tells noise apart that the Allan deviation can't.
func TestNoiseSteeperThanRandomWalk(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	y := powerLaw(r, -4, 1<<13)
	rows := analyse(t, stability.Series{Kind: stability.Frequency, Values: y, Tau0: second},
		stability.Request{Deviations: []stability.Deviation{stability.OADEV, stability.OHDEV}, Averaging: stability.Averaging{Factors: []int{4}}}).Rows
	require.Equal(t, "random walk FM", rows[0].Noise.String())
	require.Equal(t, "random run FM", rows[1].Noise.String())
}

func TestNoiseOfFewValues(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	y := powerLaw(r, 0, 200)
	at := func(y []float64, m int) stability.Row {
		return analyse(t, stability.Series{Kind: stability.Frequency, Values: y, Tau0: second},
			stability.Request{Deviations: []stability.Deviation{stability.OADEV}, Averaging: stability.Averaging{Factors: []int{m}}}).Rows[0]
	}
	far := at(y, 50)
	require.True(t, far.Noise.Known)
	require.Equal(t, 6, far.NoiseFrom, "200 values give 33 averages of 6")
	few := at(y[:29], 1)
	require.Equal(t, "unknown", few.Noise.String())
	// The interval of unknown noise holds those of all types.
	require.Less(t, few.Freedom, 2.0/3*28)
}

// SP 1065's formulas are fits to simulations; they and the general method must
// agree within what they claim. Noise of the type asked for is made, and rows
// that were identified otherwise are left out, but never all of them.
func TestFreedomAgreesWithPublishedFormulas(t *testing.T) {
	c := checks(t, "stability.toml", 5)["sp1065-overlapping-freedom"]
	formula := map[string]func(n, m float64) float64{
		"white PM": func(n, m float64) float64 { return (n + 1) * (n - 2*m) / 2 / (n - m) },
		"white FM": func(n, m float64) float64 { return (3*(n-1)/2/m - 2*(n-2)/n) * 4 * m * m / (4*m*m + 5) },
		"flicker FM": func(n, m float64) float64 {
			if m == 1 {
				return 2 * (n - 2) * (n - 2) / (2.3*n - 4.9)
			}
			return 5 * n * n / 4 / m / (n + 3*m)
		},
		"random walk FM": func(n, m float64) float64 {
			return (n - 2) / m * ((n-1)*(n-1) - 3*m*(n-1) + 4*m*m) / (n - 3) / (n - 3)
		},
	}
	r := rand.New(rand.NewPCG(10, 65))
	seen := map[string]int{}
	for _, alpha := range []float64{2, 0, -1, -2} {
		for _, n := range c.Points {
			for range 4 {
				rows := analyse(t, stability.Series{Kind: stability.Frequency, Values: powerLaw(r, alpha, n-1), Tau0: second},
					stability.Request{Deviations: []stability.Deviation{stability.OADEV}, Averaging: stability.Averaging{Factors: c.Averaging}}).Rows
				for _, row := range rows {
					f := formula[row.Noise.String()]
					if f == nil {
						continue
					}
					want := f(float64(n), float64(row.Averaging))
					require.InEpsilon(t, want, row.Freedom, c.Tolerance, "%s, %d points, averaging factor %d: got %v, want %v", row.Noise, n, row.Averaging, row.Freedom, want)
					seen[row.Noise.String()+fmt.Sprint(row.Averaging)]++
				}
			}
		}
	}
	require.Len(t, seen, 4*len(c.Averaging), "each type at each averaging factor: %v", seen)
}

// TestIntervalsCover: over many simulated records the interval holds the true
// deviation as often as it says, and 2·mean²/variance of the square is the
// stated number of degrees of freedom.
func TestIntervalsCover(t *testing.T) {
	const records, n = 400, 256
	r := rand.New(rand.NewPCG(8, 15))
	for _, c := range []struct {
		alpha float64
		d     stability.Deviation
		m     int
	}{
		{0, stability.ADEV, 4}, {0, stability.OADEV, 8}, {0, stability.MDEV, 2}, {0, stability.MDEV, 8}, {0, stability.HDEV, 4}, {0, stability.OHDEV, 16}, {0, stability.TotDEV, 64},
		{2, stability.OADEV, 8}, {2, stability.MDEV, 4}, {1, stability.OADEV, 4}, {1, stability.MDEV, 8}, {-1, stability.OADEV, 16}, {-2, stability.OADEV, 8}, {-2, stability.MDEV, 4}, {-2, stability.OHDEV, 8}, {-2, stability.TDEV, 8},
		{0, stability.MDEV, 32}, {-1, stability.MDEV, 24},
	} {
		rows := make([]stability.Row, 0, records)
		mean, square := 0.0, 0.0
		for range records {
			s := stability.Series{Kind: stability.Frequency, Values: powerLaw(r, c.alpha, n), Tau0: second}
			row := analyse(t, s, stability.Request{Deviations: []stability.Deviation{c.d}, Averaging: stability.Averaging{Factors: []int{c.m}}}).Rows[0]
			if row.Noise.Alpha == int(c.alpha) {
				rows = append(rows, row)
			}
			v := row.Value * row.Value
			mean += v / records
			square += v * v / records
		}
		name := fmt.Sprintf("alpha %v, %s at %d", c.alpha, c.d, c.m)
		require.Greater(t, len(rows), records/3, name)
		got := 2 * mean * mean / (square - mean*mean)
		require.InEpsilon(t, got, rows[0].Freedom, 0.25, "%s: simulation has %v degrees of freedom, the row %v", name, got, rows[0].Freedom)
		held := 0
		for _, row := range rows {
			if v := math.Sqrt(mean); row.Lower <= v && v <= row.Upper {
				held++
			}
		}
		require.InDelta(t, 0.9545, float64(held)/float64(len(rows)), 0.04, name)
	}
}

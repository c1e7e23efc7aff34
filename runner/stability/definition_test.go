package stability_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bandproof/runner/stability"

	"github.com/stretchr/testify/require"
)

// The deviations written down from their definitions, term by term, in time
// proportional to values times averaging factor: what the fast sums must equal.
// A term with a gap anywhere that it needs is left out. y is frequency, x phase
// in units of tau0; exactly one is given.

func average(y []float64, from, m int) float64 {
	sum := 0.0
	for _, v := range y[from : from+m] {
		sum += v
	}
	return sum / float64(m)
}

func root(sum float64, n int, by float64) (float64, int) {
	if n == 0 {
		return 0, 0
	}
	return math.Sqrt(sum / float64(n) / by), n
}

// fromFrequency is every deviation but those of reflected data, by averages of frequency.
func fromFrequency(d stability.Deviation, y []float64, m int) (float64, int) {
	sum, n := 0.0, 0
	add := func(v, weight float64) {
		if !math.IsNaN(v) {
			sum += v * v * weight
			n++
		}
	}
	stride := 1
	switch d {
	case stability.ADEV, stability.HDEV:
		stride = m
	}
	switch d {
	case stability.ADEV, stability.OADEV:
		for i := 0; i+2*m <= len(y); i += stride {
			add(average(y, i+m, m)-average(y, i, m), 1)
		}
		return root(sum, n, 2)
	case stability.HDEV, stability.OHDEV:
		for i := 0; i+3*m <= len(y); i += stride {
			add(average(y, i+2*m, m)-2*average(y, i+m, m)+average(y, i, m), 1)
		}
		return root(sum, n, 6)
	}
	// Modified: the mean of m such differences, each one tau0 later.
	for i := 0; i+3*m-1 <= len(y); i++ {
		mean := 0.0
		for k := i; k < i+m; k++ {
			mean += (average(y, k+m, m) - average(y, k, m)) / float64(m)
		}
		add(mean, 1)
	}
	return root(sum, n, 2)
}

// totalDeviation reflects the phase at both ends, written out as a longer record.
func totalDeviation(x []float64, m int) (float64, int) {
	last := len(x) - 1
	long := map[int]float64{}
	for k, v := range x {
		long[k] = v
	}
	for j := 1; j < last; j++ {
		long[-j] = 2*x[0] - x[j]
		long[last+j] = 2*x[last] - x[last-j]
	}
	sum, n := 0.0, 0
	for i := 1; i < last; i++ {
		if v := (long[i-m] - 2*long[i] + long[i+m]) / float64(m); !math.IsNaN(v) {
			sum += v * v
			n++
		}
	}
	return root(sum, n, 2)
}

func TestEqualsTheDefinition(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 14))
	for _, c := range []struct {
		name  string
		count int
		gaps  float64
	}{{"without gaps", 331, 0}, {"few gaps", 400, 0.01}, {"many gaps", 300, 0.1}, {"few values", 7, 0}} {
		y := make([]float64, c.count)
		walk := 0.0
		for k := range y {
			walk += r.NormFloat64()
			y[k] = 1e3 + walk + 5*r.NormFloat64()
			if k > 0 && k < c.count-1 && r.Float64() < c.gaps {
				y[k] = math.NaN()
			}
		}
		for _, d := range stability.Deviations() {
			for _, m := range []int{1, 2, 3, 7, 20, 64, 110} {
				var want float64
				var n int
				if d == stability.TotDEV {
					if c.gaps > 0 || 2*m > c.count {
						continue // below, of phase
					}
					want, n = totalDeviation(phase(y, 1, false), m)
				} else {
					want, n = fromFrequency(d, y, m)
				}
				if n == 0 {
					continue
				}
				if d == stability.TDEV {
					want *= float64(m) / math.Sqrt(3)
				}
				got := analyse(t, stability.Series{Kind: stability.Frequency, Values: y, Tau0: second},
					stability.Request{Deviations: []stability.Deviation{d}, Averaging: stability.Averaging{Factors: []int{m}}}).Rows[0]
				require.InEpsilon(t, want, got.Value, 1e-9, "%s: %s, averaging factor %d", c.name, d, m)
				require.Equal(t, n, got.N, "%s: %s, averaging factor %d", c.name, d, m)
			}
		}
	}
}

// Phase with gaps: every term whose points are there counts, gaps between them
// or not.
func TestPhaseWithGapsEqualsTheDefinition(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 72))
	x := make([]float64, 300)
	for k := range x {
		if x[k] = 1e-3*float64(k) + r.NormFloat64(); k > 0 && k < len(x)-1 && r.Float64() < 0.05 {
			x[k] = math.NaN()
		}
	}
	for _, m := range []int{1, 2, 5, 30, 90} {
		want := map[stability.Deviation]float64{}
		count := map[stability.Deviation]int{}
		set := func(d stability.Deviation, order, stride, window int, by float64) {
			sum, n := 0.0, 0
			for i := 0; i+order*m+window-1 < len(x); i += stride {
				v := 0.0
				for k := i; k < i+window; k++ {
					if order == 2 {
						v += x[k] - 2*x[k+m] + x[k+2*m]
					} else {
						v += x[k] - 3*x[k+m] + 3*x[k+2*m] - x[k+3*m]
					}
				}
				if v /= float64(window * m); !math.IsNaN(v) {
					sum += v * v
					n++
				}
			}
			want[d], count[d] = root(sum, n, by)
		}
		set(stability.ADEV, 2, m, 1, 2)
		set(stability.OADEV, 2, 1, 1, 2)
		set(stability.MDEV, 2, 1, m, 2)
		set(stability.HDEV, 3, m, 1, 6)
		set(stability.OHDEV, 3, 1, 1, 6)
		want[stability.TotDEV], count[stability.TotDEV] = totalDeviation(x, m)
		for d, w := range want {
			if count[d] == 0 {
				continue
			}
			got := analyse(t, stability.Series{Kind: stability.Phase, Values: x, Tau0: second},
				stability.Request{Deviations: []stability.Deviation{d}, Averaging: stability.Averaging{Factors: []int{m}}}).Rows[0]
			require.InEpsilon(t, w, got.Value, 1e-9, "%s, averaging factor %d", d, m)
			require.Equal(t, count[d], got.N, "%s, averaging factor %d", d, m)
		}
	}
}

// A total deviation of frequency with one gap equals that of the terms on one
// side of it, computed from two records joined nowhere.
func TestTotalDeviationOfFrequencyNeverSpansAGap(t *testing.T) {
	y := []float64{1, 4, 2, 8, 5, 7, math.NaN(), 900, 902, 901, 905, 903, 907}
	got := analyse(t, stability.Series{Kind: stability.Frequency, Values: y, Tau0: second},
		stability.Request{Deviations: []stability.Deviation{stability.TotDEV}, Averaging: stability.Averaging{Factors: []int{2}}}).Rows[0]
	left, right := phase(y[:6], 1, false), phase(y[7:], 1, false)
	sum, n := 0.0, 0
	term := func(v float64) { sum += v * v / 4; n++ }
	// Left part: its first point reflects, its end does not (the gap is there).
	term((2*left[0] - left[1]) - 2*left[1] + left[3])
	for i := 2; i+2 < len(left); i++ {
		term(left[i-2] - 2*left[i] + left[i+2])
	}
	last := len(right) - 1
	for i := 2; i+2 <= last; i++ {
		term(right[i-2] - 2*right[i] + right[i+2])
	}
	term(right[last-3] - 2*right[last-1] + (2*right[last] - right[last-1]))
	want, _ := root(sum, n, 2)
	require.Equal(t, n, got.N)
	require.InEpsilon(t, want, got.Value, 1e-12)
}

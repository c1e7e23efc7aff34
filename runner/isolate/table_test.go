package isolate

import (
	"math"
	"testing"

	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func requireDistribution(t require.TestingT, d distribution, says ...any) {
	sum := 0.0
	for _, p := range d {
		if !(p >= 0) {
			require.GreaterOrEqual(t, p, 0.0, says...)
		}
		sum += p
	}
	if !(math.Abs(sum-1) <= 1e-12) {
		require.InDelta(t, 1, sum, 1e-12, says...)
	}
}

// Whatever a stage's fault and wherever one looks, what is seen is something,
// with probability 1.
func TestTableSumsToOne(t *testing.T) {
	require.Len(t, symptom.Kinds(), symptoms)
	margins := []float64{math.NaN(), math.Inf(-1), -40, 0, 6, 100, math.Inf(1)}
	for _, m := range allModes() {
		for r := range role(16) {
			for _, at := range []bool{false, true} {
				requireDistribution(t, effect(m, r, at), "%s %d %v", m, r, at)
			}
			for _, place := range []int{atReading, 0} {
				for _, margin := range margins {
					for _, sensitivity := range []bool{false, true} {
						c := standing{place: place, role: r, margin: margin, sensitivity: sensitivity, readings: 3}
						for _, dB := range []float64{0, 6, 19.9, 20, 30, 1e9} {
							requireDistribution(t, weak(dB, c), "%g dB at %+v", dB, c)
						}
						for _, readings := range []int{math.MinInt, 0, 1, 2, 3, 100, math.MaxInt} {
							c.readings = readings
							for _, q := range []float64{0, 0.2, 0.5, 1} {
								requireDistribution(t, comesAndGoes(q, c), "%g at %+v", q, c)
							}
						}
					}
				}
			}
		}
	}
}

func TestModesAreOfOneSum(t *testing.T) {
	for _, k := range kinds() {
		sum := 0.0
		for _, s := range k.modes {
			require.Positive(t, s.share, k.name)
			require.Contains(t, allModes(), s.mode)
			sum += s.share
		}
		require.InDelta(t, 1, sum, 1e-12, k.name)
		require.Positive(t, k.rate)
	}
}

func anyDistribution(t *rapid.T, label string) distribution {
	var d distribution
	sum := 0.0
	for k := range d {
		if rapid.Bool().Draw(t, label+" has") {
			d[k] = rapid.Float64Range(0, 1).Draw(t, label)
		}
		sum += d[k]
	}
	if sum == 0 {
		return certain
	}
	for k := range d {
		d[k] /= sum
	}
	return d
}

// What two faults show together is what the rule in words says, whichever is
// named first.
func TestBothFaults(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := anyDistribution(t, "a"), anyDistribution(t, "b")
		ab, ba, want := both(a, b), both(b, a), joined(a, b)
		requireDistribution(t, ab)
		requireDistribution(t, ofSelfTest(a))
		requireDistribution(t, asSensitivity(a))
		requireDistribution(t, a.leaky())
		for s := range ab {
			require.InDelta(t, ba[s], ab[s], 1e-15)
			require.InDelta(t, want[s], ab[s], 1e-14)
		}
		require.InDeltaSlice(t, a[:], sliceOf(both(a, certain)), 1e-15, "one that changes nothing")
	})
}

func sliceOf(d distribution) []float64 { return d[:] }

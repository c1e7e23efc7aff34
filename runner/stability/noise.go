package stability

import (
	"fmt"
	"math"
)

// Noise is a power law of noise: the exponent alpha of the spectral density of
// fractional frequency, S(f) ∝ f^alpha.
type Noise struct {
	Alpha int
	// Known is false where there were too few values to tell, or none that differ.
	Known bool
	// From is the averaging factor at which the type was identified; below the
	// row's own where that leaves fewer than 30 values.
	From int
}

// fewest values for which the lag-1 autocorrelation tells noise types apart
// (SP 1065, 5.5: about 30; from memory).
const fewest = 30

// Types of noise, from alpha 2 down to −4.
var noiseNames = []string{"white PM", "flicker PM", "white FM", "flicker FM", "random walk FM", "flicker walk FM", "random run FM"}

// String names the type of noise.
func (n Noise) String() string {
	if !n.Known {
		return "unknown"
	}
	if k := 2 - n.Alpha; k >= 0 && k < len(noiseNames) {
		return noiseNames[k]
	}
	return fmt.Sprintf("alpha %d", n.Alpha)
}

// MarshalText writes the name.
func (n Noise) MarshalText() ([]byte, error) { return []byte(n.String()), nil }

// noise identifies the type of noise at averaging factor m by the lag-1
// autocorrelation (SP 1065, 5.5): of phase, or of averaged frequency, differenced
// until it is stationary, but no more than order times counted from phase.
// Limits of the method: flicker PM at large m is taken for white PM, because
// each m-th point folds its spectrum; a slow process beneath white PM draws the
// type towards flicker PM.
func (t *trace) noise(m, order int) Noise {
	count := t.span() / m
	if t.kind == Phase {
		count = t.span()/m + 1
	}
	if count < fewest {
		m = t.span() / fewest
	}
	// Gaps may leave too few averages; a smaller factor has more of them.
	for ; m >= 1; m /= 2 {
		z, present := t.sampled(m)
		if present < fewest {
			continue
		}
		alpha, ok := lagOne(z, t.kind == Frequency, order)
		if !ok {
			return Noise{}
		}
		lowest := 2 - 2*order
		return Noise{Alpha: max(min(int(math.Round(alpha)), 2), lowest), Known: true, From: m}
	}
	return Noise{}
}

// sampled is phase taken at each m-th point, or frequency averaged over m.
func (t *trace) sampled(m int) (z []float64, present int) {
	if t.kind == Phase {
		for i := 0; i < len(t.x); i += m {
			z = append(z, t.x[i])
			if !math.IsNaN(t.x[i]) {
				present++
			}
		}
		return z, present
	}
	z = make([]float64, 0, t.span()/m)
	for i := 0; i+m < len(t.x); i += m {
		if !t.joined(i, i+m) {
			z = append(z, math.NaN())
			continue
		}
		z = append(z, t.x[i+m]-t.x[i])
		present++
	}
	return z, present
}

// lagOne estimates alpha from z, which it overwrites.
func lagOne(z []float64, frequency bool, order int) (alpha float64, ok bool) {
	d := 0
	if frequency {
		d = 1
	}
	for {
		r, ok := autocorrelation(z)
		if !ok {
			return 0, false
		}
		delta := r / (1 + r)
		if delta < 0.25 || d >= order {
			return 2 - 2*(delta+float64(d)), true
		}
		for k := range len(z) - 1 {
			z[k] = z[k+1] - z[k]
		}
		z = z[:len(z)-1]
		d++
	}
}

// autocorrelation at lag 1, of the pairs without a gap; false where all values
// are alike or no pair is left.
func autocorrelation(z []float64) (float64, bool) {
	var sum total
	n := 0
	for _, v := range z {
		if !math.IsNaN(v) {
			sum.add(v)
			n++
		}
	}
	mean := sum.value() / float64(n)
	square, product := 0.0, 0.0
	pairs := 0
	before := math.NaN()
	for _, v := range z {
		v -= mean
		if !math.IsNaN(v) {
			square += v * v
		}
		if p := v * before; !math.IsNaN(p) {
			product += p
			pairs++
		}
		before = v
	}
	if pairs == 0 || !(square > 0) {
		return 0, false
	}
	r := product / square * float64(n-1) / float64(pairs)
	return math.Max(math.Min(r, 1), -0.999), true
}

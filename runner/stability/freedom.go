package stability

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/combin"
	"gonum.org/v1/gonum/stat/distuv"
)

// freedom is the equivalent number of degrees of freedom of a deviation of so
// many terms. Where the noise is unknown it is the least over all types.
func (d Deviation) freedom(n Noise, m, terms, span int) float64 {
	if n.Known {
		return d.freedomFor(n.Alpha, m, terms, span)
	}
	least := math.Inf(1)
	for alpha := 2; alpha >= 2-2*d.order(); alpha-- {
		least = math.Min(least, d.freedomFor(alpha, m, terms, span))
	}
	return least
}

func (d Deviation) freedomFor(alpha, m, terms, span int) float64 {
	v := variance{order: d.order(), alpha: alpha, m: m, stride: 1, modified: d.modified() && m > 1}
	if d.overlapped() {
		v.stride = float64(m)
	}
	if d != TotDEV {
		return v.freedom(float64(terms))
	}
	// The total deviation is the overlapping Allan deviation at short averaging
	// times, and for noise of phase; only later does the reflection add freedom:
	// edf = b·T/tau − c (SP 1065, 5.4, total variance).
	allan := v.freedom(float64(max(1, min(terms, span-2*m+1))))
	if c, ok := map[int][2]float64{0: {1.50, 0}, -1: {1.17, 0.22}, -2: {0.93, 0.36}}[alpha]; ok && m >= 8 {
		share := float64(terms) / float64(span-1) // what gaps have left
		return math.Max(allan, c[0]*share*float64(span)/float64(m)-c[1])
	}
	return allan
}

// variance describes a finite-difference variance of phase: the parameters of
// the general method (SP 1065, 5.4; C. A. Greenhall and W. J. Riley, 2003; from
// memory). Times are in units of tau. In one thing it differs: for noise of
// frequency phase is taken as sampled at points, not as averaged over tau0, so
// that it is exact for the data at hand (at tau0, white FM: 2/3 of the terms).
type variance struct {
	order    int     // of the difference: 2 Allan, 3 Hadamard
	alpha    int     // noise
	m        int     // averaging factor
	modified bool    // phase averaged over m points
	stride   float64 // terms per tau: 1, or m where they overlap
}

// longest is how many lags are summed; beyond it the sum is taken on a coarser grid.
const longest = 4000

func (v variance) freedom(terms float64) float64 {
	if v.alpha == 2 && !v.modified {
		return v.whitePhase(terms)
	}
	lags := math.Min(terms, float64(v.order+1)*v.stride)
	stride := v.stride
	if lags > longest {
		shrink := longest / lags
		terms, stride, lags = terms*shrink, stride*shrink, longest
	}
	at := func(j float64) float64 { z := v.covariance(j / stride); return z * z }
	zero := at(0)
	sum := zero + (1-lags/terms)*at(lags)
	for j := 1.0; j < lags; j++ {
		sum += 2 * (1 - j/terms) * at(j)
	}
	return terms * zero / sum
}

// whitePhase: terms are correlated only where they share a phase point, at
// whole multiples of tau; the sum closes.
func (v variance) whitePhase(terms float64) float64 {
	top := combin.GeneralizedBinomial(float64(2*v.order), float64(v.order))
	sum := 1.0
	for i := 1; i <= v.order; i++ {
		if weight := 1 - float64(i)*v.stride/terms; weight > 0 {
			c := combin.GeneralizedBinomial(float64(2*v.order), float64(v.order+i)) / top
			sum += 2 * weight * c * c
		}
	}
	return terms / sum
}

// covariance of two terms t apart, up to a factor.
func (v variance) covariance(t float64) float64 {
	sum, sign := 0.0, 1.0
	for i := 0; i <= v.order; i++ {
		c := sign * combin.GeneralizedBinomial(float64(2*v.order), float64(v.order+i))
		sum += c * v.filtered(t+float64(i))
		if i > 0 {
			sum += c * v.filtered(t-float64(i))
		}
		sign = -sign
	}
	return sum
}

// finest is up to which averaging factor the average over m points is summed
// point by point; beyond it is a continuous one.
const finest = 16

// filtered is the generalized covariance of what is differenced.
func (v variance) filtered(t float64) float64 {
	switch {
	case !v.modified && v.alpha <= 0:
		return v.averaged(t, 0)
	case !v.modified:
		return v.averaged(t, 1/float64(v.m))
	case v.alpha > 0 || v.m > finest:
		return v.averaged(t, 1)
	}
	sum := v.averaged(t, 0)
	for k := 1; k < v.m; k++ {
		at := float64(k) / float64(v.m)
		sum += (1 - at) * (v.averaged(t-at, 0) + v.averaged(t+at, 0))
	}
	return sum
}

// averaged is the generalized covariance of phase averaged over a time h: −1
// times the second difference at distance h of that of its integral. Far from
// zero it is taken from the derivatives, because the difference would lose its digits.
func (v variance) averaged(t, h float64) float64 {
	t = math.Abs(t)
	if t == 0 && h == 0 {
		return 0
	}
	if t > 500*h {
		second, fourth := derivatives(t, v.alpha)
		return -second - h*h/12*fourth
	}
	return (2*generalized(t, v.alpha) - generalized(t-h, v.alpha) - generalized(t+h, v.alpha)) / h / h
}

// generalized covariance of the integral of phase for a power law of noise.
func generalized(t float64, alpha int) float64 {
	t = math.Abs(t)
	if t == 0 {
		return 0
	}
	switch alpha {
	case 2:
		return -t
	case 1:
		return t * t * math.Log(t)
	case 0:
		return t * t * t
	case -1:
		return -t * t * t * t * math.Log(t)
	case -2:
		return -t * t * t * t * t
	case -3:
		return t * t * t * t * t * t * math.Log(t)
	}
	return t * t * t * t * t * t * t
}

// derivatives of generalized: second and fourth, for t above zero.
func derivatives(t float64, alpha int) (second, fourth float64) {
	l := math.Log(t)
	switch alpha {
	case 2:
		return 0, 0
	case 1:
		return 2*l + 3, -2 / (t * t)
	case 0:
		return 6 * t, 0
	case -1:
		return -t * t * (12*l + 7), -(24*l + 50)
	case -2:
		return -20 * t * t * t, -120 * t
	case -3:
		return t * t * t * t * (30*l + 11), t * t * (360*l + 342)
	}
	return 42 * t * t * t * t * t, 840 * t * t * t
}

// interval is the two-sided confidence interval of a deviation, by chi-squared.
func interval(value, freedom, confidence float64) (lower, upper float64) {
	tail := (1 - confidence) / 2
	return value * math.Sqrt(freedom/chiSquared(freedom, 1-tail)), value * math.Sqrt(freedom/chiSquared(freedom, tail))
}

// chiSquared is the quantile p; for very many degrees of freedom by the cube
// root that is then normal (Wilson and Hilferty), good to some 1e-9 there.
func chiSquared(freedom, p float64) float64 {
	if freedom < 1e5 {
		return distuv.ChiSquared{K: freedom}.Quantile(p)
	}
	c := 2 / (9 * freedom)
	q := 1 - c + mathext.NormalQuantile(p)*math.Sqrt(c)
	return freedom * q * q * q
}

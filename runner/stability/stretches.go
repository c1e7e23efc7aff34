package stability

import (
	"fmt"
	"math"

	"bandproof/procedures/uncertainty"
)

// Dated is one value of something that changes slowly. Time is in any unit;
// Standard is the value's standard uncertainty, above zero. Values of one
// Stretch hang together: between two stretches the thing was adjusted.
type Dated struct {
	Time, Value, Standard float64
	Stretch               int // from 0
}

// Stretches is a steady change that is the same in each of several stretches
// of time, with a level of its own in each: y = a_k + b·t, by least squares
// with weights 1/u².
type Stretches struct {
	Slope    float64 // b, per unit of time
	Standard float64 // of b, as the uncertainties of the values let expect
	Freedom  int
	// Ratio is the scatter about the lines over what the uncertainties let
	// expect (Birge ratio): above 1 the thing itself does not change steadily, or
	// an uncertainty is too small.
	Ratio float64

	fit       *fit
	mid, half float64 // of time
	unit      float64 // of the values within the fit
	least     float64 // smallest standard uncertainty
}

// FitStretches fits values in any order; it needs one more than it has stretches
// and a slope to find. A stretch with no value is an error, one with a single
// value says nothing of the slope.
func FitStretches(values []Dated) (*Stretches, error) {
	const what = "steady change"
	s := &Stretches{least: math.Inf(1)}
	low, high, stretches := math.Inf(1), math.Inf(-1), 0
	bare := make([]float64, len(values))
	for k, v := range values {
		for _, x := range []float64{v.Time, v.Value} {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return nil, fmt.Errorf("%w: %s: value %d is not a number", ErrData, what, k+1)
			}
		}
		if !(v.Standard > 0) || math.IsInf(v.Standard, 0) {
			return nil, fmt.Errorf("%w: %s: value %d has standard uncertainty %v; expected one above zero", ErrData, what, k+1, v.Standard)
		}
		if v.Stretch < 0 || v.Stretch >= len(values) {
			return nil, fmt.Errorf("%w: %s: value %d is of stretch %d; expected 0 to %d", ErrData, what, k+1, v.Stretch, len(values)-1)
		}
		bare[k] = v.Value
		low, high = math.Min(low, v.Time), math.Max(high, v.Time)
		s.least = math.Min(s.least, v.Standard)
		stretches = max(stretches, v.Stretch+1)
	}
	s.mid, s.half, s.unit = low/2+high/2, high/2-low/2, power(bare)
	if len(values) < 3 || !(s.half > 0) {
		return nil, fmt.Errorf("%w: %s: %d values over a time of %v; expected at least 3 at different times", ErrData, what, len(values), math.Max(0, 2*s.half))
	}
	f, err := leastSquares(len(values), stretches+1, func(i int, a []float64) (float64, bool) {
		v := values[i]
		w := s.least / v.Standard
		s.basis(v.Stretch, v.Time, w, a)
		return v.Value / s.unit * w, true
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	s.fit, s.Freedom = f, f.freedom
	s.Ratio = f.scatter * s.unit / s.least
	s.Slope = f.value[stretches] * s.unit / s.half
	s.Standard = s.least * math.Sqrt(f.inverse.At(stretches, stretches)) / s.half
	for _, x := range []float64{s.Slope, s.Standard, s.Ratio} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("%w: %s: the values are too large to compute with", ErrData, what)
		}
	}
	return s, nil
}

// basis is 1 at the level of the stretch and the time from −1 to 1.
func (s *Stretches) basis(stretch int, time, weight float64, a []float64) {
	clear(a)
	a[stretch] = weight
	a[len(a)-1] = (time - s.mid) / s.half * weight
}

// At is the line of a stretch at a time, within the values or beyond them, with
// the standard uncertainty that the values' uncertainties let expect.
func (s *Stretches) At(stretch int, time float64) (value, standard float64) {
	n := len(s.fit.value)
	a := make([]float64, n)
	s.basis(stretch, time, 1, a)
	v := 0.0
	for i := range n {
		for j := range n {
			v += a[i] * s.fit.inverse.At(i, j) * a[j]
		}
	}
	return s.fit.at(a) * s.unit, s.least * math.Sqrt(math.Max(0, v))
}

// Factor makes an expanded uncertainty, or half the width of a prediction
// interval, of what the values' uncertainties let expect: that of the normal
// distribution where the scatter stays within them, and Student's t times
// [Stretches.Ratio] where that is larger. Both are valid where the scatter is
// that of the uncertainties; where it is larger only the second is. Taking the
// larger covers at least what is asked for (internal and external consistency
// after R. T. Birge, Phys. Rev. 40, 207, 1932; from memory).
//
// share, 1 at most, is how much of the uncertainties counts for the first: less
// than all where the rest is something that whoever judges the values allows
// beside them, such as one count.
func (s *Stretches) Factor(coverage, share float64) float64 {
	return math.Max(share*uncertainty.FactorAt(coverage, 0), s.Ratio*uncertainty.FactorAt(coverage, float64(s.Freedom)))
}

// Predict is where a result with the given standard uncertainty will lie at a
// time: value ± half with the coverage of a [Stretches.Factor], for steady change
// and scatter that is not related from one result to the next.
func (s *Stretches) Predict(stretch int, time, standard, factor float64) (value, half float64) {
	value, line := s.At(stretch, time)
	return value, factor * math.Hypot(line, standard)
}

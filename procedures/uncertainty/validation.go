package uncertainty

import (
	"context"
	"fmt"
	"math"
	"strconv"
)

// Outcomes of a validation.
const (
	Validated    = "validated"
	NotValidated = "not validated"
	NotDecided   = "not decided"
)

// Validation compares the coverage interval of the first-order result with
// that of Monte Carlo (JCGM 101:2008 clause 8, from memory).
type Validation struct {
	Outcome string `json:"outcome"`
	Reason  string `json:"reason"`
	// Tolerance is δ: half a unit of the second significant digit of u(y).
	Tolerance float64 `json:"tolerance"`
	// Low and High are the absolute differences of the ends of the intervals.
	Low  float64 `json:"difference_low"`
	High float64 `json:"difference_high"`
}

// Tolerance returns δ for a standard uncertainty (JCGM 101:2008 7.9.2): u is
// written as c·10^l with c a whole number of two digits, and δ = ½·10^l. It is
// 0 for u = 0, and not a number where u is negative or not finite.
func Tolerance(u float64) float64 {
	l, ok := lastPlace(u)
	if !ok {
		if u == 0 {
			return 0
		}
		return math.NaN()
	}
	return 0.5 * math.Pow(10, float64(l))
}

// lastPlace is the power of ten of the second digit of u, rounded to two.
func lastPlace(u float64) (l int, ok bool) {
	if !(u > 0) || math.IsInf(u, 0) {
		return 0, false
	}
	text := strconv.FormatFloat(u, 'e', 1, 64) // d.de±xx
	exponent, err := strconv.Atoi(text[4:])
	return exponent - 1, err == nil
}

// Validate tells whether the first-order result, about the estimate y, may be
// relied on: both ends of its interval lie within δ of the probabilistically
// symmetric interval of the sample, at the sample's coverage probability.
// Where the trials are too few to tell (δ lies within twice the numerical
// uncertainty of an end), that is said.
func Validate(first Result, y float64, s Sample) Validation {
	expanded := first.Expanded
	if s.Coverage != Coverage {
		expanded = FactorAt(s.Coverage, first.DegreesOfFreedom) * first.Standard
	}
	v := Validation{
		Tolerance: Tolerance(first.Standard),
		Low:       math.Abs(y - expanded - s.Symmetric[0]),
		High:      math.Abs(y + expanded - s.Symmetric[1]),
	}
	at := fmt.Sprintf("lower end differs by %.3g, upper end by %.3g, tolerance %.3g", v.Low, v.High, v.Tolerance)
	low, high := 2*s.Numerical[0], 2*s.Numerical[1]
	switch {
	case math.IsNaN(v.Tolerance) || math.IsNaN(v.Low+v.High):
		v.Outcome, v.Reason = NotValidated, "the first-order result is not a finite number"
	case v.Low-low > v.Tolerance || v.High-high > v.Tolerance:
		v.Outcome, v.Reason = NotValidated, at+": first order is not good enough here; state the Monte Carlo interval"
	case v.Low+low <= v.Tolerance && v.High+high <= v.Tolerance:
		v.Outcome, v.Reason = Validated, at
	default:
		v.Outcome = NotDecided
		v.Reason = fmt.Sprintf("%s, but %d trials know the ends only to ±%.3g; more trials are needed", at, s.Trials, math.Max(low, high))
	}
	return v
}

// Confirm runs Monte Carlo on a budget and validates its first-order result.
// Where the number of trials is left open and the default one can't decide, it
// is run once more with MostTrials.
func (b Budget) Confirm(ctx context.Context, list []Correlation, o Options) (Sample, Validation, error) {
	first, err := b.CombineCorrelated(list)
	if err != nil {
		return Sample{}, Validation{}, err
	}
	open := o.Trials == 0
	for {
		s, err := b.MonteCarlo(ctx, list, o)
		if err != nil {
			return Sample{}, Validation{}, err
		}
		v := Validate(first, 0, s)
		if v.Outcome != NotDecided || !open {
			return s, v, nil
		}
		open, o.Trials = false, MostTrials
	}
}

// Package uncertainty combines the contributions of a budget into a standard
// and an expanded uncertainty, after JCGM 100:2008 (GUM): root of the sum of
// squares, effective degrees of freedom by Welch–Satterthwaite, coverage
// factor from Student's t for 95.45 %.
//
// What belongs into a budget is decided by its callers; whether a result is
// good enough by procedures/decision.
package uncertainty

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Coverage is the coverage probability used throughout, which gives k = 2 for
// many degrees of freedom (GUM table G.2).
const Coverage = 0.9545

// Distribution names the shape from which a standard uncertainty was derived.
type Distribution string

// Distributions with their divisors (GUM 4.3; triangular for the asynchronous
// gate of a counter, whose ±1 count error is the difference of two
// rectangular ones).
const (
	Normal      Distribution = "normal"
	Rectangular Distribution = "rectangular"
	Triangular  Distribution = "triangular"
	UShaped     Distribution = "U-shaped"
)

// Divisor returns half-width over standard uncertainty; of Normal it is 1 (the
// value is a standard uncertainty already).
func (d Distribution) Divisor() float64 {
	switch d {
	case Rectangular:
		return math.Sqrt(3)
	case Triangular:
		return math.Sqrt(6)
	case UShaped:
		return math.Sqrt2
	}
	return 1
}

// Contribution is one line of a budget.
type Contribution struct {
	Name string `json:"name"`
	// Value is the half-width (or, for Normal, the standard uncertainty), in Hz.
	Value        float64      `json:"value_hz"`
	Distribution Distribution `json:"distribution"`
	// Standard is Value over the divisor, in Hz.
	Standard float64 `json:"standard_uncertainty_hz"`
	// DegreesOfFreedom; 0 stands for infinitely many.
	DegreesOfFreedom float64 `json:"degrees_of_freedom,omitempty"`
	// Source says where the value comes from.
	Source string `json:"source"`
}

// Line makes a contribution and computes its standard uncertainty.
func Line(name string, value float64, d Distribution, dof float64, source string) Contribution {
	return Contribution{name, value, d, math.Abs(value) / d.Divisor(), dof, source}
}

// Budget is a list of independent contributions.
type Budget []Contribution

// Result is what a budget comes to, in Hz.
type Result struct {
	Standard         float64 `json:"standard_uncertainty_hz"`
	DegreesOfFreedom float64 `json:"effective_degrees_of_freedom,omitempty"` // 0: infinitely many
	CoverageFactor   float64 `json:"coverage_factor"`
	Expanded         float64 `json:"expanded_uncertainty_hz"`
}

// Combine returns the combined and the expanded uncertainty. A contribution
// that is not finite or has degrees of freedom below one is an error.
func (b Budget) Combine() (Result, error) {
	var sum, welch float64
	for _, c := range b {
		if math.IsNaN(c.Standard) || math.IsInf(c.Standard, 0) || c.Standard < 0 {
			return Result{}, fmt.Errorf("uncertainty %q is %v Hz; expected a finite value of at least zero", c.Name, c.Standard)
		}
		if c.DegreesOfFreedom != 0 && !(c.DegreesOfFreedom >= 1) {
			return Result{}, fmt.Errorf("uncertainty %q has %v degrees of freedom; expected at least 1", c.Name, c.DegreesOfFreedom)
		}
		v := c.Standard * c.Standard
		sum += v
		if c.DegreesOfFreedom > 0 {
			welch += v * v / c.DegreesOfFreedom
		}
	}
	r := Result{Standard: math.Sqrt(sum)}
	if welch > 0 && sum > 0 {
		r.DegreesOfFreedom = sum * sum / welch
	}
	r.CoverageFactor = Factor(r.DegreesOfFreedom)
	r.Expanded = r.CoverageFactor * r.Standard
	return r, nil
}

// Factor returns k for 95.45 % at the given effective degrees of freedom,
// truncated to a whole number as GUM G.4.1 advises; 0 stands for infinitely
// many and gives 2.
func Factor(dof float64) float64 {
	if dof == 0 || dof > 1e6 {
		return 2
	}
	nu := math.Max(1, math.Floor(dof+1e-9))
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile((1 + Coverage) / 2)
}

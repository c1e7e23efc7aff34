// Package uncertainty combines the contributions of a budget into a standard
// and an expanded uncertainty, after JCGM 100:2008 (GUM): root of the sum of
// squares with correlation where inputs share a reference, effective degrees
// of freedom by Welch–Satterthwaite, coverage factor from Student's t for
// 95.45 %. Propagation of distributions by Monte Carlo (JCGM 101:2008) is the
// second way, which tells whether the first may be relied on. [Budget.Table]
// lays a budget out, [TwoDigits] and [Report] round for print (GUM 7.2.6), and
// [Load] reads a free-standing budget file.
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

// Contribution is one line of a budget.
type Contribution struct {
	Name string `json:"name"`
	// Value is the half-width; for Normal and StudentT it is the standard
	// uncertainty, or K times that. In Hz, in dB for a level,
	// or in the unit of a budget file.
	Value        float64      `json:"value_hz"`
	Distribution Distribution `json:"distribution"`
	// Standard is Value over the divisor, in the same unit.
	Standard float64 `json:"standard_uncertainty_hz"`
	// DegreesOfFreedom; 0 stands for infinitely many.
	DegreesOfFreedom float64 `json:"degrees_of_freedom,omitempty"`
	// Source says where the value comes from.
	Source string `json:"source"`
	// K is the coverage factor that Value was stated with; 0 stands for 1.
	K float64 `json:"k,omitempty"`
	// Sensitivity is ∂y/∂x of this line, nil for 1.
	Sensitivity *float64 `json:"sensitivity,omitempty"`
}

// Line makes a contribution and computes its standard uncertainty.
func Line(name string, value float64, d Distribution, dof float64, source string) Contribution {
	return Contribution{Name: name, Value: value, Distribution: d, Standard: math.Abs(value) / d.Divisor(), DegreesOfFreedom: dof, Source: source}
}

// Stated makes a contribution of an expanded uncertainty that a certificate
// states with its coverage factor k, which must be above zero.
func Stated(name string, expanded, k, dof float64, source string) Contribution {
	c := Line(name, expanded, Normal, dof, source)
	c.K, c.Standard = k, c.Standard/k
	return c
}

// Times returns the line with a sensitivity coefficient.
func (c Contribution) Times(sensitivity float64) Contribution {
	c.Sensitivity = &sensitivity
	return c
}

// Divisor is Value over Standard: that of the distribution, or K.
func (c Contribution) Divisor() float64 {
	if c.K > 0 {
		return c.K
	}
	return c.Distribution.Divisor()
}

// Coefficient is the sensitivity coefficient, 1 unless stated.
func (c Contribution) Coefficient() float64 {
	if c.Sensitivity == nil {
		return 1
	}
	return *c.Sensitivity
}

// Output is what the line does to the result: coefficient times standard
// uncertainty, with its sign, which counts where lines are correlated.
func (c Contribution) Output() float64 { return c.Coefficient() * c.Standard }

func (c Contribution) check() error {
	switch {
	case math.IsNaN(c.Standard) || math.IsInf(c.Standard, 0) || c.Standard < 0:
		return fmt.Errorf("uncertainty %q is %v; expected a finite value of at least zero", c.Name, c.Standard)
	case c.DegreesOfFreedom != 0 && !(c.DegreesOfFreedom >= 1):
		return fmt.Errorf("uncertainty %q has %v degrees of freedom; expected at least 1", c.Name, c.DegreesOfFreedom)
	case math.IsNaN(c.Output()) || math.IsInf(c.Output(), 0):
		return fmt.Errorf("uncertainty %q has sensitivity %v; expected a finite number whose product with %v is finite", c.Name, c.Coefficient(), c.Standard)
	case c.Distribution == StudentT && c.DegreesOfFreedom == 0:
		return fmt.Errorf("uncertainty %q has distribution t without degrees of freedom; expected at least 1", c.Name)
	}
	return nil
}

// Budget is a list of contributions; they are independent unless a
// [Correlation] says otherwise.
type Budget []Contribution

// Result is what a budget comes to, in Hz (in dB for a level, or in
// the unit of a budget file).
type Result struct {
	Standard         float64 `json:"standard_uncertainty_hz"`
	DegreesOfFreedom float64 `json:"effective_degrees_of_freedom,omitempty"` // 0: infinitely many
	CoverageFactor   float64 `json:"coverage_factor"`
	Expanded         float64 `json:"expanded_uncertainty_hz"`
}

// Combine returns the combined and the expanded uncertainty of independent
// lines. A contribution that is not finite or has degrees of freedom below one
// is an error.
func (b Budget) Combine() (Result, error) { return b.CombineCorrelated(nil) }

// CombineCorrelated is Combine with correlated lines (JCGM 100:2008 5.2.2).
//
// Welch–Satterthwaite (G.2b) holds for independent lines only. So lines that
// correlation ties together enter it as one line: their joint variance, with
// the smallest of their degrees of freedom. Where all have the same, as means
// of the same observations do, that is what H.2 does in its second approach
// (ν = n − 1); else it is a choice to the safe side.
func (b Budget) CombineCorrelated(list []Correlation) (Result, error) {
	groups, err := b.groups(list)
	if err != nil {
		return Result{}, err
	}
	// Scaled by the largest line, so that squares neither vanish nor overflow.
	most := 0.0
	for _, c := range b {
		most = math.Max(most, math.Abs(c.Output()))
	}
	if most == 0 {
		return Result{CoverageFactor: Factor(0)}, nil
	}
	var sum, welch float64
	for _, g := range groups {
		v := g.variance(b, most)
		sum += v
		if dof := g.degrees(b); dof > 0 {
			welch += v * v / dof
		}
	}
	r := Result{Standard: most * math.Sqrt(sum)}
	if welch > 0 && sum > 0 {
		r.DegreesOfFreedom = sum * sum / welch
	}
	r.CoverageFactor = Factor(r.DegreesOfFreedom)
	r.Expanded = r.CoverageFactor * r.Standard
	if math.IsInf(r.Expanded, 0) {
		return Result{}, fmt.Errorf("the combined uncertainty is beyond what can be computed (largest line %v)", most)
	}
	return r, nil
}

// Factor returns k for 95.45 % at the given effective degrees of freedom,
// truncated to a whole number as GUM G.4.1 advises; 0 stands for infinitely
// many and gives 2.
func Factor(dof float64) float64 {
	if dof == 0 || dof > 1e6 {
		return 2
	}
	return FactorAt(Coverage, dof)
}

// FactorAt is Factor for another coverage probability between 0 and 1. It is
// not a number where one of the two can't be.
func FactorAt(coverage, dof float64) float64 {
	if !(coverage > 0 && coverage < 1) || math.IsNaN(dof) || dof < 0 {
		return math.NaN()
	}
	if dof == 0 || dof > 1e6 {
		return distuv.UnitNormal.Quantile((1 + coverage) / 2)
	}
	nu := math.Max(1, math.Floor(dof+1e-9))
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile((1 + coverage) / 2)
}

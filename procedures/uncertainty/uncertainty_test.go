package uncertainty_test

import (
	"math"
	"testing"

	"bandproof/procedures/uncertainty"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestBadBudgets(t *testing.T) {
	for name, c := range map[string]uncertainty.Contribution{
		"not a number":         uncertainty.Line("x", math.NaN(), uncertainty.Normal, 0, ""),
		"infinite":             uncertainty.Line("x", math.Inf(1), uncertainty.Normal, 0, ""),
		"negative":             {Name: "x", Standard: -1},
		"freedom below one":    uncertainty.Line("x", 1, uncertainty.Normal, 0.5, ""),
		"freedom not a number": uncertainty.Line("x", 1, uncertainty.Normal, math.NaN(), ""),
	} {
		_, err := uncertainty.Budget{c}.Combine()
		require.ErrorContains(t, err, `uncertainty "x"`, name)
	}
	r, err := uncertainty.Budget{}.Combine()
	require.NoError(t, err)
	require.Zero(t, r.Expanded)
}

// A budget grows with each line, and never has fewer degrees of freedom than
// its poorest line or more than all of them together.
func TestCombineProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "lines")
		var b uncertainty.Budget
		least, sum := math.Inf(1), 0.0
		for range n {
			dof := float64(rapid.IntRange(1, 60).Draw(t, "dof"))
			b = append(b, uncertainty.Line("x", rapid.Float64Range(1e-6, 1e3).Draw(t, "u"), uncertainty.Normal, dof, ""))
			least, sum = math.Min(least, dof), sum+dof
		}
		r, err := b.Combine()
		if err != nil || r.DegreesOfFreedom < least*(1-1e-9) || r.DegreesOfFreedom > sum*(1+1e-9) {
			t.Fatalf("%v gives %+v (%v)", b, r, err)
		}
		more, _ := append(b, uncertainty.Line("y", 1, uncertainty.Rectangular, 0, "")).Combine()
		if more.Standard <= r.Standard {
			t.Fatalf("a further line lowered %v to %v", r.Standard, more.Standard)
		}
	})
}

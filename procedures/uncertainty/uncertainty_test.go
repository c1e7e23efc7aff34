package uncertainty_test

import (
	"math"
	"os"
	"testing"

	"bandproof/procedures/uncertainty"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

type check struct {
	ID                 string    `toml:"id"`
	Source             string    `toml:"source"`
	Standard           []float64 `toml:"standard"`
	Degrees            []float64 `toml:"degrees"`
	K                  []float64 `toml:"k"`
	DegreesOfFreedom   []float64 `toml:"degrees_of_freedom"`
	Combined           float64   `toml:"combined"`
	CombinedTolerance  float64   `toml:"combined_tolerance"`
	Effective          float64   `toml:"effective"`
	EffectiveTolerance float64   `toml:"effective_tolerance"`
	Tolerance          float64   `toml:"tolerance"`
	Shapes             []string  `toml:"shapes"`
	Divisor            []float64 `toml:"divisor"`
}

// TestPublishedValues compares with the values of testdata/checks/gum.toml,
// each with its source there.
func TestPublishedValues(t *testing.T) {
	text, err := os.ReadFile("../../testdata/checks/gum.toml")
	require.NoError(t, err)
	var file struct{ Check []check }
	require.NoError(t, toml.Unmarshal(text, &file))
	require.Len(t, file.Check, 4)
	for _, c := range file.Check {
		t.Run(c.ID, func(t *testing.T) {
			require.NotEmpty(t, c.Source)
			for k, nu := range c.Degrees {
				require.InDelta(t, c.K[k], uncertainty.Factor(nu), c.Tolerance, "k for %v degrees of freedom", nu)
			}
			for k, shape := range c.Shapes {
				require.InEpsilon(t, c.Divisor[k], uncertainty.Distribution(shape).Divisor(), 1e-12, shape)
			}
			if len(c.Standard) == 0 {
				return
			}
			var b uncertainty.Budget
			for k, u := range c.Standard {
				dof := 0.0
				if len(c.DegreesOfFreedom) > 0 {
					dof = c.DegreesOfFreedom[k]
				}
				b = append(b, uncertainty.Line("x", u, uncertainty.Normal, dof, "check"))
			}
			r, err := b.Combine()
			require.NoError(t, err)
			require.InDelta(t, c.Combined, r.Standard, c.CombinedTolerance)
			if c.Effective > 0 {
				require.InDelta(t, c.Effective, r.DegreesOfFreedom, c.EffectiveTolerance)
			}
		})
	}
	require.InDelta(t, 2, uncertainty.Factor(0), 1e-4)
}

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

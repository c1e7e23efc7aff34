package uncertainty_test

import (
	"context"
	"math"
	"testing"

	"bandproof/procedures/uncertainty"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func abc(dof ...float64) uncertainty.Budget {
	var b uncertainty.Budget
	for k, nu := range dof {
		b = append(b, standard(string(rune('a'+k)), float64(k+3), nu)) // u = 3, 4, 5
	}
	return b
}

func TestCorrelatedLines(t *testing.T) {
	for _, row := range []struct {
		name     string
		b        uncertainty.Budget
		list     []uncertainty.Correlation
		standard float64
		dof      float64
	}{
		{"independent", abc(0, 0), nil, 5, 0},
		{"stated as independent", abc(0, 0), []uncertainty.Correlation{{A: "a", B: "b", R: 0}}, 5, 0},
		{"one reference: values add", abc(0, 0), []uncertainty.Correlation{{A: "a", B: "b", R: 1}}, 7, 0},
		{"against each other: values subtract", abc(0, 0), []uncertainty.Correlation{{A: "b", B: "a", R: -1}}, 1, 0},
		{"half", abc(0, 0), []uncertainty.Correlation{{A: "a", B: "b", R: 0.5}}, math.Sqrt(9 + 16 + 12), 0},
		{"same observations keep their degrees of freedom", abc(4, 4), []uncertainty.Correlation{{A: "a", B: "b", R: 0.5}}, math.Sqrt(37), 4},
		{"stated as independent: Welch-Satterthwaite", abc(4, 4), []uncertainty.Correlation{{A: "a", B: "b", R: 0}}, 5, 625 / (81/4.0 + 256/4.0)},
		{"the smallest of a group", abc(9, 4), []uncertainty.Correlation{{A: "a", B: "b", R: 0.5}}, math.Sqrt(37), 4},
		{"a group is one line for Welch-Satterthwaite", abc(4, 4, 10), []uncertainty.Correlation{{A: "a", B: "b", R: 1}},
			math.Sqrt(74), 74 * 74 / (49*49/4.0 + 25*25/10.0)},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := combined(t, row.b, row.list...)
			require.InDelta(t, row.standard, r.Standard, 1e-12)
			require.InDelta(t, row.dof, r.DegreesOfFreedom, 1e-9)
		})
	}
}

// The sign of a sensitivity decides whether a shared reference adds or cancels.
func TestSharedReferenceCancels(t *testing.T) {
	b := uncertainty.Budget{standard("source", 2, 0), standard("counter", 2, 0).Times(-1)}
	list := []uncertainty.Correlation{{A: "source", B: "counter", R: 1}}
	require.Zero(t, combined(t, b, list...).Standard)
	s, err := b.MonteCarlo(context.Background(), list, uncertainty.Options{Trials: 20_000})
	require.NoError(t, err)
	require.Zero(t, *s.Standard)
}

func TestBadCorrelations(t *testing.T) {
	twice := append(abc(0, 0), standard("a", 1, 0))
	for _, row := range []struct {
		name string
		b    uncertainty.Budget
		list []uncertainty.Correlation
		says string
	}{
		{"unknown name", abc(0, 0), []uncertainty.Correlation{{A: "a", B: "x", R: 0.1}}, `there is no contribution "x"`},
		{"ambiguous name", twice, []uncertainty.Correlation{{A: "a", B: "b", R: 0.1}}, `more than one contribution is called "a"`},
		{"with itself", abc(0), []uncertainty.Correlation{{A: "a", B: "a", R: 1}}, "with itself"},
		{"twice", abc(0, 0), []uncertainty.Correlation{{A: "a", B: "b"}, {A: "b", B: "a"}}, "stated twice"},
		{"above 1", abc(0, 0), []uncertainty.Correlation{{A: "a", B: "b", R: 1.0001}}, "expected -1 to 1"},
		{"not a number", abc(0, 0), []uncertainty.Correlation{{A: "a", B: "b", R: math.NaN()}}, "expected -1 to 1"},
		{"impossible together", abc(0, 0, 0), []uncertainty.Correlation{{A: "a", B: "b", R: 1}, {A: "b", B: "c", R: 1}}, "not positive semi-definite"},
		{"impossible signs", abc(0, 0, 0), []uncertainty.Correlation{{A: "a", B: "b", R: 0.9}, {A: "b", B: "c", R: 0.9}, {A: "a", B: "c", R: -0.9}}, "least eigenvalue is -0.8"},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, err := row.b.CombineCorrelated(row.list)
			require.ErrorIs(t, err, uncertainty.ErrCorrelation)
			require.ErrorContains(t, err, row.says)
			_, err = row.b.Table(row.list)
			require.ErrorIs(t, err, uncertainty.ErrCorrelation)
			_, err = row.b.MonteCarlo(context.Background(), row.list, uncertainty.Options{})
			require.ErrorIs(t, err, uncertainty.ErrCorrelation)
		})
	}
}

// Any correlations that come of common causes are accepted, and the combined
// variance is what those causes come to.
func TestCommonCausesProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, m := rapid.IntRange(2, 6).Draw(t, "lines"), rapid.IntRange(1, 4).Draw(t, "causes")
		a := make([][]float64, n) // lines by causes
		var b uncertainty.Budget
		for i := range a {
			a[i] = rapid.SliceOfN(rapid.Float64Range(-1, 1), m, m).Draw(t, "effect")
			a[i][0] += math.Copysign(0.5, a[i][0]) // none is zero
			sum := 0.0
			for _, v := range a[i] {
				sum += v * v
			}
			c := rapid.Float64Range(-3, 3).Draw(t, "sensitivity")
			b = append(b, standard(string(rune('a'+i)), math.Sqrt(sum), 0).Times(c))
		}
		var list []uncertainty.Correlation
		for i := range a {
			for j := range i {
				dot := 0.0
				for k := range m {
					dot += a[i][k] * a[j][k]
				}
				r := dot / b[i].Standard / b[j].Standard
				list = append(list, uncertainty.Correlation{A: b[i].Name, B: b[j].Name, R: max(-1, min(1, r))})
			}
		}
		want := 0.0
		for k := range m {
			effect := 0.0
			for i := range a {
				effect += b[i].Coefficient() * a[i][k]
			}
			want += effect * effect
		}
		table, err := b.Table(list)
		if err != nil {
			t.Fatal(err)
		}
		if d := math.Abs(table.Result.Standard - math.Sqrt(want)); d > 1e-6 {
			t.Fatalf("got %v, want %v", table.Result.Standard, math.Sqrt(want))
		}
		if table.Result.Standard < 1e-3 {
			return
		}
		share := 0.0
		for _, r := range table.Rows {
			share += r.Share
		}
		for _, c := range table.Covariances {
			share += c.Share
		}
		if math.Abs(share-100) > 1e-4 {
			t.Fatalf("shares add up to %v %%", share)
		}
	})
}

// Squares of very small and very large lines neither vanish nor overflow.
func TestScaleProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		scale := math.Pow(10, float64(rapid.IntRange(-300, 300).Draw(t, "power of ten")))
		b := uncertainty.Budget{standard("a", 3*scale, 5), uncertainty.Line("b", 4*scale*math.Sqrt(3), uncertainty.Rectangular, 0, "")}
		r, err := b.Combine()
		if err != nil || math.Abs(r.Standard/scale-5) > 1e-9 || math.Abs(r.DegreesOfFreedom-625/(81/5.0)) > 1e-6 {
			t.Fatalf("%+v (%v)", r, err)
		}
	})
	_, err := uncertainty.Budget{standard("a", 1.5e308, 0), standard("b", 1.5e308, 0)}.Combine()
	require.ErrorContains(t, err, "beyond what can be computed")
}

package uncertainty_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"bandproof/procedures/uncertainty"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func line(name string, d uncertainty.Distribution, value, dof float64) uncertainty.Contribution {
	return uncertainty.Line(name, value, d, dof, "check")
}

// Each shape has the standard deviation and the 95.45 % quantiles that follow
// from its density.
func TestShapes(t *testing.T) {
	p := uncertainty.Coverage
	for _, row := range []struct {
		name     string
		line     uncertainty.Contribution
		standard float64 // NaN: none
		half     float64 // of the symmetric interval
	}{
		{"normal", line("x", uncertainty.Normal, 2, 0), 2, 4},
		{"rectangular", line("x", uncertainty.Rectangular, 2, 0), 2 / math.Sqrt(3), 2 * p},
		{"triangular", line("x", uncertainty.Triangular, 2, 0), 2 / math.Sqrt(6), 2 * (1 - math.Sqrt(1-p))},
		{"U-shaped", line("x", uncertainty.UShaped, 2, 0), math.Sqrt2, 2 * math.Sin(math.Pi/2*p)},
		{"t", line("x", uncertainty.StudentT, 2, 5), 2 * math.Sqrt(5.0/3), 2 * uncertainty.Factor(5)},
		{"normal with few degrees of freedom is t", line("x", uncertainty.Normal, 2, 8), 2 * math.Sqrt(8.0/6), 2 * uncertainty.Factor(8)},
		{"t without deviation", line("x", uncertainty.StudentT, 2, 2), math.NaN(), 2 * uncertainty.Factor(2)},
		{"t without mean", line("x", uncertainty.StudentT, 2, 1), math.NaN(), 2 * uncertainty.Factor(1)},
		{"certificate", uncertainty.Stated("x", 4, 2, 0, "certificate"), 2, 4},
		{"sensitivity", line("x", uncertainty.Normal, 2, 0).Times(-3), 6, 12},
		// JCGM 101 6.4.3.4: variance w²/3 + d²/9 with d = w/√(2ν).
		{"inexact half-width", line("x", uncertainty.Rectangular, 2, 2), math.Sqrt(4.0/3 + 1.0/9), math.NaN()},
	} {
		t.Run(row.name, func(t *testing.T) {
			s, err := uncertainty.Budget{row.line}.MonteCarlo(context.Background(), nil, uncertainty.Options{Trials: 400_000, Seed: 7})
			require.NoError(t, err)
			if math.IsNaN(row.standard) {
				require.Nil(t, s.Standard)
				require.Nil(t, s.Mean)
			} else {
				require.InEpsilon(t, row.standard, *s.Standard, 0.012)
				require.InDelta(t, 0, *s.Mean, 5*row.standard/math.Sqrt(400_000))
			}
			if !math.IsNaN(row.half) {
				for k, want := range []float64{-row.half, row.half} {
					require.InDelta(t, want, s.Symmetric[k], 5*s.Numerical[k], "end %d (numerical uncertainty %v)", k, s.Numerical[k])
				}
			}
			require.LessOrEqual(t, s.Shortest[1]-s.Shortest[0], s.Symmetric[1]-s.Symmetric[0])
		})
	}
}

// The numerical uncertainty of the ends is what repeated runs scatter by.
func TestNumericalUncertainty(t *testing.T) {
	b := uncertainty.Budget{line("x", uncertainty.Normal, 1, 0)}
	sum, predicted, runs := 0.0, 0.0, 200
	for seed := range runs {
		s, err := b.MonteCarlo(context.Background(), nil, uncertainty.Options{Trials: 10_000, Seed: uint64(seed)})
		require.NoError(t, err)
		sum += math.Pow(s.Symmetric[1]-2, 2)
		predicted += s.Numerical[1] / float64(runs)
	}
	require.InEpsilon(t, predicted, math.Sqrt(sum/float64(runs)), 0.25)
}

func TestCorrelatedDraws(t *testing.T) {
	r := func(v float64) []uncertainty.Correlation { return []uncertainty.Correlation{{A: "a", B: "b", R: v}} }
	o := uncertainty.Options{Trials: 400_000, Seed: 3}
	for _, row := range []struct {
		name     string
		b        uncertainty.Budget
		list     []uncertainty.Correlation
		standard float64
	}{
		{"jointly normal", abc(0, 0), r(0.5), math.Sqrt(37)},
		{"jointly normal, singular", abc(0, 0, 0), []uncertainty.Correlation{{A: "a", B: "b", R: 0.6}, {A: "a", B: "c", R: 0.8}}, math.Sqrt(50 + 14.4 + 24)},
		{"jointly t", abc(10, 10), r(-0.5), math.Sqrt(13 * 10 / 8.0)},
		{"one rectangular quantity twice", uncertainty.Budget{line("a", uncertainty.Rectangular, 3, 0), line("b", uncertainty.Rectangular, 1, 0)}, r(-1), 2 / math.Sqrt(3)},
	} {
		t.Run(row.name, func(t *testing.T) {
			s, err := row.b.MonteCarlo(context.Background(), row.list, o)
			require.NoError(t, err)
			require.InEpsilon(t, row.standard, *s.Standard, 0.01)
		})
	}
	for name, b := range map[string]uncertainty.Budget{
		"unlike shapes":             {line("a", uncertainty.Rectangular, 3, 0), line("b", uncertainty.Normal, 1, 0)},
		"rectangular, not wholly":   {line("a", uncertainty.Rectangular, 3, 0), line("b", uncertainty.Rectangular, 1, 0)},
		"unlike degrees of freedom": abc(3, 4),
	} {
		_, err := b.MonteCarlo(context.Background(), r(0.5), o)
		require.ErrorIs(t, err, uncertainty.ErrJoint, name)
	}
}

func TestValidation(t *testing.T) {
	for _, row := range []struct {
		name string
		b    uncertainty.Budget
		want string
	}{
		{"normals", uncertainty.Budget{standard("a", 6, 0), standard("b", 10, 0)}, uncertainty.Validated},
		{"a single mean of few", uncertainty.Budget{standard("a", 10, 12)}, uncertainty.Validated},
		{"nothing uncertain", uncertainty.Budget{standard("a", 0, 0)}, uncertainty.Validated},
		{"many rectangular ones", uncertainty.Budget{line("a", uncertainty.Rectangular, 1, 0), line("b", uncertainty.Rectangular, 1, 0), line("c", uncertainty.Rectangular, 1, 0),
			line("d", uncertainty.Rectangular, 1, 0), line("e", uncertainty.Normal, 0.3, 0)}, uncertainty.Validated},
		{"one rectangular line dominates", uncertainty.Budget{line("a", uncertainty.Rectangular, 10, 0), line("b", uncertainty.Normal, 0.5, 0)}, uncertainty.NotValidated},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, v, err := row.b.Confirm(context.Background(), nil, uncertainty.Options{Seed: 1})
			require.NoError(t, err)
			require.Equal(t, row.want, v.Outcome, v.Reason)
		})
	}
	// u = 99: δ is half of 1, which few trials can't resolve.
	_, v, err := uncertainty.Budget{standard("a", 99, 0)}.Confirm(context.Background(), nil, uncertainty.Options{Trials: 10_000})
	require.NoError(t, err)
	require.Equal(t, uncertainty.NotDecided, v.Outcome, v.Reason)
	s, v, err := uncertainty.Budget{standard("a", 85, 0)}.Confirm(context.Background(), nil, uncertainty.Options{Seed: 2})
	require.NoError(t, err)
	require.Equal(t, uncertainty.Validated, v.Outcome, v.Reason)
	require.Equal(t, uncertainty.MostTrials, s.Trials)
}

func TestTolerance(t *testing.T) {
	for u, want := range map[float64]float64{10: 0.5, 99: 0.5, 99.4: 0.5, 99.6: 5, 0.0316: 0.0005, 502: 5, 1e-13: 5e-15, 0: 0} {
		require.InEpsilon(t, want+1, uncertainty.Tolerance(u)+1, 1e-12, "u = %v", u)
	}
	for _, u := range []float64{-1, math.NaN(), math.Inf(1)} {
		require.True(t, math.IsNaN(uncertainty.Tolerance(u)), "u = %v", u)
	}
}

// One seed is one result, bit by bit; another seed is another one.
func TestSeed(t *testing.T) {
	b, list := abc(5, 5, 7), []uncertainty.Correlation{{A: "a", B: "b", R: 0.3}}
	run := func(seed uint64) uncertainty.Sample {
		s, err := b.MonteCarlo(context.Background(), list, uncertainty.Options{Trials: 20_000, Seed: seed})
		require.NoError(t, err)
		return s
	}
	require.Equal(t, run(1), run(1))
	require.NotEqual(t, run(1).Symmetric, run(2).Symmetric)
}

func TestMonteCarloEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	calls := 0
	_, err := uncertainty.Propagate(ctx, func(x []float64) float64 {
		if calls++; calls == 100 {
			cancel()
		}
		return x[0]
	}, []float64{0}, abc(0), nil, uncertainty.Options{})
	require.ErrorIs(t, err, context.Canceled)
	require.Less(t, calls, 10_000)
}

func TestBadMonteCarlo(t *testing.T) {
	first := func(x []float64) float64 { return x[0] }
	for _, row := range []struct {
		name string
		f    uncertainty.Function
		at   []float64
		b    uncertainty.Budget
		o    uncertainty.Options
		says string
	}{
		{"too few trials", first, []float64{0}, abc(0), uncertainty.Options{Trials: 9999}, "expected 10000 to 10000000"},
		{"negative trials", first, []float64{0}, abc(0), uncertainty.Options{Trials: -1}, "expected 10000"},
		{"too many trials", first, []float64{0}, abc(0), uncertainty.Options{Trials: 1 << 40}, "to 10000000"},
		{"coverage of all", first, []float64{0}, abc(0), uncertainty.Options{Coverage: 1}, "coverage probability 1"},
		{"coverage not a number", first, []float64{0}, abc(0), uncertainty.Options{Coverage: math.NaN()}, "coverage probability NaN"},
		{"too few trials for the coverage", first, []float64{0}, abc(0), uncertainty.Options{Trials: 10_000, Coverage: 0.995}, "at least 100 trials outside"},
		{"estimates missing", first, nil, abc(0), uncertainty.Options{}, "0 estimates for 1 contributions"},
		{"negative line", first, []float64{0}, uncertainty.Budget{{Name: "x", Standard: -1}}, uncertainty.Options{}, `uncertainty "x" is -1`},
		{"t without degrees of freedom", first, []float64{0}, uncertainty.Budget{line("x", uncertainty.StudentT, 1, 0)}, uncertainty.Options{}, "without degrees of freedom"},
		{"function not finite", func(x []float64) float64 { return math.Sqrt(x[0]) }, []float64{0}, abc(0), uncertainty.Options{}, "the result is NaN"},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, err := uncertainty.Propagate(context.Background(), row.f, row.at, row.b, nil, row.o)
			require.ErrorContains(t, err, row.says)
		})
	}
	_, _, err := uncertainty.Linearise(func(x []float64) float64 { return 1 / x[0] }, []float64{3}, abc(0))
	require.ErrorContains(t, err, `within one standard uncertainty of input "a"`)
	_, _, err = uncertainty.Linearise(first, nil, abc(0))
	require.ErrorContains(t, err, "0 estimates")
}

// Monte Carlo and first order agree on the standard uncertainty of any linear
// budget of lines that have one.
func TestSecondWayAgreesProperties(t *testing.T) {
	shapes := []uncertainty.Distribution{uncertainty.Normal, uncertainty.Rectangular, uncertainty.Triangular, uncertainty.UShaped}
	rapid.Check(t, func(t *rapid.T) {
		var b uncertainty.Budget
		for k := range rapid.IntRange(1, 5).Draw(t, "lines") {
			b = append(b, line(fmt.Sprint(k), rapid.SampledFrom(shapes).Draw(t, "shape"), rapid.Float64Range(0.1, 10).Draw(t, "value"), 0).
				Times(rapid.Float64Range(-5, 5).Draw(t, "sensitivity")))
		}
		r, err := b.Combine()
		if err != nil {
			t.Fatal(err)
		}
		s, err := b.MonteCarlo(context.Background(), nil, uncertainty.Options{Trials: 10_000, Seed: rapid.Uint64().Draw(t, "seed")})
		if err != nil || math.Abs(*s.Standard-r.Standard) > 0.05*r.Standard {
			t.Fatalf("first order %v, monte carlo %v (%v)", r.Standard, s.Standard, err)
		}
	})
}

// BenchmarkMonteCarlo gives the trials per second of a budget of five lines.
func BenchmarkMonteCarlo(b *testing.B) {
	budget := uncertainty.Budget{line("a", uncertainty.Normal, 1, 0), line("b", uncertainty.Rectangular, 1, 0), line("c", uncertainty.Triangular, 1, 0),
		line("d", uncertainty.UShaped, 1, 0), line("e", uncertainty.StudentT, 1, 9)}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := budget.MonteCarlo(context.Background(), nil, uncertainty.Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(uncertainty.DefaultTrials*float64(b.N)/b.Elapsed().Seconds(), "trials/s")
}

// BenchmarkCombine is the first-order result of the same number of lines.
func BenchmarkCombine(b *testing.B) {
	budget := abc(0, 4, 0, 9, 0)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := budget.Combine(); err != nil {
			b.Fatal(err)
		}
	}
}

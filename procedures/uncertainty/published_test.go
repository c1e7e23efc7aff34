package uncertainty_test

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/testdata/checks/checktable"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

// check is one entry of testdata/checks/gum.toml.
type check struct {
	ID     string         `toml:"id"`
	Source string         `toml:"source"`
	Clause string         `toml:"clause"`
	Inputs inputs         `toml:"inputs"`
	Expect map[string]any `toml:"expect"`
	Tol    map[string]any `toml:"tol"`
}

// got is what the program makes of a check's inputs.
type got map[string]any

// computations gives the computation for each check, by its id or the beginning
// of it.
var computations = map[string]func(t *testing.T, in inputs) got{
	"gum-h1-end-gauge":          endGauge,
	"gum-h1-d-components":       comparator,
	"gum-h2-inputs":             impedanceInputs,
	"gum-h2-results":            impedanceResults,
	"gum-h3-thermometer":        thermometer,
	"gum-g2-t-dof-":             tableG2,
	"gum-4.3.3-3sigma-mass":     mass,
	"gum-4.3.4-resistor-99":     resistor,
	"gum-4.3.7-voltmeter-spec":  voltmeter,
	"gum-f2-resolution":         resolution,
	"gum-7.2.6-rounding":        rounding,
	"gum-7.2.2-shorthand":       shorthand,
	"jcgm101-9.2-normal":        fourEqual,
	"jcgm101-9.2-rectangular":   fourEqual,
	"jcgm101-9.2-one-dominates": oneDominates,
	"jcgm101-9.4-power-x1-0":    powerMeter,
	"jcgm101-9.4-power-x1-0.05": powerMeter,
	"ea402-s2-weight":           weight,
	"ea402-e1-k":                coverageFactors,
	"divisors":                  divisors,
}

func computation(id string) (f func(*testing.T, inputs) got) {
	longest := -1
	for name, g := range computations {
		if (id == name || strings.HasSuffix(name, "-") && strings.HasPrefix(id, name)) && len(name) > longest {
			f, longest = g, len(name)
		}
	}
	return f
}

// TestPublishedValues compares every expected value of testdata/checks/gum.toml,
// each with its source there.
func TestPublishedValues(t *testing.T) {
	checks := checktable.Load[check](t, "../../testdata/checks/gum.toml")
	require.Len(t, checks, 32)
	table := checktable.New(t, "../../testdata/checks", "uncertainty")
	for _, c := range checks {
		t.Run(c.ID, func(t *testing.T) {
			require.NotEmpty(t, c.Clause)
			require.NotEmpty(t, c.Expect)
			compute := computation(c.ID)
			require.NotNil(t, compute, "no computation for this check")
			is := compute(t, c.Inputs)
			for _, key := range slices.Sorted(maps.Keys(c.Expect)) {
				want := c.Expect[key]
				require.Contains(t, is, key)
				c.compare(t, table, key, want, is[key])
			}
		})
	}
	table.Done()
}

func (c check) compare(t *testing.T, table *checktable.Table, key string, want, is any) {
	t.Helper()
	if words, ok := asWords(want); ok {
		have, _ := asWords(is)
		require.Equal(t, words, have, key)
		return
	}
	w, h := asNumbers(t, want), asNumbers(t, is)
	require.Len(t, h, len(w), key)
	for k := range w {
		tolerance := -1.0
		switch own, rel, abs := c.Tol[key], c.Tol["rel"], c.Tol["abs"]; {
		case own != nil:
			tolerance = asNumbers(t, own)[0]
		case rel != nil:
			tolerance = asNumbers(t, rel)[0] * math.Abs(w[k])
		case abs != nil:
			tolerance = asNumbers(t, abs)[0]
		}
		require.GreaterOrEqual(t, tolerance, 0.0, "%s has no tolerance", key)
		require.InDelta(t, w[k], h[k], tolerance*(1+1e-9), "%s[%d]", key, k)
		what := key
		if len(w) > 1 {
			what = fmt.Sprintf("%s %d", key, k+1)
		}
		table.Row(c.ID, c.Source+", "+c.Clause, what, w[k], h[k])
	}
}

func asWords(x any) ([]string, bool) {
	switch v := x.(type) {
	case string:
		return []string{v}, true
	case []string:
		return v, true
	case []any:
		var list []string
		for _, e := range v {
			if s, ok := e.(string); ok {
				list = append(list, s)
			}
		}
		return list, len(list) > 0
	}
	return nil, false
}

func asNumbers(t *testing.T, x any) []float64 {
	t.Helper()
	switch v := x.(type) {
	case float64:
		return []float64{v}
	case int64:
		return []float64{float64(v)}
	case []float64:
		return v
	case []any:
		var list []float64
		for _, e := range v {
			list = append(list, asNumbers(t, e)...)
		}
		return list
	}
	t.Fatalf("%v is no number", x)
	return nil
}

// inputs of a check; a key that is not there ends the test.
type inputs map[string]any

func (in inputs) f(t *testing.T, key string) float64 {
	t.Helper()
	return in.list(t, key)[0]
}

func (in inputs) list(t *testing.T, key string) []float64 {
	t.Helper()
	require.Contains(t, in, key)
	return asNumbers(t, in[key])
}

func (in inputs) words(t *testing.T, key string) []string {
	t.Helper()
	list, ok := asWords(in[key])
	require.True(t, ok, key)
	return list
}

func combined(t *testing.T, b uncertainty.Budget, list ...uncertainty.Correlation) uncertainty.Result {
	t.Helper()
	r, err := b.CombineCorrelated(list)
	require.NoError(t, err)
	return r
}

func standard(name string, u, dof float64) uncertainty.Contribution {
	return uncertainty.Line(name, u, uncertainty.Normal, dof, "check")
}

func exact(t *testing.T, s string) quantity.Exact {
	t.Helper()
	var x quantity.Exact
	require.NoError(t, x.UnmarshalText([]byte(s)))
	return x
}

// rounded is a float64 with two significant digits, as text.
func rounded(t *testing.T, u float64) string {
	t.Helper()
	r, places, ok := uncertainty.TwoDigits(quantity.ExactFloat(u))
	require.True(t, ok)
	return uncertainty.Decimal(r, places)
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	var x float64
	_, err := fmt.Sscan(s, &x)
	require.NoError(t, err)
	return x
}

func endGauge(t *testing.T, in inputs) got {
	b := uncertainty.Budget{
		standard("ls", in.f(t, "u_ls_nm"), in.f(t, "dof_ls")),
		standard("d", in.f(t, "u_d_nm"), in.f(t, "dof_d")),
		standard("alphas", in.f(t, "u_alphas"), 0),
		standard("theta", in.f(t, "u_theta"), 0),
		standard("dalpha", in.f(t, "u_dalpha"), in.f(t, "dof_dalpha")),
		standard("dtheta", in.f(t, "u_dtheta"), in.f(t, "dof_dtheta")),
	}
	at := []float64{in.f(t, "ls_nm"), in.f(t, "d_nm"), in.f(t, "alphas"), in.f(t, "theta"), in.f(t, "dalpha"), in.f(t, "dtheta")}
	y, linear, err := uncertainty.Linearise(func(x []float64) float64 {
		return x[0] + x[1] - x[0]*(x[4]*x[3]+x[2]*x[5])
	}, at, b)
	require.NoError(t, err)
	r := combined(t, linear)
	var parts []float64
	for _, c := range linear {
		if c.Output() != 0 {
			parts = append(parts, math.Abs(c.Output()))
		}
	}
	k := uncertainty.FactorAt(0.99, r.DegreesOfFreedom)
	return got{
		"l_mm": y / 1e6, "uc_nm_published": number(t, rounded(t, r.Standard)), "uc_nm_unrounded": r.Standard, "contributions_nm": parts,
		"dof_eff_published": r.DegreesOfFreedom, "dof_eff_unrounded": r.DegreesOfFreedom, "dof_eff_used": math.Floor(r.DegreesOfFreedom),
		"k99": k, "U99_nm": number(t, rounded(t, k*r.Standard)),
	}
}

func comparator(t *testing.T, in inputs) got {
	dof := in.list(t, "dof")
	mean := in.f(t, "s_pool_nm") / math.Sqrt(in.f(t, "n"))
	require.InDelta(t, in.f(t, "u_dbar"), mean, 1e-9)
	r := combined(t, uncertainty.Budget{standard("dbar", mean, dof[0]), standard("d1", in.f(t, "u_d1"), dof[1]), standard("d2", in.f(t, "u_d2"), dof[2])})
	return got{"u_dbar_nm": mean, "u_d_nm": r.Standard, "dof_d": r.DegreesOfFreedom}
}

// impedance is the budget of H.2, with estimates and correlations, from the
// five simultaneous observations; V in volt, I in ampere, phi in radian.
func impedance(t *testing.T, in inputs) (at []float64, b uncertainty.Budget, list []uncertainty.Correlation, sets [][]float64) {
	names := []string{"V", "I", "phi"}
	sets = [][]float64{in.list(t, "V"), in.list(t, "I_mA"), in.list(t, "phi")}
	for k := range sets[1] {
		sets[1][k] /= 1000
	}
	for i, x := range sets {
		n := float64(len(x))
		at = append(at, stat.Mean(x, nil))
		b = append(b, standard(names[i], stat.StdDev(x, nil)/math.Sqrt(n), n-1))
		for j, y := range sets[:i] {
			list = append(list, uncertainty.Correlation{A: names[j], B: names[i], R: stat.Correlation(x, y, nil)})
		}
	}
	return at, b, list, sets
}

func impedanceInputs(t *testing.T, in inputs) got {
	at, b, list, _ := impedance(t, in)
	r := []float64{list[0].R, list[1].R, list[2].R} // VI, Vφ, Iφ
	return got{"mean_V": at[0], "mean_I_mA": at[1] * 1000, "mean_phi": at[2], "u_V": b[0].Standard, "u_I_mA": b[1].Standard * 1000, "u_phi": b[2].Standard,
		"r_VI": r[0], "r_Vphi": r[1], "r_Iphi": r[2], "published_r": r}
}

func impedanceResults(t *testing.T, in inputs) got {
	at, b, list, sets := impedance(t, in)
	out := got{}
	for name, f := range map[string]uncertainty.Function{
		"R": func(x []float64) float64 { return x[0] / x[1] * math.Cos(x[2]) },
		"X": func(x []float64) float64 { return x[0] / x[1] * math.Sin(x[2]) },
		"Z": func(x []float64) float64 { return x[0] / x[1] },
	} {
		y, linear, err := uncertainty.Linearise(f, at, b)
		require.NoError(t, err)
		r := combined(t, linear, list...)
		out[name], out["u_"+name], out["dof"] = y, r.Standard, r.DegreesOfFreedom
		// The second approach of H.2: a result for each set, then their scatter.
		each := make([]float64, len(sets[0]))
		for k := range each {
			each[k] = f([]float64{sets[0][k], sets[1][k], sets[2][k]})
		}
		require.InEpsilon(t, stat.StdDev(each, nil)/math.Sqrt(float64(len(each))), r.Standard, 5e-3, name)
	}
	return out
}

func thermometer(t *testing.T, in inputs) got {
	b := uncertainty.Budget{standard("y1", in.f(t, "u_y1"), in.f(t, "dof")), standard("y2", in.f(t, "u_y2"), in.f(t, "dof"))}
	y, linear, err := uncertainty.Linearise(func(x []float64) float64 { return x[0] + x[1]*(in.f(t, "t")-in.f(t, "t0")) },
		[]float64{in.f(t, "y1"), in.f(t, "y2")}, b)
	require.NoError(t, err)
	r := combined(t, linear, uncertainty.Correlation{A: "y1", B: "y2", R: in.f(t, "r")})
	return got{"b30": y, "u_b30": r.Standard, "u_b30_unrounded": r.Standard, "dof": r.DegreesOfFreedom}
}

func tableG2(t *testing.T, in inputs) got {
	dof := in.f(t, "dof")
	if math.IsInf(dof, 1) {
		dof = 0
	}
	var factors []float64
	for _, p := range in.list(t, "p_exact") {
		factors = append(factors, uncertainty.FactorAt(p, dof))
	}
	return got{"t": factors, "t_6dp": factors}
}

func coverageFactors(t *testing.T, in inputs) got {
	require.Equal(t, uncertainty.Coverage, in.f(t, "p"))
	var factors []float64
	for _, dof := range in.list(t, "dof") {
		factors = append(factors, uncertainty.Factor(dof))
	}
	return got{"k": factors}
}

func mass(t *testing.T, in inputs) got {
	return got{"u": uncertainty.Stated("mass", in.f(t, "quoted"), in.f(t, "k"), 0, "certificate").Standard}
}

func resistor(t *testing.T, in inputs) got {
	k := uncertainty.FactorAt(in.f(t, "p"), 0)
	require.InDelta(t, in.f(t, "k"), k, 0.005)
	u := uncertainty.Stated("resistor", in.f(t, "quoted_uohm"), k, 0, "certificate").Standard
	return got{"u_uohm": u, "rel_u": u * 1e-6 / 10} // a resistor of 10 Ω
}

func voltmeter(t *testing.T, in inputs) got {
	half := in.f(t, "rel_of_reading")*in.f(t, "reading_v") + in.f(t, "rel_of_range")*in.f(t, "range_v")
	specification := uncertainty.Line("specification", half, uncertainty.Rectangular, 0, "manual")
	r := combined(t, uncertainty.Budget{standard("scatter", in.f(t, "u_typeA_v"), 0), specification})
	return got{"half_width_v": half, "half_width_exact_v": half, "u_spec_v": specification.Standard, "uc_v": r.Standard,
		"uc_rel": r.Standard / in.f(t, "reading_v"), "uc_exact_v": r.Standard}
}

func resolution(t *testing.T, in inputs) got {
	u := uncertainty.Line("resolution", in.f(t, "resolution")/2, uncertainty.Rectangular, 0, "display").Standard
	return got{"u": u, "published": u}
}

func rounding(t *testing.T, in inputs) got {
	var results []string
	values := in.words(t, "value")
	for k, u := range in.words(t, "u") {
		if values[k] == "" {
			_, text, ok := uncertainty.Report(quantity.Exact{}, exact(t, u))
			require.True(t, ok)
			results = append(results, text)
			continue
		}
		y, _, ok := uncertainty.Report(exact(t, values[k]), exact(t, u))
		require.True(t, ok)
		results = append(results, y)
	}
	return got{"results": results}
}

func shorthand(t *testing.T, in inputs) got {
	value := quantity.ExactFloat(in.f(t, "m_g"))
	y, u, ok := uncertainty.Report(value, quantity.ExactFloat(in.f(t, "uc_mg")*in.f(t, "k")/1000))
	require.True(t, ok)
	return got{"expanded_value": y, "expanded_u": u, "t95_9": uncertainty.FactorAt(0.95, in.f(t, "dof"))}
}

func weight(t *testing.T, in inputs) got {
	var b uncertainty.Budget
	for k, u := range in.list(t, "contrib_mg") {
		b = append(b, standard(fmt.Sprint(k), u, 0))
	}
	r := combined(t, b)
	return got{"u_mg": r.Standard, "u_exact": r.Standard, "U_mg": r.Expanded}
}

func divisors(t *testing.T, in inputs) got {
	var list []float64
	for _, shape := range in.words(t, "shapes") {
		if name, k, ok := strings.Cut(shape, " k="); ok {
			require.Equal(t, string(uncertainty.Normal), name)
			list = append(list, uncertainty.Stated("x", 1, number(t, k), 0, "").Divisor())
			continue
		}
		list = append(list, uncertainty.Distribution(shape).Divisor())
	}
	return got{"divisor": list}
}

// of95 is a Monte Carlo of a million trials for 95 %, as JCGM 101 clause 9 has it.
var of95 = uncertainty.Options{Seed: 1, Coverage: 0.95}

func shaped(t *testing.T, in inputs, name string, u float64) uncertainty.Contribution {
	d := uncertainty.Distribution(in.words(t, "dist")[0])
	return uncertainty.Line(name, u*d.Divisor(), d, 0, "check")
}

func fourEqual(t *testing.T, in inputs) got {
	var b uncertainty.Budget
	for k := range int(in.f(t, "n_inputs")) {
		b = append(b, shaped(t, in, fmt.Sprint("x", k+1), in.f(t, "u")))
	}
	s, err := b.MonteCarlo(context.Background(), nil, of95)
	require.NoError(t, err)
	require.InDelta(t, *s.Standard, combined(t, b).Standard, 0.01)
	return got{"y": *s.Mean, "u": *s.Standard, "interval95": s.Symmetric[:]}
}

func oneDominates(t *testing.T, in inputs) got {
	var b uncertainty.Budget
	for k, u := range in.list(t, "u") {
		b = append(b, shaped(t, in, fmt.Sprint("x", k+1), u))
	}
	s, err := b.MonteCarlo(context.Background(), nil, of95)
	require.NoError(t, err)
	r := combined(t, b)
	half := uncertainty.FactorAt(0.95, 0) * r.Standard
	return got{"u_first_order": number(t, fmt.Sprintf("%.1f", r.Standard)), "interval95": s.Symmetric[:], "first_order95": []float64{-half, half},
		"outcome": uncertainty.Validate(r, 0, s).Outcome}
}

func powerMeter(t *testing.T, in inputs) got {
	f := func(x []float64) float64 { return x[0]*x[0] + x[1]*x[1] }
	b := uncertainty.Budget{standard("x1", in.f(t, "u1"), 0), standard("x2", in.f(t, "u2"), 0)}
	list := []uncertainty.Correlation{{A: "x1", B: "x2", R: in.f(t, "r")}}
	at := []float64{in.f(t, "x1"), in.f(t, "x2")}
	y, linear, err := uncertainty.Linearise(f, at, b)
	require.NoError(t, err)
	r := combined(t, linear, list...)
	s, err := uncertainty.Propagate(context.Background(), f, at, b, list, of95)
	require.NoError(t, err)
	return got{"y_1e6": *s.Mean * 1e6, "u_1e6": *s.Standard * 1e6, "y_first_order_1e6": y * 1e6, "u_first_order_1e6": r.Standard * 1e6,
		"shortest95_1e6": []float64{s.Shortest[0] * 1e6, s.Shortest[1] * 1e6}, "outcome": uncertainty.Validate(r, y, s).Outcome}
}

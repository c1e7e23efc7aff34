package decision_test

import (
	"math/big"
	"testing"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/testdata/checks/checktable"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// expanded is an uncertainty with k = 2.
func expanded(u float64) uncertainty.Result {
	return uncertainty.Result{Standard: u / 2, CoverageFactor: 2, Expanded: u}
}

func hz(f string) quantity.Exact {
	var x quantity.Exact
	if err := x.UnmarshalText([]byte(f)); err != nil {
		panic(err)
	}
	return x
}

// TestPublishedValues compares with testdata/checks/decision.toml, each value
// with its source there.
func TestPublishedValues(t *testing.T) {
	type check struct {
		ID                             string
		Limit, U, Span, TUR, Tolerance float64
		Value, Z, P                    []float64
		Verdict                        []string
	}
	checks := checktable.Load[check](t, "../../testdata/checks/decision.toml")
	require.GreaterOrEqual(t, len(checks), 3)
	guarded := decision.Rule{Name: decision.Guarded}
	for _, c := range checks {
		t.Run(c.ID, func(t *testing.T) {
			for k, v := range c.Value {
				// The handbook's value is a quantity against one upper limit.
				e := quantity.ExactOf(new(big.Rat).SetFrac64(int64(v*10+0.5), 10))
				got, w := guarded.Judge(decision.Evidence{Errors: []quantity.Exact{e}, Limit: quantity.ExactFloat(c.Limit), BenchU: expanded(c.U), DecisionU: expanded(c.U)})
				require.Equal(t, c.Verdict[k], string(got.Word), "value %v", v)
				require.Equal(t, c.U, w.Float())
			}
			for k, z := range c.Z {
				// One-sided: the lower limit is far away.
				require.InDelta(t, c.P[k], decision.Conformity(1000-z, 1000, 1, 0), c.Tolerance, "z = %v", z)
			}
			if c.Span > 0 {
				tur, limited := decision.TUR(quantity.ExactOf(big.NewRat(2, 10)), c.U)
				require.True(t, limited)
				require.InDelta(t, c.TUR, tur, 1e-12)
			}
		})
	}
}

func TestOrderOfJudgement(t *testing.T) {
	for _, c := range []struct {
		name string
		rule decision.RuleName
		e    decision.Evidence
		want string
	}{
		{"on the limit passes", decision.Simple, decision.Evidence{Errors: []quantity.Exact{hz("1.2")}, Limit: hz("1.2")}, "pass"},
		{"beyond the limit fails", decision.Simple, decision.Evidence{Errors: []quantity.Exact{hz("1.2000000000000000000000000001")}, Limit: hz("1.2")}, "fail: error outside the limit"},
		{"negative error", decision.Simple, decision.Evidence{Errors: []quantity.Exact{hz("-1.2")}, Limit: hz("1.2")}, "pass"},
		{"mean within, one reading outside", decision.Simple, decision.Evidence{Errors: []quantity.Exact{hz("1.5"), hz("0"), hz("0")}, Limit: hz("1.2")}, "fail: a reading outside the limit"},
		{"a first look outside", decision.Simple, decision.Evidence{Errors: []quantity.Exact{hz("0")}, Also: []quantity.Exact{hz("5")}, Limit: hz("1.2")}, "fail: a reading outside the limit"},
		{"the bench comes first", decision.Simple, decision.Evidence{Bench: decision.SourceNotLocked, Symptom: decision.NoCount, Errors: []quantity.Exact{hz("9")}, Limit: hz("1")}, "not judged: source not locked"},
		{"no count before unstable", decision.Simple, decision.Evidence{Symptom: decision.NoCount, Limit: hz("1")}, "fail: no count"},
		{"nothing read", decision.Simple, decision.Evidence{Limit: hz("1")}, "fail: no count"},
		{"far outside fails also at TUR below 1", decision.Simple, decision.Evidence{Errors: []quantity.Exact{hz("4")}, Limit: hz("1"), BenchU: expanded(2), DecisionU: expanded(2)}, "fail: error outside the limit"},
		{"TUR below 1 can't pass", decision.Simple, decision.Evidence{Errors: []quantity.Exact{hz("0")}, Limit: hz("1"), BenchU: expanded(2), DecisionU: expanded(2)}, "not judged: uncertainty too large"},
		{"scatter of the unit alone never leaves a point unjudged", decision.Simple, decision.Evidence{Errors: []quantity.Exact{hz("0")}, Limit: hz("1"), BenchU: expanded(0.1), DecisionU: expanded(2)}, "pass"},
		{"simple acceptance knows no conditional fail", decision.Simple, decision.Evidence{Errors: []quantity.Exact{hz("1.1")}, Limit: hz("1"), BenchU: expanded(0.5), DecisionU: expanded(0.5)}, "fail: error outside the limit"},
		{"guarded knows it", decision.Guarded, decision.Evidence{Errors: []quantity.Exact{hz("1.1")}, Limit: hz("1"), BenchU: expanded(0.5), DecisionU: expanded(0.5)}, "conditional fail: error outside the limit"},
		{"guarded, within by less than w", decision.Guarded, decision.Evidence{Errors: []quantity.Exact{hz("0.6")}, Limit: hz("1"), BenchU: expanded(0.5), DecisionU: expanded(0.5)}, "conditional pass"},
	} {
		got, _ := decision.Rule{Name: c.rule}.Judge(c.e)
		require.Equal(t, c.want, got.String(), c.name)
	}
}

func TestGuardBandIsNeverNegative(t *testing.T) {
	r := quantity.MustParse[quantity.One]("-1")
	require.Zero(t, decision.Rule{Name: decision.Guarded, R: &r}.GuardBand(quantity.ExactInt(100), expanded(5)).Sign())
	half := quantity.MustParse[quantity.One]("0.5")
	require.Equal(t, "2.5", decision.Rule{Name: decision.Guarded, R: &half}.GuardBand(quantity.ExactInt(100), expanded(5)).String())
}

// The verdict at the boundary is exact whatever the digits: n readings whose
// sum lies on n·limit pass, and the least amount more fails.
func TestBoundaryIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit := quantity.ExactOf(big.NewRat(rapid.Int64Range(1, 1e15).Draw(t, "n"), rapid.Int64Range(1, 1e9).Draw(t, "d")))
		n := rapid.IntRange(1, 9).Draw(t, "readings")
		on := make([]quantity.Exact, n)
		for k := range on {
			on[k] = limit
		}
		rule := decision.Rule{Name: decision.Simple}
		if v, _ := rule.Judge(decision.Evidence{Errors: on, Limit: limit}); v.Word != decision.Pass {
			t.Fatalf("error %s on the limit gives %s", limit, v)
		}
		on[0] = on[0].Add(quantity.ExactOf(big.NewRat(1, 1e18)))
		if v, _ := rule.Judge(decision.Evidence{Errors: on, Limit: limit}); v.Word != decision.Fail {
			t.Fatalf("beyond %s gives %s", limit, v)
		}
	})
}

// With few degrees of freedom the tails are wider: within k·u for 95.45 % the
// probability is 95.45 % by construction (GUM G.3).
func TestConformityByStudentsT(t *testing.T) {
	for _, dof := range []float64{1, 4, 10, 50} {
		require.InDelta(t, uncertainty.Coverage, decision.Conformity(0, uncertainty.Factor(dof), 1, dof), 1e-9, "%v degrees of freedom", dof)
	}
}

package decision_test

import (
	"fmt"
	"math"
	"testing"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/testdata/checks/checktable"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

type riskCheck struct {
	ID, Source                             string
	TURIn                                  []float64 `toml:"tur_in"`
	Multiplier                             []float64 `toml:"multiplier"`
	WorstFalseAccept                       []float64 `toml:"worst_false_accept"`
	ZeroAt                                 float64   `toml:"zero_at"`
	InTolerance                            []float64 `toml:"in_tolerance"`
	Limit, Acceptance, Prior, U, Tolerance float64
	FalseAccept                            []float64 `toml:"false_accept"`
	FalseReject                            []float64 `toml:"false_reject"`
	R, Risk, Bound                         []float64
	Distance, Standard, P                  []float64
}

func riskChecks(t *testing.T) map[string]riskCheck {
	t.Helper()
	all := map[string]riskCheck{}
	for _, c := range checktable.Load[riskCheck](t, "../../testdata/checks/decision.toml") {
		all[c.ID] = c
	}
	return all
}

func sigma(limit, inTolerance float64) float64 {
	return limit / distuv.UnitNormal.Quantile((1+inTolerance)/2)
}

func TestPublishedRisks(t *testing.T) {
	checks := riskChecks(t)
	table := checktable.New(t, "../../testdata/checks", "decision")
	t.Run("closed form", func(t *testing.T) {
		c := checks["closed-form-2-percent"]
		require.Len(t, c.TURIn, 3)
		for k, tur := range c.TURIn {
			require.InDelta(t, c.Multiplier[k], decision.Multiplier(tur), 1e-9, "TUR %v", tur)
			table.Row(c.ID, c.Source, fmt.Sprintf("M at TUR %v", tur), c.Multiplier[k], decision.Multiplier(tur))
			// The worst case over all priors stays below the nominal 2 %.
			worst := 0.0
			for itp := 0.01; itp < 0.9999; itp += 0.005 {
				pfa, _ := decision.GlobalRisk(1, 1-c.Multiplier[k]/tur, sigma(1, itp), 0.5/tur)
				worst = math.Max(worst, pfa)
			}
			require.InDelta(t, c.WorstFalseAccept[k], worst, 2e-4, "TUR %v", tur)
			table.Row(c.ID, c.Source, fmt.Sprintf("worst false accept at TUR %v", tur), c.WorstFalseAccept[k], worst)
		}
		require.InDelta(t, 0, decision.Multiplier(c.ZeroAt), 1e-9)
		require.Zero(t, decision.Multiplier(c.ZeroAt+0.1))
	})
	t.Run("global risk", func(t *testing.T) {
		c := checks["global-risk-tur-4"]
		require.Len(t, c.InTolerance, 2)
		for k, itp := range c.InTolerance {
			pfa, pfr := decision.GlobalRisk(c.Limit, c.Acceptance, sigma(c.Limit, itp), c.U)
			require.InDelta(t, c.FalseAccept[k], pfa, c.Tolerance)
			require.InDelta(t, c.FalseReject[k], pfr, c.Tolerance)
			table.Row(c.ID, c.Source, fmt.Sprintf("false accept, %v in tolerance", itp), c.FalseAccept[k], pfa)
			table.Row(c.ID, c.Source, fmt.Sprintf("false reject, %v in tolerance", itp), c.FalseReject[k], pfr)
		}
		r := checks["jcgm106-resistor"]
		pfa, pfr := decision.GlobalRisk(r.Limit, r.Acceptance, r.Prior, r.U)
		require.InDelta(t, r.FalseAccept[0], pfa, r.Tolerance)
		require.InDelta(t, r.FalseReject[0], pfr, r.Tolerance)
		table.Row(r.ID, r.Source, "consumer's risk", r.FalseAccept[0], pfa)
		table.Row(r.ID, r.Source, "producer's risk", r.FalseReject[0], pfr)
	})
	t.Run("guard bands of ILAC-G8", func(t *testing.T) {
		c := checks["ilac-g8-guard-bands"]
		require.Len(t, c.R, 4)
		for k, factor := range c.R {
			// One limit is far away; U = 1, so u = 0.5.
			risk := 1 - decision.Conformity(1000-factor, 1000, 0.5, 0)
			require.InDelta(t, c.Risk[k], risk, 1e-9+c.Risk[k]*1e-6, "w = %v U", factor)
			require.Less(t, risk, c.Bound[k])
			table.Row(c.ID, c.Source, fmt.Sprintf("risk at w = %v U", factor), c.Risk[k], risk)
		}
	})
	t.Run("one-sided examples", func(t *testing.T) {
		c := checks["jcgm106-one-sided"]
		require.Len(t, c.Distance, 2)
		for k, d := range c.Distance {
			p := decision.Conformity(1e6-d, 1e6, c.Standard[k], 0)
			require.InDelta(t, c.P[k], p, c.Tolerance)
			table.Row(c.ID, c.Source, fmt.Sprintf("probability of conformity %d", k+1), c.P[k], p)
		}
	})
	table.Done()
}

func pct(text string) *quantity.Ratio {
	r := quantity.MustParse[quantity.One](text)
	return &r
}

// The guard band of the specific risk is where the probability of
// nonconformity is 2 %: z = 2.0537 standard uncertainties from the limit.
func TestSpecificRiskBand(t *testing.T) {
	rule := decision.Rule{Name: decision.Risk}
	w := rule.GuardBand(quantity.ExactInt(10), expanded(1))
	require.InDelta(t, distuv.UnitNormal.Quantile(0.98)*0.5, w.Float(), 1e-9)
	few := uncertainty.Result{Standard: 0.5, DegreesOfFreedom: 4, CoverageFactor: 2.87, Expanded: 1.435}
	require.InDelta(t, distuv.StudentsT{Mu: 0, Sigma: 1, Nu: 4}.Quantile(0.98)*0.5, rule.GuardBand(quantity.ExactInt(10), few).Float(), 1e-4)
	// No uncertainty, no band; so much that nothing may pass, more than the limit.
	require.Zero(t, rule.GuardBand(quantity.ExactInt(10), uncertainty.Result{}).Sign())
	require.Positive(t, rule.GuardBand(quantity.ExactInt(1), expanded(4)).Cmp(quantity.ExactInt(1)))
}

// Whatever limit, uncertainty and prior: at the band that the rule gives, the
// risk is not above what is allowed, and a narrower band would exceed it.
func TestGlobalRiskBand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		itp := rapid.Float64Range(0.5, 0.99).Draw(t, "in tolerance")
		tur := rapid.Float64Range(1.2, 10).Draw(t, "TUR")
		share := quantity.FromRat[quantity.One](quantity.ExactFloat(itp).Rat(), 6)
		rule := decision.Rule{Name: decision.Risk, Basis: decision.Global, InTolerance: &share}
		w := rule.GuardBand(quantity.ExactInt(1), expanded(1/tur)).Float()
		if w > 1 {
			return
		}
		at := func(w float64) float64 {
			pfa, _ := decision.GlobalRisk(1, 1-w, sigma(1, share.Float()), 0.5/tur)
			return pfa
		}
		if p := at(w); p > 0.02*(1+1e-9) {
			t.Fatalf("risk %v at w %v", p, w)
		}
		if w > 0 && at(w*0.99) <= 0.02 {
			t.Fatalf("w %v is wider than it need be", w)
		}
	})
}

func TestVerdictsUnderRisk(t *testing.T) {
	rule := decision.Rule{Name: decision.Risk}
	for _, c := range []struct{ e, want string }{{"8.9", "pass"}, {"9.5", "conditional pass"}, {"10", "conditional pass"}, {"10.5", "conditional fail: error outside the limit"}, {"11.5", "fail: error outside the limit"}} {
		got, _ := rule.Judge(decision.Evidence{Errors: []quantity.Exact{hz(c.e)}, Limit: hz("10"), BenchU: expanded(1), DecisionU: expanded(1)})
		require.Equal(t, c.want, got.String(), c.e)
	}
}

func TestRulesThatMakeNoSense(t *testing.T) {
	for name, c := range map[string]struct {
		rule decision.Rule
		key  string
	}{
		"r of a simple rule":         {decision.Rule{Name: decision.Simple, R: pct("1")}, "r"},
		"negative r":                 {decision.Rule{Name: decision.Guarded, R: pct("-1")}, "r"},
		"risk above a half":          {decision.Rule{Name: decision.Risk, FalseAccept: pct("60 %")}, "false_accept"},
		"risk of nothing":            {decision.Rule{Name: decision.Risk, FalseAccept: pct("0")}, "false_accept"},
		"closed form for 1 %":        {decision.Rule{Name: decision.Risk, Basis: decision.ClosedForm, FalseAccept: pct("1 %")}, "false_accept"},
		"global without a prior":     {decision.Rule{Name: decision.Risk, Basis: decision.Global}, "basis"},
		"prior of a specific risk":   {decision.Rule{Name: decision.Risk, InTolerance: pct("90 %")}, "in_tolerance"},
		"everything is in tolerance": {decision.Rule{Name: decision.Risk, Basis: decision.Global, InTolerance: pct("100 %")}, "in_tolerance"},
	} {
		require.NotEmpty(t, c.rule.Check()[c.key], name)
	}
	for _, good := range []decision.Rule{{Name: decision.Simple}, {Name: decision.Guarded, R: pct("1.5")}, {Name: decision.Risk, Basis: decision.ClosedForm, FalseAccept: pct("2 %")},
		{Name: decision.Risk, Basis: decision.Global, InTolerance: pct("90 %"), FalseAccept: pct("1 %")}} {
		require.Empty(t, good.Check(), good.String())
	}
}

// Far beyond many degrees of freedom Student's t is the normal distribution;
// the probability stays one.
func TestConformityOfManyDegreesOfFreedom(t *testing.T) {
	normal := decision.Conformity(0.5, 1, 0.5, 0)
	for _, dof := range []float64{1e6, 1e9, 2.5e11, 1e15, 1e20, 1e25} {
		require.InDelta(t, normal, decision.Conformity(0.5, 1, 0.5, dof), 1e-6, "%v", dof)
	}
	require.InDelta(t, 7.62e-24, decision.Nonconformity(0, 10, 1, 0)/2, 0.01e-24, "small tails keep their digits") // Q(10), published tables of the normal distribution
}

// |E| = L − w is within, |E| = L + w not beyond, whatever the binary form of U.
func TestGuardBandIsExactAtTheBoundary(t *testing.T) {
	rule := decision.Rule{Name: decision.Guarded}
	for _, u := range []float64{0.1, 0.3, 0.7} {
		w := quantity.ExactDecimal(u)
		at := func(e quantity.Exact) string {
			v, _ := rule.Judge(decision.Evidence{Errors: []quantity.Exact{e}, Limit: hz("1"), BenchU: expanded(u), DecisionU: expanded(u)})
			return v.String()
		}
		require.Equal(t, "pass", at(hz("1").Sub(w)), "U = %v", u)
		require.Equal(t, "conditional fail: error outside the limit", at(hz("1").Add(w)), "U = %v", u)
	}
}

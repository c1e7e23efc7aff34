package decision_test

import (
	"testing"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"

	"github.com/stretchr/testify/require"
)

// One-sided limits. The factors are the quantiles of the standard normal and of
// Student's t that every table has: z(0.98) = 2.054, t(0.98; 5) = 2.757.
func TestJudgeMargin(t *testing.T) {
	r := quantity.MustParse[quantity.One]("1")
	u := uncertainty.Result{Standard: 0.5, Expanded: 1}
	few := uncertainty.Result{Standard: 0.5, Expanded: 1.3, DegreesOfFreedom: 5}
	guarded, risk := decision.Rule{Name: decision.Guarded, R: &r}, decision.Rule{Name: decision.Risk}
	for _, x := range []struct {
		name   string
		rule   decision.Rule
		margin string
		u      uncertainty.Result
		want   decision.Word
		w      float64
	}{
		{"simple, at the limit", decision.Rule{Name: decision.Simple}, "0", u, decision.Pass, 0},
		{"simple, just beyond", decision.Rule{Name: decision.Simple}, "-0.001", u, decision.Fail, 0},
		{"guarded, at the guard band", guarded, "1", u, decision.Pass, 1},
		{"guarded, within it", guarded, "0.999", u, decision.ConditionalPass, 1},
		{"guarded, beyond by less than w", guarded, "-1", u, decision.ConditionalFail, 1},
		{"guarded, beyond by more", guarded, "-1.001", u, decision.Fail, 1},
		{"risk, normal", risk, "1.028", u, decision.Pass, 1.0269},
		{"risk, normal, within", risk, "1.026", u, decision.ConditionalPass, 1.0269},
		{"risk, few degrees of freedom", risk, "1.37", few, decision.ConditionalPass, 1.3783},
	} {
		t.Run(x.name, func(t *testing.T) {
			var m quantity.Exact
			require.NoError(t, m.UnmarshalText([]byte(x.margin)))
			v, w := x.rule.JudgeMargin(m, x.u)
			require.Equal(t, x.want, v.Word)
			require.InDelta(t, x.w, w.Float(), 2e-4)
		})
	}
}

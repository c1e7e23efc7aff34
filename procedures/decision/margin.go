package decision

import (
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"

	"gonum.org/v1/gonum/stat/distuv"
)

// JudgeMargin returns the verdict on a value with a limit on one side, and the
// guard band used. margin is signed: how far the value lies on the good side of
// its limit, in the unit of u. A one-sided limit has no span, so no TUR gates
// the verdict; its guard band keeps one tail, P(beyond), where the rule limits
// the probability of a false accept, also where the rule's basis is another
// one, which would need a span. A margin of zero is on the good side.
func (r Rule) JudgeMargin(margin quantity.Exact, u uncertainty.Result) (Verdict, quantity.Exact) {
	w := r.marginBand(u)
	switch {
	case margin.Add(quantity.ExactDecimal(u.Expanded)).Sign() < 0:
		return Verdict{Fail, OutsideLimit}, w
	case margin.Sign() < 0 && r.Name != Simple && margin.Add(w).Sign() >= 0:
		return Verdict{ConditionalFail, OutsideLimit}, w
	case margin.Sign() < 0:
		return Verdict{Fail, OutsideLimit}, w
	case margin.Cmp(w) < 0:
		return Verdict{ConditionalPass, ""}, w
	}
	return Verdict{Pass, ""}, w
}

func (r Rule) marginBand(u uncertainty.Result) quantity.Exact {
	switch {
	case r.Name == Guarded:
		return r.factor().Mul(quantity.ExactDecimal(u.Expanded))
	case r.Name == Risk && u.Standard > 0:
		quantile := distuv.UnitNormal.Quantile
		if nu := u.DegreesOfFreedom; nu > 0 && nu <= manyDegrees {
			quantile = distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile
		}
		w := quantity.ExactDecimal(u.Standard * quantile(1-r.falseAccept()))
		if w.Sign() > 0 {
			return w
		}
	}
	return quantity.Exact{}
}

package decision

import (
	"math"

	"bandproof/procedures/uncertainty"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// riskBand is the guard band in Hz that keeps the probability of a false accept
// at or below the stated one. Where even an error of zero has a higher one, it
// is the whole limit and more, so that nothing passes.
func (r Rule) riskBand(limit float64, u uncertainty.Result) float64 {
	if !(u.Standard > 0) || !(limit > 0) {
		return 0
	}
	most := r.falseAccept()
	switch r.basis() {
	case ClosedForm:
		return u.Expanded * Multiplier(limit/u.Expanded)
	case Global:
		return band(limit, func(a float64) bool {
			pfa, _ := GlobalRisk(limit, a, priorSigma(limit, r.inTolerance()), deviation(u))
			return pfa <= most
		})
	}
	return band(limit, func(a float64) bool {
		return Nonconformity(a, limit, u.Standard, u.DegreesOfFreedom) <= most
	})
}

// deviation is the standard deviation that stands for a measurement in the
// bivariate normal model: u, or where few degrees of freedom make U wider than
// 2·u, half of U.
func deviation(u uncertainty.Result) float64 { return math.Max(u.Standard, u.Expanded/2) }

// GlobalRisks returns the probabilities of a false accept and a false reject
// over units of which the rule states the share within tolerance; ok is false
// where it states none.
func (r Rule) GlobalRisks(limit, guardBand float64, u uncertainty.Result) (falseAccept, falseReject float64, ok bool) {
	if r.InTolerance == nil || !(limit > 0) || !(u.Standard > 0) {
		return 0, 0, false
	}
	falseAccept, falseReject = GlobalRisk(limit, math.Max(0, limit-guardBand), priorSigma(limit, r.inTolerance()), deviation(u))
	return falseAccept, falseReject, true
}

// band finds limit − A for the largest acceptance limit A that is good; good
// must hold below A and not above. Where nothing is good it exceeds the limit.
func band(limit float64, good func(acceptance float64) bool) float64 {
	if good(limit) {
		return 0
	}
	if !good(0) {
		return math.Nextafter(limit, math.Inf(1)) * 1.000001
	}
	low, high := 0.0, limit
	for range 200 {
		mid := (low + high) / 2
		if mid == low || mid == high {
			break
		}
		if good(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return limit - low
}

// Multiplier is M of the published closed-form guard band A = L − U·M for 2 %
// false accepts: M = 1.04 − exp(0.38·ln TUR − 0.54), zero above TUR 4.59
// (guard-band strategy for managing false-accept risk, NCSLI symposium 2008;
// method 6 of the ANSI/NCSL Z540.3 handbook).
func Multiplier(tur float64) float64 {
	if !(tur > 0) {
		return 1.04
	}
	return math.Max(0, 1.04-math.Exp(0.38*math.Log(tur)-0.54))
}

// priorSigma is the standard deviation of the errors of units of which a share
// p lies within ±limit: normal about zero.
func priorSigma(limit, p float64) float64 {
	return limit / distuv.UnitNormal.Quantile((1+p)/2)
}

// GlobalRisk returns the joint probabilities of a false accept (true error
// outside ±limit, measured within ±acceptance: the consumer's risk) and of a
// false reject (the producer's), for true errors normal about zero with
// standard deviation prior and a measurement with standard uncertainty u
// (bivariate normal; JCGM 106:2012 clause 9). All in one unit.
func GlobalRisk(limit, acceptance, prior, u float64) (falseAccept, falseReject float64) {
	if !(prior > 0) || !(u > 0) {
		return 0, 0
	}
	n := distuv.UnitNormal
	accepted := func(t float64) float64 { return n.CDF((acceptance-t)/u) - n.CDF((-acceptance-t)/u) }
	density := func(t float64) float64 { return n.Prob(t/prior) / prior }
	// Both tails are alike. Beyond ten of either deviation nothing is left.
	over := func(a, b float64, f func(float64) float64) float64 {
		sum := 0.0
		const pieces = 64 // the integrand bends within u of the acceptance limit
		for k := range pieces {
			x, y := a+(b-a)*float64(k)/pieces, a+(b-a)*float64(k+1)/pieces
			sum += quad.Fixed(f, x, y, 16, quad.Legendre{}, 0)
		}
		return sum
	}
	top := math.Max(limit, math.Min(limit+10*u, 10*prior))
	falseAccept = 2 * over(limit, top, func(t float64) float64 { return density(t) * accepted(t) })
	falseReject = 2 * over(0, math.Min(limit, 10*prior), func(t float64) float64 { return density(t) * (1 - accepted(t)) })
	return falseAccept, falseReject
}

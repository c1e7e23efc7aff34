package symptom

import (
	"math"
	"math/big"
)

// mostTerm bounds numerator and denominator of a ratio that is looked for.
const mostTerm = 64

// mostChance is the largest probability with which a ratio may be met by
// chance for it to be named at one point.
const mostChance = 0.01

// simplest is the fraction p/q of least denominator within [low, high], found on
// the Stern–Brocot tree (Graham, Knuth, Patashnik, Concrete Mathematics, 2nd ed.,
// 4.5, from memory); nil where p or q would exceed mostTerm.
func simplest(low, high float64) *big.Rat {
	if !(low > 0) || !(high >= low) || math.IsInf(high, 0) {
		return nil
	}
	a, b, c, d := int64(0), int64(1), int64(1), int64(0) // a/b < … < c/d
	for {
		p, q := a+c, b+d
		switch x := float64(p) / float64(q); {
		case p > mostTerm || q > mostTerm:
			return nil
		case x < low:
			a, b = p, q
		case x > high:
			c, d = p, q
		default:
			return big.NewRat(p, q)
		}
	}
}

// chance is the probability that some fraction as simple as r lies within ± half
// of a ratio that has nothing to do with any: there are about 3·Q²/π² fractions
// with denominators up to Q between 0 and 1 (Hardy, Wright, An Introduction to
// the Theory of Numbers, theorem 331, from memory), spread about evenly. A ratio
// above 1 is taken by its inverse.
func chance(r *big.Rat, half float64) float64 {
	x, _ := r.Float64()
	if x > 1 {
		half /= x * x
	}
	q := float64(max(r.Num().Int64(), r.Denom().Int64()))
	return math.Min(1, 2*half*3*q*q/(math.Pi*math.Pi))
}

// ratioOf is the ratio that explains what a point showed, and how likely it is met
// by chance; nil where none does. The reading may be off the ratio by the limit,
// of which the timebase's part grows with what is shown.
func (l *look) ratioOf() (*big.Rat, float64) {
	low, high, half := l.ratios()
	r := simplest(low, high)
	if r == nil || r.Cmp(big.NewRat(1, 1)) == 0 {
		return nil, 1
	}
	return r, chance(r, half)
}

// ratios is the range in which shown over true lies.
func (l *look) ratios() (low, high, half float64) {
	r := l.shown() / l.ref
	half = l.coarse * math.Max(1, r) / l.ref
	return r - half, r + half, half
}

// explains tells whether a ratio explains what a point showed.
func (l *look) explains(r *big.Rat) bool {
	low, high, _ := l.ratios()
	x, _ := r.Float64()
	return l.Shown > 0 && low <= x && x <= high
}

// small tells whether a ratio has no terms but 1 to 4, as of a divider by two, of
// double counting and the like.
func small(r *big.Rat) bool {
	return r.Num().Cmp(big.NewInt(4)) <= 0 && r.Denom().Cmp(big.NewInt(4)) <= 0
}

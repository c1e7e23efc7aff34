package uncertainty

import (
	"math/big"
	"strings"

	"bandproof/procedures/quantity"
)

// TwoDigits rounds an uncertainty to two significant digits; places is the
// decimal place of the second one (negative for tens, hundreds, …). ok is false
// where u is not above zero.
//
// JCGM 100:2008 7.2.6 leaves the rule to common sense and gives examples: 10.47
// may become 11, 28.05 becomes 28 (and 7.2.4 states 0.791 as 0.79). All of them
// follow from: to the nearest, ties upwards, but upwards too where the nearest
// would lower u by more than 2.5 %. That also keeps the usual demand that no
// uncertainty is lowered by more than 5 %, which two digits alone come near to.
func TwoDigits(u quantity.Exact) (rounded quantity.Exact, places int, ok bool) {
	if u.Sign() <= 0 {
		return quantity.Exact{}, 0, false
	}
	places = 1 - magnitude(u)
	scaled := new(big.Rat).Mul(u.Rat(), power(places)) // 10 ≤ scaled < 100
	n := floor(new(big.Rat).Add(scaled, big.NewRat(1, 2)))
	kept := new(big.Rat).SetInt(n)
	if least := new(big.Rat).Mul(scaled, big.NewRat(975, 1000)); kept.Cmp(least) < 0 {
		n.Add(n, big.NewInt(1))
	}
	if n.Cmp(big.NewInt(100)) == 0 { // 99.5 and above
		n.SetInt64(10)
		places--
	}
	kept.SetInt(n)
	return quantity.ExactOf(kept.Mul(kept, power(-places))), places, true
}

// Rounded returns x rounded half to even to a decimal place; negative places
// round to tens, hundreds, …
func Rounded(x quantity.Exact, places int) quantity.Exact {
	shifted := quantity.ExactOf(new(big.Rat).Mul(x.Rat(), power(places)))
	whole, _ := new(big.Rat).SetString(shifted.Fixed(0))
	return quantity.ExactOf(whole.Mul(whole, power(-places)))
}

// Decimal writes x rounded to a decimal place, in full and with no minus before
// a zero.
func Decimal(x quantity.Exact, places int) string {
	if places < 0 { // Fixed rounds alike, but to decimal places only
		x = Rounded(x, places)
	}
	s := x.Fixed(max(places, 0))
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// Report writes a value and its uncertainty as JCGM 100:2008 7.2.6 wants them:
// the uncertainty with two significant digits, the value to the same place. ok
// is false where u is not above zero: nothing then says how far the value goes.
func Report(value, u quantity.Exact) (y, expanded string, ok bool) {
	rounded, places, ok := TwoDigits(u)
	if !ok {
		return "", "", false
	}
	return Decimal(value, places), Decimal(rounded, places), true
}

// magnitude returns the whole number e with 10^e ≤ x < 10^(e+1), for x above 0.
func magnitude(x quantity.Exact) int {
	r := x.Rat()
	e := len(r.Num().String()) - len(r.Denom().String())
	if r.Cmp(power(e)) < 0 {
		e--
	}
	return e
}

// power returns 10^n.
func power(n int) *big.Rat {
	p := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(n, -n))), nil)
	if n < 0 {
		return new(big.Rat).SetFrac(big.NewInt(1), p)
	}
	return new(big.Rat).SetInt(p)
}

// floor of a number that is not negative.
func floor(r *big.Rat) *big.Int { return new(big.Int).Quo(r.Num(), r.Denom()) }

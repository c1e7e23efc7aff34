package quantity

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// Exact is an exact rational number of hertz (or a pure number), for sums,
// errors and limits: text that it writes holds every digit. The zero value is
// zero. Exact values are immutable.
type Exact struct{ r *big.Rat }

// ExactOf returns r as an Exact; nil is zero. The Exact keeps its own copy.
func ExactOf(r *big.Rat) Exact {
	if r == nil {
		return Exact{}
	}
	return Exact{new(big.Rat).Set(r)}
}

// ExactInt returns n as an Exact.
func ExactInt(n int64) Exact { return Exact{new(big.Rat).SetInt64(n)} }

// ExactFloat returns the exact value of a finite float64; others give zero.
func ExactFloat(f float64) Exact {
	r := new(big.Rat).SetFloat64(f)
	return Exact{r}
}

// ExactDecimal returns a float64 rounded to twelve significant digits, as the
// decimal that a person would read: 0.1 is a tenth. For uncertainties, which
// know far fewer digits, where they meet exact values. Others than finite
// values give zero.
func ExactDecimal(f float64) Exact {
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(f, 'e', 11, 64))
	if !ok {
		return Exact{}
	}
	return Exact{r}
}

// Exact returns the value in base units as an Exact.
func (v Value[D]) Exact() Exact { return Exact{v.Rat()} }

// Rat returns a copy as a rational.
func (x Exact) Rat() *big.Rat { return new(big.Rat).Set(x.rat()) }

func (x Exact) rat() *big.Rat {
	if x.r == nil {
		return new(big.Rat)
	}
	return x.r
}

// Add returns x + y.
func (x Exact) Add(y Exact) Exact { return Exact{new(big.Rat).Add(x.rat(), y.rat())} }

// Sub returns x − y.
func (x Exact) Sub(y Exact) Exact { return Exact{new(big.Rat).Sub(x.rat(), y.rat())} }

// Mul returns x · y.
func (x Exact) Mul(y Exact) Exact { return Exact{new(big.Rat).Mul(x.rat(), y.rat())} }

// Quo returns x / y, and zero where y is zero.
func (x Exact) Quo(y Exact) Exact {
	if y.Sign() == 0 {
		return Exact{}
	}
	return Exact{new(big.Rat).Quo(x.rat(), y.rat())}
}

// Abs returns |x|.
func (x Exact) Abs() Exact { return Exact{new(big.Rat).Abs(x.rat())} }

// Neg returns −x.
func (x Exact) Neg() Exact { return Exact{new(big.Rat).Neg(x.rat())} }

// Cmp returns -1, 0 or +1 as x is less than, equal to or greater than y.
func (x Exact) Cmp(y Exact) int { return x.rat().Cmp(y.rat()) }

// Sign returns -1, 0 or +1.
func (x Exact) Sign() int { return x.rat().Sign() }

// Float returns the nearest float64.
func (x Exact) Float() float64 { f, _ := x.rat().Float64(); return f }

// Fixed writes x rounded half to even to the given decimal places, for print.
func (x Exact) Fixed(places int) string {
	r, places := x.rat(), max(places, 0)
	n := r.Num()
	if places > 0 {
		n = new(big.Int).Mul(n, new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(places)), nil))
	}
	digits := nearest(n, r.Denom()).String()
	sign := ""
	if digits[0] == '-' {
		sign, digits = "-", digits[1:]
	}
	if places == 0 {
		return sign + digits
	}
	if lack := places + 1 - len(digits); lack > 0 {
		digits = strings.Repeat("0", lack) + digits
	}
	return sign + digits[:len(digits)-places] + "." + digits[len(digits)-places:]
}

// String writes every digit: a decimal where one exists, else "numerator/denominator".
func (x Exact) String() string {
	r := x.rat()
	if r.IsInt() {
		return r.Num().String()
	}
	if places, ends := r.FloatPrec(); ends {
		return r.FloatString(places)
	}
	return r.RatString()
}

// MarshalText writes the form of String.
func (x Exact) MarshalText() ([]byte, error) { return []byte(x.String()), nil }

// UnmarshalText reads what String writes; exponents are refused.
func (x *Exact) UnmarshalText(text []byte) error {
	s := string(text)
	if len(s) > 4096 || s == "" || strings.Trim(s, "0123456789.-/") != "" {
		return fmt.Errorf("%w: %q; expected a decimal or a fraction", ErrSyntax, clip(s))
	}
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return fmt.Errorf("%w: %q; expected a decimal or a fraction", ErrSyntax, clip(s))
	}
	x.r = r
	return nil
}

package quantity

import (
	"fmt"
	"math/big"
	"strings"

	"github.com/cockroachdb/apd/v3"
)

// Dimension is implemented by the marker types of this package only; it ties
// a Value to its units.
type Dimension interface{ units() *table }

// Value is an exact decimal in the base unit of its dimension. The zero value
// is zero and ready to use. Values are immutable: no method changes its
// receiver, so they may be copied freely.
type Value[D Dimension] struct{ d apd.Decimal }

// The dimensions, each named by its base unit.
type (
	// Hertz marks a frequency; base unit Hz.
	Hertz struct{}
	// Second marks a duration; base unit s.
	Second struct{}
	// Volt marks a voltage; base unit V, root mean square.
	Volt struct{}
	// Decibel marks a difference of levels; base unit dB.
	Decibel struct{}
	// One marks a ratio; base unit 1 (a fraction).
	One struct{}
	// Ohm marks a resistance; base unit Ω.
	Ohm struct{}
	// Farad marks a capacitance; base unit F.
	Farad struct{}
	// Celsius marks a temperature; base unit °C.
	Celsius struct{}
)

// The quantities, named in the words of the trade.
type (
	Frequency   = Value[Hertz]
	Duration    = Value[Second]
	Voltage     = Value[Volt]
	Gain        = Value[Decibel]
	Ratio       = Value[One]
	Resistance  = Value[Ohm]
	Capacitance = Value[Farad]
	Temperature = Value[Celsius]
)

// exact is the context for sums and products: wide enough that no quantity of
// ours (18 digits of integer hertz, 30 of fraction) is ever rounded.
var exact = apd.BaseContext.WithPrecision(200)

// New returns the value of d base units.
func New[D Dimension](d *apd.Decimal) Value[D] {
	var v Value[D]
	v.d.Set(d)
	plainZero(&v.d)
	return v
}

// Of returns the value of n·10^exp10 base units: Of[Hertz](225, 6) is 225 MHz.
func Of[D Dimension](n int64, exp10 int32) Value[D] {
	return New[D](apd.New(n, exp10))
}

// Decimal returns a copy of the exact decimal in base units.
func (v Value[D]) Decimal() *apd.Decimal { return new(apd.Decimal).Set(&v.d) }

// Rat returns the exact rational in base units.
func (v Value[D]) Rat() *big.Rat { return RatOf(&v.d) }

// Float returns the nearest float64 in base units: for physics, statistics and
// plots, never for a comparison with a limit.
func (v Value[D]) Float() float64 {
	f, _ := v.Rat().Float64()
	return f
}

// Cmp returns -1, 0 or +1 as v is less than, equal to or greater than w.
func (v Value[D]) Cmp(w Value[D]) int { return v.d.Cmp(&w.d) }

// Sign returns -1, 0 or +1.
func (v Value[D]) Sign() int { return v.d.Sign() }

// Add returns v + w, exactly.
func (v Value[D]) Add(w Value[D]) Value[D] {
	var r Value[D]
	_, _ = exact.Add(&r.d, &v.d, &w.d) // finite operands within precision: no condition arises
	return r
}

// Sub returns v − w, exactly.
func (v Value[D]) Sub(w Value[D]) Value[D] { return v.Add(w.Neg()) }

// Neg returns −v.
func (v Value[D]) Neg() Value[D] {
	var r Value[D]
	r.d.Neg(&v.d)
	return r
}

// Scale returns v·n·10^exp10, exactly.
func (v Value[D]) Scale(n int64, exp10 int32) Value[D] {
	var r Value[D]
	_, _ = exact.Mul(&r.d, &v.d, apd.New(n, exp10))
	return r
}

// Trimmed returns the same value without trailing zeros, for values that were
// computed and whose last digits say nothing.
func (v Value[D]) Trimmed() Value[D] {
	var r Value[D]
	r.d.Reduce(&v.d)
	return New[D](&r.d)
}

// Plain returns the decimal in base units without exponent and unit, with
// every digit kept: "33999989" for 33.999989 MHz.
func (v Value[D]) Plain() string { return v.d.Text('f') }

// MarshalText writes the form of String; it makes every quantity a string in JSON.
func (v Value[D]) MarshalText() ([]byte, error) { return v.text(), nil }

// UnmarshalText reads what Parse reads.
func (v *Value[D]) UnmarshalText(text []byte) error {
	p, err := Parse[D](string(text))
	if err != nil {
		return err
	}
	*v = p
	return nil
}

// Pattern returns a regular expression (ECMA 262, as JSON Schema uses) of the
// texts that Parse accepts, and an example of one.
func (v Value[D]) Pattern() (pattern, example string) {
	var d D
	t := d.units()
	names := make([]string, 0, len(t.read))
	for _, u := range t.read {
		names = append(names, strings.Replace(escape(u.name), "µ", "[uµ\u03bc]", 1))
	}
	unit := `(` + strings.Join(names, "|") + `)`
	if t.bare {
		unit += "?"
	}
	return numberPattern + unit + `\s*$`, t.example
}

// numberPattern is the leading number with its sign, grouping and exponent.
const numberPattern = `^\s*[+−-]?[0-9.\s]+([eE][+−-]?[0-9]+)?\s*`

// RatOf returns the exact rational of a finite decimal.
func RatOf(d *apd.Decimal) *big.Rat {
	n := new(big.Int).Set(d.Coeff.MathBigInt())
	if d.Negative {
		n.Neg(n)
	}
	r := new(big.Rat).SetInt(n)
	ten := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(d.Exponent, -d.Exponent))), nil)
	if d.Exponent < 0 {
		return r.Quo(r, new(big.Rat).SetInt(ten))
	}
	return r.Mul(r, new(big.Rat).SetInt(ten))
}

// FromRat returns the value of r base units rounded half to even to the given
// number of decimal places; for values that a person or an instrument is told.
func FromRat[D Dimension](r *big.Rat, places int) Value[D] {
	scale := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(places, 0))), nil)
	scaled := new(big.Rat).Mul(r, new(big.Rat).SetInt(scale))
	n := roundHalfEven(scaled)
	var c apd.BigInt
	c.SetMathBigInt(n)
	return New[D](apd.NewWithBigInt(&c, int32(-max(places, 0))))
}

// roundHalfEven returns the integer nearest to r, ties to the even one
// (ISO 80000-1 Annex B rule A, from memory).
func roundHalfEven(r *big.Rat) *big.Int { return nearest(r.Num(), r.Denom()) }

// nearest is roundHalfEven of num/den; den is above 0.
func nearest(num, den *big.Int) *big.Int {
	q, m := new(big.Int).QuoRem(num, den, new(big.Int))
	twice := new(big.Int).Lsh(new(big.Int).Abs(m), 1)
	c := twice.Cmp(den)
	if c > 0 || c == 0 && q.Bit(0) == 1 {
		q.Add(q, big.NewInt(int64(num.Sign())))
	}
	return q
}

// Format implements fmt.Formatter through String for %v and %s.
var _ fmt.Stringer = Frequency{}

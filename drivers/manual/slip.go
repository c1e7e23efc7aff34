package manual

import (
	"fmt"
	"math"
	"math/big"

	"bandproof/drivers"
	"bandproof/procedures/quantity"

	"github.com/cockroachdb/apd/v3"
)

// slip says what makes an entry look like a slip of eye or finger, or "". It
// never names digits that would tell what to read.
func slip(e drivers.Expectation, p Panel, f quantity.Frequency) string {
	if e.Frequency.Sign() <= 0 || f.Sign() <= 0 {
		return "" // RF is off, or nothing is counted
	}
	off := f.Exact().Sub(e.Frequency.Exact()).Abs()
	if off.Cmp(e.Tolerance) <= 0 {
		return ""
	}
	ratio := f.Exact().Quo(e.Frequency.Exact())
	text := p.show(f)
	if k := decade(ratio); k != 0 {
		return fmt.Sprintf("%s is %s what the source makes: look at decimal point and unit", text, power(k))
	}
	for _, x := range multiples {
		if near(ratio, quantity.ExactOf(big.NewRat(x.p, x.q))) {
			return fmt.Sprintf("%s is %s of what the source makes", text, x.name)
		}
	}
	if swapped(e, f) {
		return text + " is not what the source makes, but two digits the other way round would be"
	}
	if e.Range[1].Sign() > 0 && (f.Cmp(e.Range[0]) < 0 || f.Cmp(e.Range[1]) > 0) {
		return fmt.Sprintf("%s lies outside the range of input %s (%s to %s)", text, e.Input, e.Range[0], e.Range[1])
	}
	return fmt.Sprintf("%s lies far from what the source makes (%s apart): read all digits again", text, about(off))
}

// multiples are ratios that a faulty unit shows, and a slip seldom makes.
var multiples = []struct {
	p, q int64
	name string
}{{1, 2, "half"}, {2, 1, "twice"}, {1, 3, "a third"}, {3, 1, "three times"}, {1, 4, "a quarter"}, {4, 1, "four times"}, {2, 3, "two thirds"}, {3, 2, "one and a half times"}}

// near tells whether two ratios agree to a hundredth.
func near(a, b quantity.Exact) bool {
	return a.Sub(b).Abs().Cmp(b.Mul(quantity.ExactOf(big.NewRat(1, 100)))) <= 0
}

// decade returns k where the ratio is 10^k to a hundredth, k not zero; else 0.
func decade(ratio quantity.Exact) int {
	k := int(math.Round(math.Log10(ratio.Float())))
	if k < -12 || k > 12 || k == 0 {
		return 0
	}
	ten := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(k, -k))), nil)
	want := new(big.Rat).SetInt(ten)
	if k < 0 {
		want.Inv(want)
	}
	if !near(ratio, quantity.ExactOf(want)) {
		return 0
	}
	return k
}

func power(k int) string {
	switch k {
	case 1:
		return "ten times"
	case -1:
		return "a tenth of"
	}
	n := "1"
	for range max(k, -k) {
		n += "0"
	}
	if k < 0 {
		return "1/" + n + " of"
	}
	return n + " times"
}

// swapped tells whether exchanging two neighbouring digits brings the entry
// within tolerance.
func swapped(e drivers.Expectation, f quantity.Frequency) bool {
	d := f.Decimal()
	digits := []byte(d.Coeff.String())
	for k := range len(digits) - 1 {
		digits[k], digits[k+1] = digits[k+1], digits[k]
		n, ok := new(big.Int).SetString(string(digits), 10)
		digits[k], digits[k+1] = digits[k+1], digits[k]
		if !ok {
			return false
		}
		var c apd.BigInt
		c.SetMathBigInt(n)
		other := quantity.New[quantity.Hertz](apd.NewWithBigInt(&c, d.Exponent))
		if other.Exact().Sub(e.Frequency.Exact()).Abs().Cmp(e.Tolerance) <= 0 {
			return true
		}
	}
	return false
}

// about writes a difference to two digits.
func about(hz quantity.Exact) string { return quantity.Significant(hz.Float(), 2).String() }

// digits says where an entry shows other digits than the display has, or "".
func digits(e drivers.Expectation, p Panel, g Gate, f quantity.Frequency) string {
	step := quantity.New[quantity.Hertz](apd.New(1, f.Decimal().Exponent))
	least := e.Resolution
	if g.Resolution.Sign() > 0 {
		least = g.Resolution.Exact()
		if step.Exact().Mul(quantity.ExactInt(10)).Cmp(least) <= 0 {
			return fmt.Sprintf("%s has more digits than the display shows at this gate (%s)", p.show(f), g.Resolution)
		}
	}
	if least.Sign() > 0 && step.Exact().Cmp(least) > 0 {
		return fmt.Sprintf("%s has fewer digits than gate %s gives (%s): enter every digit that is shown, also zeros", typed(p, f), g.Time, about(least))
	}
	return ""
}

// typed writes a frequency with the digits it has.
func typed(p Panel, f quantity.Frequency) string {
	p.Step = quantity.Frequency{}
	return p.show(f)
}

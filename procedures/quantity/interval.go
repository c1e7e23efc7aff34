package quantity

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Interval is a distance between two frequencies: a ratio as octaves or
// decades, or a difference in hertz. The zero value is no distance at all.
type Interval struct {
	text string
	// base^(num/den), base 2 or 10; or, with base 0, step in Hz.
	base     int64
	num, den int64
	step     Frequency
}

// ParseInterval reads "1 decade", "0.5 octave", "2 octaves" or a frequency.
func ParseInterval(text string) (Interval, error) {
	number, name, err := split(text)
	if err == nil {
		base := map[string]int64{"octave": 2, "octaves": 2, "decade": 10, "decades": 10}[name]
		if base != 0 {
			r, ok := new(big.Rat).SetString(number)
			if !ok || r.Sign() <= 0 || !r.Num().IsInt64() || !r.Denom().IsInt64() ||
				r.Num().Int64() > 1000 || r.Denom().Int64() > 1000 {
				return Interval{}, fmt.Errorf("%w: %q is not between 0.001 and 1000 %ss with at most three decimals", ErrSyntax, clip(text), name)
			}
			return Interval{text: text, base: base, num: r.Num().Int64(), den: r.Denom().Int64()}, nil
		}
	}
	f, err := Parse[Hertz](text)
	if err != nil || f.Sign() <= 0 {
		return Interval{}, fmt.Errorf("%w: %q; expected an interval such as \"1 decade\", \"0.5 octave\" or \"500 MHz\"", ErrSyntax, clip(text))
	}
	return Interval{text: text, step: f}, nil
}

// Within tells, exactly, whether high lies no further above low than the interval.
func (i Interval) Within(low, high Frequency) bool {
	if i.base == 0 {
		return high.Sub(low).Cmp(i.step) <= 0
	}
	if low.Sign() <= 0 {
		return false
	}
	// high/low ≤ base^(num/den)  ⇔  (high/low)^den ≤ base^num
	ratio := new(big.Rat).Quo(high.Rat(), low.Rat())
	left := power(ratio, i.den)
	right := new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(i.base), big.NewInt(i.num), nil))
	return left.Cmp(right) <= 0
}

func power(r *big.Rat, n int64) *big.Rat {
	e := big.NewInt(n)
	return new(big.Rat).SetFrac(new(big.Int).Exp(r.Num(), e, nil), new(big.Int).Exp(r.Denom(), e, nil))
}

// Octaves returns log2 of a ratio of two frequencies, for shares of a range.
func Octaves(low, high Frequency) float64 { return math.Log2(high.Float() / low.Float()) }

// String writes the text that was read.
func (i Interval) String() string { return strings.TrimSpace(i.text) }

// MarshalText writes the form of String.
func (i Interval) MarshalText() ([]byte, error) { return []byte(i.String()), nil }

// UnmarshalText reads what ParseInterval reads.
func (i *Interval) UnmarshalText(text []byte) error {
	p, err := ParseInterval(string(text))
	if err != nil {
		return err
	}
	*i = p
	return nil
}

// Pattern returns the regular expression of accepted texts and an example.
func (i Interval) Pattern() (pattern, example string) {
	return numberPattern + `(octaves?|decades?|[GMkmuµμ]?Hz)\s*$`, "1 octave"
}

// Significant rounds a positive frequency to n significant digits, the way a
// person would choose the points of a logarithmic sweep.
func Significant(hz float64, n int) Frequency {
	f, err := Parse[Hertz](strconv.FormatFloat(hz, 'e', n-1, 64) + " Hz")
	if err != nil {
		return Frequency{}
	}
	return f.Trimmed()
}

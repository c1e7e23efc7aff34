package quantity

import (
	"errors"
	"fmt"
	"strings"
	"unicode"

	"github.com/cockroachdb/apd/v3"
)

// ErrSyntax is wrapped by every error of Parse and ParseLevel.
var ErrSyntax = errors.New("not a quantity")

// Bounds on what a text may ask for, so that "1e999999999 Hz" is an error and
// not a gigabyte of zeros; far beyond what any instrument sends.
const (
	maxMagnitude = 40  // of the leading digit, in base units, either way
	maxDigits    = 60  // significant digits
	maxLength    = 160 // characters of the number
)

// Parse reads a number and its unit: "12.345 678 MHz", "10us", "5e-10". The
// number may be grouped by spaces, the unit stands after it with or without a
// space; `u` is read as `µ`. A unit that is missing or of another dimension is
// an error that says which would be right. Nothing is guessed: units are case
// sensitive, so "mhz" is refused.
func Parse[D Dimension](text string) (Value[D], error) {
	var dim D
	t := dim.units()
	number, name, err := split(text)
	if err != nil {
		return Value[D]{}, t.mistake(text, err.Error())
	}
	d, err := decimal(number)
	if err != nil {
		return Value[D]{}, t.mistake(text, err.Error())
	}
	if name == "" {
		if t.bare {
			if err := bounded(d); err != nil {
				return Value[D]{}, t.mistake(text, err.Error())
			}
			return New[D](d), nil
		}
		return Value[D]{}, t.mistake(text, "has no unit")
	}
	for _, u := range t.read {
		if u.name == name {
			_, _ = exact.Mul(d, d, apd.New(u.factor, u.exp10))
			if err := bounded(d); err != nil {
				return Value[D]{}, t.mistake(text, err.Error())
			}
			return New[D](d), nil
		}
	}
	if strings.HasPrefix(name, ",") {
		return Value[D]{}, t.mistake(text, "has a decimal comma; write decimals with a point")
	}
	return Value[D]{}, t.mistake(text, fmt.Sprintf("has unit %q", name))
}

// MustParse is Parse for constants of the program and of tests; it panics on a
// text that Parse refuses.
func MustParse[D Dimension](text string) Value[D] {
	v, err := Parse[D](text)
	if err != nil {
		panic(err)
	}
	return v
}

func (t *table) mistake(text, why string) error {
	names := make([]string, 0, len(t.write))
	for _, u := range t.read {
		if !strings.Contains(u.name, " ") && !strings.ContainsAny(u.name, "\u2126") {
			names = append(names, u.name)
		}
	}
	extra := ""
	if t.bare {
		extra = " or a bare fraction such as 5e-10"
	}
	return fmt.Errorf("%w: %q %s; expected %s such as %q in %s%s", ErrSyntax, clip(text), why, t.what, t.example, strings.Join(names, ", "), extra)
}

// clip keeps a message readable when the text is long.
func clip(s string) string {
	r := []rune(s)
	if len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// split separates the number from the unit name.
func split(text string) (number, name string, err error) {
	s := strings.TrimFunc(text, unicode.IsSpace)
	if s == "" {
		return "", "", errors.New("is empty")
	}
	end := numberEnd(s)
	if end == 0 {
		return "", "", errors.New("does not begin with a number")
	}
	number = strings.Map(dropSpace, s[:end])
	name = strings.Join(strings.Fields(s[end:]), " ")
	name = strings.ReplaceAll(name, "\u03bc", "µ") // Greek mu, as some keyboards give
	if strings.HasPrefix(name, "u") {
		name = "µ" + name[1:]
	}
	return number, name, nil
}

// numberEnd returns the byte length of the leading number, its exponent and
// grouping spaces included.
func numberEnd(s string) int {
	end := 0
	for i, r := range s {
		switch {
		case r >= '0' && r <= '9', r == '.':
			end = i + 1
		case (r == '+' || r == '-' || r == '\u2212') && i == 0, unicode.IsSpace(r):
			// a sign counts only with digits after it; spaces only between digits
		case (r == 'e' || r == 'E') && end == i && exponentLength(s[i:]) > 0:
			return i + exponentLength(s[i:])
		default:
			return end
		}
	}
	return end
}

// exponentLength returns the length of "e-10" at the head of s, or 0.
func exponentLength(s string) int {
	i := 1
	for _, sign := range []string{"+", "-", "\u2212"} {
		if strings.HasPrefix(s[i:], sign) {
			i += len(sign)
			break
		}
	}
	start := i
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	if i == start {
		return 0
	}
	return i
}

func dropSpace(r rune) rune {
	switch {
	case unicode.IsSpace(r):
		return -1
	case r == '\u2212': // minus sign, as our own print uses
		return '-'
	}
	return r
}

// decimal reads a finite decimal with bounded digits and exponent.
func decimal(number string) (*apd.Decimal, error) {
	if len(number) > maxLength {
		return nil, fmt.Errorf("has more than %d digits", maxDigits)
	}
	if strings.Count(number, ".") > 1 {
		return nil, errors.New("has two decimal points")
	}
	d, _, err := apd.NewFromString(number)
	if err != nil || d.Form != apd.Finite {
		return nil, errors.New("is not a number or out of range")
	}
	plainZero(d)
	if d.NumDigits() > maxDigits {
		return nil, fmt.Errorf("has more than %d digits", maxDigits)
	}
	return d, nil
}

// plainZero makes a zero print as "0" or "0.00", never as "-0" or "000".
func plainZero(d *apd.Decimal) {
	if d.IsZero() {
		d.Negative = false
		d.Exponent = min(d.Exponent, 0)
	}
}

// bounded refuses what is too large or too small, in base units, to be meant.
func bounded(d *apd.Decimal) error {
	m := magnitude(d)
	if d.IsZero() {
		m = int64(d.Exponent)
	}
	if m > maxMagnitude || m < -maxMagnitude-maxDigits {
		return fmt.Errorf("is out of range (beyond 1e±%d)", maxMagnitude)
	}
	return nil
}

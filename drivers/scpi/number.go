package scpi

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/cockroachdb/apd/v3"
)

// Bounds of a number. IEEE 488.2 clause 7.7.2.4 (from memory) asks listeners for
// 255 digits and exponents to ±32000; no instrument means an exponent beyond
// these, and a value must not take a gigabyte when it is written out.
const (
	maxDigits   = 255
	maxExponent = 999
)

// Marker tells whether a number is one, or stands for something else.
type Marker int

const (
	// Finite is an ordinary number.
	Finite Marker = iota
	// Infinity is 9.9E37 or INF: too much, overload.
	Infinity
	// MinusInfinity is -9.9E37 or NINF.
	MinusInfinity
	// NotANumber is 9.91E37 or NAN: no measurement.
	NotANumber
)

func (m Marker) String() string {
	return [...]string{"number", "+infinity", "-infinity", "not a number"}[m]
}

// The numbers that stand for none (SCPI-1999 volume 1, clauses 7.2.1.4 and
// 7.2.1.5). They are compared as values: 9.9E37 is also +9.90000000E+37.
var (
	infinity   = apd.New(99, 36)
	notANumber = apd.New(991, 35)
)

// Number is a decimal number as an instrument wrote it.
type Number struct {
	Text   string // verbatim, spaces around included
	Marker Marker
	value  apd.Decimal // zero unless Finite
}

// Decimal is the exact value, digits behind the point kept as written. It is
// the caller's to change. It means nothing unless Marker is Finite.
func (n Number) Decimal() *apd.Decimal { return new(apd.Decimal).Set(&n.value) }

// ParseNumber reads a number in a reply: NR1, NR2 or NR3 of IEEE 488.2 clause
// 8.7, and what instruments send besides: a plus sign, "1.E3", ".5E1", a small
// e, spaces around, INF, NINF and NAN. A decimal comma is refused, because a
// comma separates the items of a list.
func ParseNumber(text []byte) (Number, error) {
	n := Number{Text: string(text)}
	s := trim(n.Text)
	switch upper(s) {
	case "INF", "+INF", "INFINITY":
		n.Marker = Infinity
		return n, nil
	case "NINF", "-INF", "NINFINITY":
		n.Marker = MinusInfinity
		return n, nil
	case "NAN":
		n.Marker = NotANumber
		return n, nil
	}
	rest, err := n.scan(s)
	if err != nil {
		return Number{}, err
	}
	if rest == "" {
		return n, nil
	}
	if rest[0] == ',' {
		return Number{}, fmt.Errorf("%s is no single number: a comma separates the items of a list; a decimal point is a point", show(n.Text))
	}
	return Number{}, fmt.Errorf("%s is no number: %s is left over; expected digits with a point and an exponent, such as +1.25E+7", show(n.Text), show(rest))
}

// scan reads the number that s begins with, and gives what comes after it.
func (n *Number) scan(s string) (rest string, err error) {
	mantissa, rest := cutMantissa(s)
	digits := strings.Count(mantissa, "") - 1 - strings.Count(mantissa, ".") - strings.Count(mantissa, "+") - strings.Count(mantissa, "-")
	if digits == 0 {
		return "", fmt.Errorf("%s is no number; expected digits with a point and an exponent, such as +1.25E+7", show(n.Text))
	}
	if digits > maxDigits {
		return "", fmt.Errorf("%s has more than %d digits", show(n.Text), maxDigits)
	}
	exponent, rest, err := cutExponent(rest)
	if err != nil {
		return "", fmt.Errorf("%s: %w", show(n.Text), err)
	}
	if _, _, err := n.value.SetString(strings.TrimPrefix(mantissa, "+")); err != nil {
		return "", fmt.Errorf("%s is no number: %w", show(n.Text), err)
	}
	n.value.Exponent += int32(exponent) // the digits are as written: no rounding
	n.mark()
	return rest, nil
}

// mark recognises the numbers that stand for none, and makes -0 an ordinary 0.
func (n *Number) mark() {
	size := new(apd.Decimal).Abs(&n.value)
	switch {
	case n.value.IsZero():
		n.value.Negative = false
		return
	case size.Cmp(notANumber) == 0:
		n.Marker = NotANumber
	case size.Cmp(infinity) != 0:
		return
	case n.value.Negative:
		n.Marker = MinusInfinity
	default:
		n.Marker = Infinity
	}
	n.value = apd.Decimal{}
}

// cutMantissa takes sign, digits and one point off the front.
func cutMantissa(s string) (mantissa, rest string) {
	i := 0
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	point := false
	for ; i < len(s) && (isDigit(s[i]) || s[i] == '.' && !point); i++ {
		point = point || s[i] == '.'
	}
	return s[:i], s[i:]
}

// cutExponent takes an exponent off the front, if there is one.
func cutExponent(s string) (exponent int, rest string, err error) {
	if s == "" || s[0] != 'E' && s[0] != 'e' {
		return 0, s, nil
	}
	i := 1
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	begin := i
	for i < len(s) && isDigit(s[i]) {
		i++
	}
	if i == begin {
		return 0, s, nil // no exponent: a unit that begins with E, or garbage
	}
	exponent, err = strconv.Atoi(strings.TrimPrefix(s[1:i], "+"))
	if err != nil || exponent > maxExponent || exponent < -maxExponent {
		return 0, "", fmt.Errorf("exponent %s is beyond ±%d", show(s[1:i]), maxExponent)
	}
	return exponent, s[i:], nil
}

// FormatNumber writes a finite number as NR3, digits as they are: 1.25E+07
// becomes what IEEE 488.2 clause 8.7.4 (from memory) has talkers send.
func FormatNumber(d *apd.Decimal) string {
	digits := d.Coeff.String()
	exponent := int64(d.Exponent) + int64(len(digits)) - 1
	sign := ""
	if d.Negative {
		sign = "-"
	}
	fraction := digits[1:]
	if fraction == "" {
		fraction = "0"
	}
	if d.IsZero() {
		return sign + "0.0E+00"
	}
	return fmt.Sprintf("%s%s.%sE%+03d", sign, digits[:1], fraction, exponent)
}

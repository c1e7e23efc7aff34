package quantity

import (
	"math/big"
	"strings"

	"github.com/cockroachdb/apd/v3"
)

// narrow is the narrow no-break space that separates groups of three digits
// and number from unit in print (SI Brochure 5.4.3 and 5.4.4, from memory).
const narrow = "\u202f"

// String writes the value with the prefix that leaves one to three digits
// before the point, every digit kept: "225 MHz", "10.000 MHz", "0.5 ppm". What
// it writes, Parse reads back to an equal value.
func (v Value[D]) String() string { return string(v.text()) }

func (v Value[D]) text() []byte {
	text, name := v.scaled(make([]byte, 0, 32))
	if name == "" {
		return text
	}
	return append(append(text, ' '), name...)
}

// Grouped writes like String for print: digits in groups of three, narrow
// no-break spaces, a true minus sign.
func (v Value[D]) Grouped() string {
	number, name := v.scaled(nil)
	if name == "" {
		return Group(string(number))
	}
	return Group(string(number)) + narrow + name
}

// In writes the number in the named unit, without the unit: In("MHz") of
// 225 MHz is "225". A name the dimension does not have gives the base unit.
func (v Value[D]) In(name string) string {
	var dim D
	for _, u := range dim.units().read {
		if u.name == name && u.factor == 1 {
			return shift(&v.d, -u.exp10).Text('f')
		}
	}
	return v.Plain()
}

// scaled appends the number, and gives the unit that it is in.
func (v Value[D]) scaled(b []byte) (number []byte, name string) {
	var dim D
	t := dim.units()
	if v.d.IsZero() {
		if t.bare {
			return append(b, '0'), ""
		}
		return v.d.Append(b, 'f'), baseOf(t).name
	}
	if n, u, ok := v.longTime(t); ok {
		return append(b, n...), u
	}
	if t.bare && smallRatio(&v.d) {
		return v.d.Append(b, 'e'), ""
	}
	u := pick(t.write, &v.d)
	return shift(&v.d, -u.exp10).Append(b, 'f'), u.name
}

// longTime writes whole minutes, hours and days as such.
func (v Value[D]) longTime(t *table) (number, name string, ok bool) {
	if t != &secondTable || magnitude(&v.d) < 1 { // less than 10 s
		return "", "", false
	}
	r := v.Rat()
	if !r.IsInt() {
		return "", "", false
	}
	for _, u := range []unit{{"d", 86400, 0}, {"h", 3600, 0}, {"min", 60, 0}} {
		q, m := new(big.Int).QuoRem(r.Num(), big.NewInt(u.factor), new(big.Int))
		if m.Sign() == 0 {
			return q.String(), u.name, true
		}
	}
	return "", "", false
}

// smallRatio tells whether a ratio reads better as a power of ten than in ppm.
func smallRatio(d *apd.Decimal) bool {
	return magnitude(d) < -9
}

// magnitude is the exponent of the leading digit.
func magnitude(d *apd.Decimal) int64 { return d.NumDigits() + int64(d.Exponent) - 1 }

func pick(list []unit, d *apd.Decimal) unit {
	for _, u := range list {
		if magnitude(d) >= int64(u.exp10) {
			return u
		}
	}
	return list[len(list)-1]
}

func baseOf(t *table) unit {
	for _, u := range t.write {
		if u.exp10 == 0 {
			return u
		}
	}
	return t.write[len(t.write)-1]
}

func shift(d *apd.Decimal, by int32) *apd.Decimal {
	s := new(apd.Decimal).Set(d)
	s.Exponent += by
	return s
}

// Group puts a narrow no-break space between groups of three digits on both
// sides of the point and sets a true minus sign; numbers of four digits stay
// together. It leaves an exponent alone.
func Group(number string) string {
	sign := ""
	if strings.HasPrefix(number, "-") {
		sign, number = "\u2212", number[1:]
	}
	mantissa, exponent := number, ""
	if i := strings.IndexAny(number, "eE"); i >= 0 {
		mantissa, exponent = number[:i], "e"+strings.Replace(number[i+1:], "-", "\u2212", 1)
	}
	whole, fraction, point := strings.Cut(mantissa, ".")
	out := sign + groupLeft(whole)
	if point {
		out += "." + groupRight(fraction)
	}
	return out + exponent
}

func groupLeft(s string) string {
	if len(s) <= 4 {
		return s
	}
	head := len(s) % 3
	parts := []string{}
	if head > 0 {
		parts = append(parts, s[:head])
	}
	for i := head; i < len(s); i += 3 {
		parts = append(parts, s[i:i+3])
	}
	return strings.Join(parts, narrow)
}

func groupRight(s string) string {
	if len(s) <= 4 {
		return s
	}
	parts := []string{}
	for i := 0; i < len(s); i += 3 {
		parts = append(parts, s[i:min(i+3, len(s))])
	}
	return strings.Join(parts, narrow)
}

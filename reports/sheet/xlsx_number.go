package sheet

import (
	"strconv"
	"strings"

	"bandproof/procedures/quantity"
)

// mostExact is how many significant decimal digits a double (IEEE 754 binary64)
// keeps whatever the number is, and how many a spreadsheet keeps.
const mostExact = 15

// number is a printed number that a cell can hold as it is printed.
type number struct {
	value   float64
	places  int
	grouped bool
}

// numberOf reads a number as it is printed in this style; ok is false where the
// text is none, or has more digits than a cell keeps.
func (s numberStyle) numberOf(text string) (n number, ok bool) {
	plain, ok := s.plain(text)
	if !ok || strings.ContainsAny(plain, "eE+") {
		return number{}, false
	}
	n.grouped = s.group != "" && strings.Contains(text, s.group)
	whole, part, _ := strings.Cut(strings.TrimPrefix(plain, "-"), ".")
	n.places = len(part)
	if len(strings.TrimLeft(whole+part, "0")) > mostExact || n.places > mostPlaces {
		return number{}, false
	}
	var err error
	if n.value, err = strconv.ParseFloat(plain, 64); err != nil || n.value == 0 && plain[0] == '-' {
		return number{}, false
	}
	// Only what is printed this way: 1.2.3 is no number in any style.
	return n, s.write(quantity.Group(plain)) == text || s.write(plain) == text
}

// format is the number format that prints the number with its places; the
// marks for point and groups are those of the reader's own settings.
func (n number) format() string {
	whole := "0"
	if n.grouped {
		whole = "#,##0"
	}
	if n.places == 0 {
		return whole
	}
	return whole + "." + strings.Repeat("0", n.places)
}

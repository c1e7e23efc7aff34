package sheet

import (
	"strings"
	"unicode/utf8"

	"bandproof/procedures/quantity"
)

// numberStyle is how numbers are written: decimal sign, what parts groups of
// digits, and whether digits behind the decimal sign are grouped as well, which
// is done with spaces only.
type numberStyle struct{ decimal, group string }

// narrow is the narrow no-break space between groups of digits.
const narrow = "\u202f"

func styleOf(o Options) numberStyle {
	s := numberStyle{".", narrow}
	if o.Decimal == "comma" {
		s.decimal = ","
	}
	switch o.Thousands {
	case "apostrophe":
		s.group = "’"
	case "none":
		s.group = ""
	case "point":
		s.group = "."
	case "comma":
		s.group = ","
	}
	return s
}

// write puts a number of the program into the style: digits with a point and
// grouped by narrow spaces, as package quantity writes them, with or without a
// unit. Digits stay as they are.
func (s numberStyle) write(text string) string {
	if s == (numberStyle{".", narrow}) {
		return text
	}
	var b strings.Builder
	behind := false // the decimal sign of the number that is being written
	for k, r := range text {
		_, size := utf8.DecodeRuneInString(text[k:])
		before, after := digitAt(text[:k], true), digitAt(text[k+size:], false)
		switch {
		case r == '.' && before && after:
			behind = true
			b.WriteString(s.decimal)
		case r == '\u202f' && before && after:
			if !behind || s.group == narrow {
				b.WriteString(s.group)
			}
		default:
			if r < '0' || r > '9' {
				behind = false
			}
			b.WriteString(text[k : k+size])
		}
	}
	return b.String()
}

// plain turns a number of this style back: digits with a point, no groups; ok
// is false for what is no number.
func (s numberStyle) plain(text string) (number string, ok bool) {
	text = strings.ReplaceAll(text, "\u2212", "-")
	if s.group != "" {
		text = strings.ReplaceAll(text, s.group, "")
	}
	text = strings.Replace(text, s.decimal, ".", 1)
	return text, plainNumber.MatchString(text)
}

// split cuts a number before its decimal sign.
func (s numberStyle) split(text string) (whole, part string) {
	if k := strings.LastIndex(text, s.decimal); k >= 0 {
		return text[:k], text[k:]
	}
	return text, ""
}

// digitAt tells whether a text ends or begins with a digit.
func digitAt(s string, end bool) bool {
	if s == "" {
		return false
	}
	c := s[0]
	if end {
		c = s[len(s)-1]
	}
	return c >= '0' && c <= '9'
}

// number writes a number of package quantity in the sheet's style.
func (w *words) number(text string) string { return w.style.write(text) }

// tick writes a number on an axis.
func (w *words) tick(v float64) string { return w.number(quantity.Group(csvFloat(tidy(v)))) }

// q writes a quantity with its unit.
func (w *words) q(x interface{ Grouped() string }) string { return w.style.write(x.Grouped()) }

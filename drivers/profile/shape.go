package profile

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"bandproof/drivers"
)

// The signs of a shape that stand for more than themselves.
const (
	placeDigit  = '#' // a digit
	placePadded = '_' // a digit or a blank
	placeNumber = '*' // a digit, a blank, a point or a comma
	placeSign   = '~' // a sign or a blank
	placeLetter = '@' // a letter or a blank
	placeAny    = '?' // any sign
)

// fits makes sure that an answer has the length and one of the shapes that the
// reply states. A cut or joined answer has neither.
func (r *Reply) fits(answer string) error {
	if n := utf8.RuneCountInString(answer); r.Length > 0 && n != r.Length {
		return fmt.Errorf("%w: %s has %d characters; expected %d: was it cut, or joined with another?", drivers.ErrUnreadable, quote(answer), n, r.Length)
	}
	if len(r.Shape) == 0 {
		return nil
	}
	best := -1
	for _, shape := range r.Shape {
		at := misfit(shape, answer)
		if at < 0 {
			return nil
		}
		best = max(best, at)
	}
	return fmt.Errorf("%w: %s does not have the shape %s from place %d on", drivers.ErrUnreadable, quote(answer), strings.Join(quoted(r.Shape), " or "), best+1)
}

// misfit is the first place, from 0, at which an answer leaves the shape; -1
// where it fits.
func misfit(shape, answer string) int {
	want, got := []rune(shape), []rune(answer)
	for i := range min(len(want), len(got)) {
		if !place(want[i], got[i]) {
			return i
		}
	}
	if len(want) != len(got) {
		return min(len(want), len(got))
	}
	return -1
}

func place(want, got rune) bool {
	digit := got >= '0' && got <= '9'
	switch want {
	case placeDigit:
		return digit
	case placePadded:
		return digit || got == ' '
	case placeNumber:
		return digit || strings.ContainsRune(" .,", got)
	case placeSign:
		return strings.ContainsRune(" +-", got)
	case placeLetter:
		return got == ' ' || got >= 'A' && got <= 'Z' || got >= 'a' && got <= 'z'
	case placeAny:
		return unicode.IsPrint(got)
	}
	return want == got
}

// shape checks the length and the shapes of a reply.
func (c *checker) shape(at string, r *Reply) {
	if c.Has(at+".length") && (r.Length < 1 || r.Length > 1000) {
		c.Add(at+".length", "is %d; expected 1 to 1000", r.Length)
	}
	if c.Has(at+".shape") && len(r.Shape) == 0 {
		c.Add(at+".shape", "is an empty list; expected at least one shape, or leave it out")
	}
	for i, s := range r.Shape {
		here := fmt.Sprintf("%s.shape[%d]", at, i)
		n := utf8.RuneCountInString(s)
		switch {
		case !strings.ContainsAny(s, string([]rune{placeDigit, placePadded, placeNumber, placeAny})):
			c.Add(here, "is %q, which has no place for a digit; write # for a digit, _ for a digit or blank", s)
		case strings.ContainsFunc(s, isControl):
			c.Add(here, "is %q; expected printable signs", s)
		case r.Length > 0 && n != r.Length:
			c.Add(here, "has %d places, but length is %d", n, r.Length)
		}
	}
}

package profile

import (
	"fmt"
	"strings"
)

// digits is how a number has to be written where an instrument wants a fixed
// form: "{megahertz:4.6}" is 4 whole digits with zeros in front and 6 decimals,
// "{dbm:+2.1}" has always a sign.
type digits struct {
	whole, decimals int
	signed          bool
}

const mostPlaces = 20

// numbers are the placeholders that stand for a number.
var numbers = []string{holdHertz, holdKilohertz, holdMegahertz, holdDBm, holdSeconds, holdMilliseconds}

// parseDigits reads what stands after the colon of a placeholder.
func parseDigits(text string) (digits, error) {
	var d digits
	rest, signed := strings.CutPrefix(text, "+")
	d.signed = signed
	whole, decimals, point := strings.Cut(rest, ".")
	var ok bool
	if d.whole, ok = places(whole); !ok || d.whole == 0 {
		return d, fmt.Errorf("has the form %q; expected whole digits, a point and decimals, such as {megahertz:4.6}", text)
	}
	if d.decimals, ok = places(decimals); point && !ok {
		return d, fmt.Errorf("has the form %q; expected a number of decimals after the point, such as {megahertz:4.6}", text)
	}
	return d, nil
}

func places(text string) (n int, ok bool) {
	if text == "" || len(text) > 2 || !onlyDigits(text) {
		return 0, false
	}
	for _, c := range text {
		n = n*10 + int(c-'0')
	}
	return n, n <= mostPlaces
}

// write puts a plain decimal into the form. A number that the form can't carry
// whole is an error: nothing may be set to something else than it was asked.
func (d digits) write(number string) (string, error) {
	negative, rest := signOf(number)
	whole, fraction, _ := strings.Cut(rest, ".")
	whole = strings.TrimLeft(whole, "0")
	kept := strings.TrimRight(fraction, "0")
	if len(whole) > d.whole || len(kept) > d.decimals {
		return "", fmt.Errorf("%s does not fit into %d whole digits and %d decimals, which is what the instrument takes", number, d.whole, d.decimals)
	}
	text := strings.Repeat("0", d.whole-len(whole)) + whole
	if d.decimals > 0 {
		text += "." + kept + strings.Repeat("0", d.decimals-len(kept))
	}
	switch {
	case negative:
		text = "-" + text
	case d.signed:
		text = "+" + text
	}
	return text, nil
}

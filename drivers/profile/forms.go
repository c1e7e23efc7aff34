package profile

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"bandproof/drivers"

	"github.com/cockroachdb/apd/v3"
)

// The forms of a number in a reply.
const (
	FormSCPI   = "scpi"   // a decimal as SCPI-1999 sends it
	FormPlain  = "plain"  // a decimal as instruments sent it before
	FormBCD    = "bcd"    // two digits a byte
	FormBinary = "binary" // a whole number
)

// What a letter before a number says.
const (
	flagGood   = "good"
	flagOver   = "over_range"
	flagNone   = "no_signal"
	flagRefuse = "refuse" // a reading of something else, or not yet whole
)

// raw tells whether the answer is bytes and no text.
func (r *Reply) raw() bool { return r.Form == FormBCD || r.Form == FormBinary }

// flagged takes the letters off with which an answer begins, and tells what
// they say. The letter that says most counts: refuse, over-range, no signal.
func (r *Reply) flagged(answer string) (rest string, mark drivers.Mark, err error) {
	if r.Flags == nil {
		return answer, drivers.None, nil
	}
	n := max(r.FlagPlaces, 1)
	if len(answer) < n {
		return "", drivers.None, fmt.Errorf("%w: %s is too short to begin with %d letters", drivers.ErrUnreadable, quote(answer), n)
	}
	said := map[string]bool{}
	for i := range n {
		letter := answer[i : i+1]
		word, known := r.Flags[letter]
		if !known {
			return "", drivers.None, fmt.Errorf("%w: %s has %s in place %d; expected %s", drivers.ErrUnreadable, quote(answer), quote(letter), i+1,
				strings.Join(quoted(sortedKeys(r.Flags)), " or "))
		}
		said[word] = true
	}
	switch {
	case said[flagRefuse]:
		return "", drivers.None, fmt.Errorf("%w: %s begins with %s, which stands for no reading of a frequency", drivers.ErrUnreadable, quote(answer), quote(answer[:n]))
	case said[flagOver]:
		return "", drivers.OverRange, nil
	case said[flagNone]:
		return "", drivers.NoSignal, nil
	}
	return answer[n:], drivers.None, nil
}

// unitOf takes the unit off where it changes with the range.
func (r *Reply) unitOf(number string) (rest, unit string, err error) {
	if r.Units == nil {
		return number, r.Unit, nil
	}
	byLength := slices.SortedFunc(maps.Keys(r.Units), func(a, b string) int { return len(b) - len(a) })
	for _, text := range byLength {
		if rest, ok := strings.CutSuffix(number, text); ok {
			return strings.TrimSpace(rest), r.Units[text], nil
		}
	}
	return "", "", fmt.Errorf("%w: %s does not end with a unit; expected %s", drivers.ErrUnreadable, quote(number), strings.Join(quoted(sortedKeys(r.Units)), " or "))
}

// plain reads a decimal number as instruments sent it before there was a
// standard: blanks may stand before, between and after the digits (where zeros
// were suppressed), after the sign, and around the E of an exponent.
func plain(number string, comma bool) (*apd.Decimal, error) {
	mark := byte('.')
	if comma {
		mark = ','
	}
	wrong := func(what string) (*apd.Decimal, error) {
		return nil, fmt.Errorf("%w: %s %s; expected digits with a %q, perhaps blanks between them and an exponent such as E+6", drivers.ErrUnreadable, quote(number), what, mark)
	}
	mantissa, exponent, has := strings.Cut(strings.ReplaceAll(strings.ToUpper(number), " ", ""), "E")
	negative, digits := signOf(mantissa)
	whole, fraction, _ := strings.Cut(digits, string(mark))
	if whole+fraction == "" {
		return wrong("has no digits")
	}
	if !onlyDigits(whole + fraction) {
		return wrong("is no number")
	}
	d, _, err := apd.NewFromString(whole + fraction)
	if err != nil || len(whole+fraction) > 2*maxDigits {
		return wrong("is out of range")
	}
	d.Negative = negative
	power := 0
	if has {
		down, places := signOf(exponent)
		if places == "" || len(places) > 3 || !onlyDigits(places) {
			return wrong("has an exponent that is no whole number")
		}
		for _, c := range places {
			power = power*10 + int(c-'0')
		}
		if down {
			power = -power
		}
	}
	d.Exponent = int32(power - len(fraction))
	return d, nil
}

func signOf(text string) (negative bool, rest string) {
	if rest, ok := strings.CutPrefix(text, "-"); ok {
		return true, rest
	}
	return false, strings.TrimPrefix(text, "+")
}

func onlyDigits(text string) bool {
	return !strings.ContainsFunc(text, func(r rune) bool { return r < '0' || r > '9' })
}

// packed reads the bytes of a number. How many there are is stated by length.
func (r *Reply) packed(answer string) (*apd.Decimal, error) {
	data, ok := cutAll([]byte(answer), r.Prefix, r.Suffix)
	if !ok || len(data) != r.Length {
		return nil, fmt.Errorf("%w: %s is not the %d bytes of a number that the profile states", drivers.ErrUnreadable, quote(answer), r.Length)
	}
	if r.LowFirst {
		slices.Reverse(data)
	}
	d := new(apd.Decimal)
	if r.Form == FormBinary {
		d.Coeff.SetBytes(data)
	} else {
		digits := make([]byte, 0, 2*len(data))
		for _, b := range data {
			high, low := b>>4, b&15
			if high > 9 || low > 9 {
				return nil, fmt.Errorf("%w: %s holds the byte 0x%02x, which is no pair of digits", drivers.ErrUnreadable, quote(answer), b)
			}
			digits = append(digits, '0'+high, '0'+low)
		}
		d.Coeff.SetString(string(digits), 10)
	}
	d.Exponent = int32(r.Power)
	return d, sized(d, answer)
}

// cutAll takes a prefix and a suffix off, of which one must be there if any is
// stated.
func cutAll(data []byte, prefix, suffix []string) ([]byte, bool) {
	text, ok := cut(string(data), prefix, strings.CutPrefix)
	if !ok {
		return nil, false
	}
	text, ok = cut(text, suffix, strings.CutSuffix)
	return []byte(text), ok
}

// forms checks the keys that belong to a form of number.
func (c *checker) forms(at string, r *Reply, unit unitCheck, reading bool) {
	known := []string{FormSCPI, FormPlain, FormBCD, FormBinary}
	if r.Form != "" && !slices.Contains(known, r.Form) {
		c.Add(at+".form", "is %q; expected %s", r.Form, strings.Join(quoted(known), " or "))
	}
	if r.Comma && r.Form != FormPlain {
		c.Add(at+".comma", "needs form = %q; elsewhere a comma parts two values", FormPlain)
	}
	if c.Has(at+".power") && (r.Form == FormSCPI || r.Form == "") {
		c.Add(at+".power", "has no meaning with form scpi, whose numbers say their size; state unit")
	}
	if c.Has(at+".power") && (r.Power < -30 || r.Power > 30) {
		c.Add(at+".power", "is %d; expected -30 to 30", r.Power)
	}
	if r.raw() {
		c.rawForm(at, r)
	} else if c.Has(at + ".low_first") {
		c.Add(at+".low_first", "belongs to the forms bcd and binary")
	}
	c.units(at, r, unit)
	c.flags(at, r, reading)
}

func (c *checker) rawForm(at string, r *Reply) {
	most := 20
	if r.Length < 1 || r.Length > most {
		c.Add(at, "has form %q, but length does not say how many bytes a number has; expected 1 to %d", r.Form, most)
	}
	foreign := map[string]bool{"shape": r.Shape != nil, "units": r.Units != nil, "flags": r.Flags != nil,
		"no_signal": r.NoSignal != nil, "over_range": r.OverRange != nil}
	for _, key := range sortedKeys(foreign) {
		if foreign[key] {
			c.Add(at+"."+key, "has no meaning with form %q: the reply is bytes and no text", r.Form)
		}
	}
}

func (c *checker) units(at string, r *Reply, unit unitCheck) {
	if r.Units == nil {
		return
	}
	if r.Unit != "" {
		c.Add(at+".unit", "is told twice: units says it for each range")
	}
	if len(r.Units) == 0 {
		c.Add(at+".units", "is empty; expected texts after the number, such as MHZ = \"MHz\"")
	}
	for _, text := range sortedKeys(r.Units) {
		if err := unit(r.Units[text]); err != nil {
			c.Add(at+".units."+text, "%v", err)
		}
		c.affix(at+".units."+text, text)
	}
}

func (c *checker) flags(at string, r *Reply, reading bool) {
	if c.Has(at+".flag_places") && (r.FlagPlaces < 1 || r.FlagPlaces > 20 || r.Flags == nil) {
		c.Add(at+".flag_places", "is %d; expected 1 to 20, and flags to say what the letters mean", r.FlagPlaces)
	}
	if r.Flags == nil {
		return
	}
	if !reading {
		c.Add(at+".flags", "belongs to read.reply only: a setting is always a number")
	}
	words := []string{flagGood, flagOver, flagNone, flagRefuse}
	for _, letter := range sortedKeys(r.Flags) {
		if len(letter) != 1 || isControl(rune(letter[0])) {
			c.Add(at+".flags", "names %q; expected one letter or a blank each", letter)
		}
		if !slices.Contains(words, r.Flags[letter]) {
			c.Add(at+".flags."+letter, "leads to %q; expected %s", r.Flags[letter], strings.Join(quoted(words), " or "))
		}
	}
	if !slices.Contains(slices.Collect(maps.Values(r.Flags)), flagGood) {
		c.Add(at+".flags", "has no letter that stands for %q; no reading would ever count", flagGood)
	}
}

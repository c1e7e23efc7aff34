package diagram

import (
	"strings"
	"unicode"
)

// width is the most that a text takes in the usual sans-serif fonts of a size; a
// test measures them. Each class of letters has the width of its widest.
func width(text string, size float64, bold bool) float64 {
	sum := 0.0
	for _, r := range text {
		sum += advance(r)
	}
	if bold {
		sum *= 1.14
	}
	return sum * size
}

// advance of a letter in ems.
func advance(r rune) float64 {
	switch {
	case strings.ContainsRune("ijl", r):
		return 0.32
	case strings.ContainsRune(" I.,;:'|", r):
		return 0.37
	case strings.ContainsRune("ftr!()[]/\\-·", r):
		return 0.45
	case strings.ContainsRune("csz\"", r):
		return 0.57
	case strings.ContainsRune("mwMW%@…—→", r):
		return 1.08
	case unicode.Is(unicode.Mn, r):
		return 0.61 // where it stands for itself
	case r < 0x7f && unicode.IsUpper(r):
		return 0.8
	case r < 0x7f && (unicode.IsLower(r) || unicode.IsDigit(r) || strings.ContainsRune("{}`", r)):
		return 0.66
	case r < 0x180: // Latin
		return 1.08
	case r >= 0x370 && r < 0x530: // Greek, Cyrillic
		return 1.25
	}
	return 1.45
}

// plain is a text as it may stand in a drawing: control characters, marks of
// direction and breaks are spaces.
func plain(text string) string {
	return strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
			return ' '
		}
		return r
	}, text)), " ")
}

// shorten cuts a text to a width, with a mark of that.
func shorten(text string, size, most float64, bold bool) string {
	text = plain(text)
	if width(text, size, bold) <= most {
		return text
	}
	letters := []rune(text)
	for n := len(letters) - 1; n > 0; n-- {
		if short := strings.TrimSpace(string(letters[:n])) + "…"; width(short, size, bold) <= most {
			return short
		}
	}
	return "…"
}

// wrap breaks a text into lines of a width, between words where it can; what is
// too much is cut.
func wrap(text string, size, most float64, lines int, bold bool) []string {
	var list []string
	rest := strings.Fields(plain(text))
	for len(rest) > 0 && len(list) < lines-1 {
		n := 0
		for n < len(rest) && width(strings.Join(rest[:n+1], " "), size, bold) <= most {
			n++
		}
		if n > 0 {
			list, rest = append(list, strings.Join(rest[:n], " ")), rest[n:]
			continue
		}
		head, tail := split(rest[0], size, most, bold)
		list, rest[0] = append(list, head), tail
	}
	if len(rest) > 0 {
		list = append(list, shorten(strings.Join(rest, " "), size, most, bold))
	}
	return list
}

// split breaks a word that is too long for a line, after a hyphen or the like
// where there is one.
func split(word string, size, most float64, bold bool) (head, tail string) {
	letters := []rune(word)
	n := 1
	for n < len(letters) && width(string(letters[:n+1]), size, bold) <= most {
		n++
	}
	for k := n; k > n/2; k-- {
		if strings.ContainsRune("-_/.:", letters[k-1]) {
			n = k
			break
		}
	}
	return string(letters[:n]), string(letters[n:])
}

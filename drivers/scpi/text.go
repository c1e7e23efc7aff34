package scpi

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/cockroachdb/apd/v3"
)

// show quotes a text for a message, so that no byte of an instrument spoils a
// log or a terminal, and no reply fills a screen.
func show(text string) string {
	const most = 80
	if len(text) > most {
		return strconv.QuoteToASCII(text[:most]) + "…"
	}
	return strconv.QuoteToASCII(text)
}

// white is what counts as white space between elements; LF ends a message, but
// a link may have left one in.
const white = " \t\r\n\v\f\x00"

func trim(text string) string { return strings.Trim(text, white) }

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

func isLetter(c byte) bool { return 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' }

func isWhite(c byte) bool { return strings.IndexByte(white, c) >= 0 }

// upper makes ASCII capitals only.
func upper(text string) string {
	return strings.Map(func(c rune) rune {
		if 'a' <= c && c <= 'z' {
			return c - 'a' + 'A'
		}
		return c
	}, text)
}

// QuoteString writes string data: in double quotes, a quote within doubled
// (IEEE 488.2 clause 8.7.8).
func QuoteString(text string) string { return `"` + strings.ReplaceAll(text, `"`, `""`) + `"` }

// ParseString reads string data in double or single quotes; a quote of the same
// kind within is doubled.
func ParseString(text []byte) (string, error) {
	s := trim(string(text))
	if s == "" || s[0] != '"' && s[0] != '\'' {
		return "", fmt.Errorf("%s is no string: it does not begin with a quote", show(s))
	}
	quote := s[:1]
	end := stringEnd(s, 0)
	if end < 0 {
		return "", fmt.Errorf("%s is no string: the quote at its end is missing", show(s))
	}
	if end != len(s) {
		return "", fmt.Errorf("%s is no single string: %s comes after it", show(s), show(s[end:]))
	}
	return strings.ReplaceAll(s[1:end-1], quote+quote, quote), nil
}

// stringEnd is where the string ends that begins at from; -1: it does not.
func stringEnd(s string, from int) int {
	quote := s[from]
	for i := from + 1; i < len(s); i++ {
		if s[i] != quote {
			continue
		}
		if i+1 < len(s) && s[i+1] == quote {
			i++
			continue
		}
		return i + 1
	}
	return -1
}

// ParseBool reads 0, 1, OFF or ON; a number may have any form. Any other number
// is refused, though SCPI-1999 (from memory) has instruments round it and take
// all but 0 for true: in a reply it would be a mistake.
func ParseBool(text []byte) (bool, error) {
	s := trim(string(text))
	switch upper(s) {
	case "ON":
		return true, nil
	case "OFF":
		return false, nil
	}
	n, err := ParseNumber([]byte(s))
	if err == nil && n.Marker == Finite {
		if n.value.IsZero() {
			return false, nil
		}
		if n.value.Cmp(apd.New(1, 0)) == 0 {
			return true, nil
		}
	}
	return false, fmt.Errorf("%s is no boolean; expected 0, 1, OFF or ON", show(s))
}

// FormatBool writes 1 or 0, as replies have it.
func FormatBool(b bool) string {
	if b {
		return "1"
	}
	return "0"
}

package record

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// SpellOut makes a text fit for a document without losing what it holds:
// characters that are odd there are spelled out as [U+001B], bytes that are no
// text as [x9F]; odd has to say yes to U+FFFD, which also stands for such bytes.
// Carriage returns become line feeds, tabs spaces.
func SpellOut(s string, odd func(rune) bool) string {
	if strings.ContainsAny(s, "\r\t") {
		s = lineFeeds.Replace(s)
	}
	if !strings.ContainsFunc(s, odd) {
		return s
	}
	var b strings.Builder
	for k, r := range s {
		switch {
		case r == utf8.RuneError && !strings.HasPrefix(s[k:], "\ufffd"):
			fmt.Fprintf(&b, "[x%02X]", s[k])
		case r == utf8.RuneError || !odd(r):
			b.WriteRune(r)
		default:
			b.WriteString(Spell(r))
		}
	}
	return b.String()
}

var lineFeeds = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\t", " ")

// Spell writes a character by its number.
func Spell(r rune) string { return fmt.Sprintf("[U+%04X]", r) }

package dcc

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"bandproof/reports/record"
)

// notStated stands where the schema wants a text and the record has none.
const notStated = "not stated"

// clean makes a text fit for XML 1.0 without losing what it holds: characters
// that XML forbids, other control characters and those that turn the direction
// of writing are spelled out as [U+001B], bytes that are no text as [x9F]. Line
// feeds stay; space around the text goes.
func clean(s string) string { return strings.TrimSpace(record.SpellOut(s, odd)) }

// odd tells whether r must not stand in a certificate as it is: what XML 1.0
// section 2.2 leaves out of Char or discourages, line and paragraph separators,
// and the marks of Unicode Standard Annex 9 that change the order of writing,
// so that a text could read otherwise than it is. U+FFFD is among them because
// it also stands for bytes that are no text.
func odd(r rune) bool {
	switch {
	case r == '\n':
		return false
	case r == utf8.RuneError, unicode.IsControl(r), r == 0x2028, r == 0x2029:
		return true
	case r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069, r == 0x200e, r == 0x200f, r == 0x061c:
		return true
	}
	return r&0xfffe == 0xfffe || r >= 0xfdd0 && r <= 0xfdef
}

// word is a text for an element that has no languages; "" leaves it out.
func word(s string) string { return strings.ReplaceAll(clean(s), "\n", " ") }

// stated is word, or says that there is none.
func stated(s string) string {
	if s = word(s); s != "" {
		return s
	}
	return notStated
}

// english is a text of this program, free is one whose language nobody states.
func english(s string) *text { return &text{english1(s)} }

func english1(lines ...string) []content {
	var list []content
	for _, s := range lines {
		if s = clean(s); s != "" {
			list = append(list, content{Lang: language, Text: s})
		}
	}
	return list
}

func free(s string) text {
	if s = clean(s); s != "" {
		return text{[]content{{Text: s}}}
	}
	return text{english1(notStated)}
}

// say is a text of this program with more than a name; nil where all lines are
// empty.
func say(lines ...string) *rich {
	if c := english1(lines...); c != nil {
		return &rich{Content: c}
	}
	return nil
}

// titled is say with a heading of its own.
func titled(title string, lines ...string) *rich {
	r := say(lines...)
	if r == nil {
		r = say(notStated)
	}
	r.Name = english(title)
	return r
}

// join puts the parts that are not empty together.
func join(between string, parts ...string) string {
	var list []string
	for _, p := range parts {
		if strings.TrimSpace(p) != "" {
			list = append(list, strings.TrimSpace(p))
		}
	}
	return strings.Join(list, between)
}

// prefixed puts a prefix before a text that is not empty.
func prefixed(prefix, s string) string {
	if strings.TrimSpace(s) == "" {
		return ""
	}
	return prefix + s
}

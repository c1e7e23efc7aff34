package sheet

import (
	"fmt"
	"regexp"
	"strings"
)

// recordedWords translate fixed texts of the record.
type recordedWords struct {
	exact    map[string]string
	patterns []pattern
}

// pattern is a sentence of the record with something in it: %w one word, %s a
// name (without colon or semicolon before a space, so that it is no sentence), %t
// any text, %n a figure. Names and texts are put into the translation as they are
// recorded, or translated where they are fixed texts themselves; figures are
// written in the sheet's style.
type pattern struct {
	says    string
	fixed   int    // bytes that must agree
	begin   string // what it begins with, to leave most out quickly
	match   *regexp.Regexp
	figures []bool
	text    string
}

var wildcard = regexp.MustCompile(`%[wstn]`)

// stands is what a wildcard matches.
var stands = map[byte]string{'w': `(\S+)`, 's': `((?:[^:;]|[:;]\S)+?)`, 't': `(.+?)`, 'n': "([-+\u2212±]?[0-9].*?)"}

func patternOf(says, text string) pattern {
	p := pattern{says: says, text: text, begin: says[:wildcard.FindStringIndex(says)[0]]}
	expression, at := "(?s)^", 0
	for _, k := range wildcard.FindAllStringIndex(says, -1) {
		expression += regexp.QuoteMeta(says[at:k[0]])
		p.fixed += k[0] - at
		kind := says[k[0]+1]
		p.figures = append(p.figures, kind == 'n')
		expression += stands[kind]
		at = k[1]
	}
	p.fixed += len(says) - at
	p.match = regexp.MustCompile(expression + regexp.QuoteMeta(says[at:]) + "$")
	return p
}

func (r recordedWords) translate(text string, style numberStyle) string {
	if t, ok := r.exact[text]; ok {
		return t
	}
	for _, p := range r.patterns {
		if !strings.HasPrefix(text, p.begin) {
			continue
		}
		found := p.match.FindStringSubmatch(text)
		if found == nil {
			continue
		}
		var parts []string
		for k, x := range found[1:] {
			if p.figures[k] {
				x = style.write(strings.ReplaceAll(x, "-", "−"))
			} else {
				x = r.translate(x, style)
			}
			parts = append(parts, fmt.Sprintf("%%[%d]s", k+1), x)
		}
		if len(found) == 2 {
			parts = append(parts, "%s", parts[1])
		}
		return strings.NewReplacer(parts...).Replace(p.text)
	}
	return text
}

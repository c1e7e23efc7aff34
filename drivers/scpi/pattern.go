package scpi

import (
	"fmt"
	"strconv"
	"strings"
)

// Pattern is a header as manuals write it: "[SOURce#:]FREQuency[:CW]".
type Pattern struct {
	text  string
	nodes []node
}

type node struct {
	short, long string // in capitals
	optional    bool
	numbered    bool
}

// CompilePattern reads a header pattern. Capitals are the short form of a
// mnemonic, all of it the long form; a node in brackets may be left out; # ends
// a mnemonic that takes a number, 1 unless sent. There is no question mark.
func CompilePattern(text string) (Pattern, error) {
	p := Pattern{text: text}
	if strings.HasPrefix(text, "*") {
		name := upper(text)
		if len(text) < 2 || strings.ContainsFunc(text[1:], func(c rune) bool { return c > '~' || !isLetter(byte(c)) }) {
			return Pattern{}, fmt.Errorf("pattern %s: expected a star and letters", show(text))
		}
		p.nodes = []node{{short: name, long: name}}
		return p, nil
	}
	rest := strings.TrimPrefix(text, ":")
	for rest != "" {
		n, after, err := cutNode(rest)
		if err != nil {
			return Pattern{}, fmt.Errorf("pattern %s: %w", show(text), err)
		}
		p.nodes = append(p.nodes, n)
		rest = after
	}
	for _, n := range p.nodes {
		if !n.optional {
			return p, nil
		}
	}
	return Pattern{}, fmt.Errorf("pattern %s: expected at least one mnemonic that can't be left out", show(text))
}

// MustPattern is CompilePattern for patterns that are written in code.
func MustPattern(text string) Pattern {
	p, err := CompilePattern(text)
	if err != nil {
		panic(err)
	}
	return p
}

// cutNode takes one mnemonic off, with brackets and colons around it.
func cutNode(s string) (n node, rest string, err error) {
	inside := s
	if s[0] == '[' {
		var ok bool
		if inside, rest, ok = strings.Cut(s[1:], "]"); !ok {
			return node{}, "", fmt.Errorf("a bracket is not closed")
		}
		n.optional = true
		inside = strings.TrimSuffix(strings.TrimPrefix(inside, ":"), ":")
	} else if i := strings.IndexAny(s, ":["); i >= 0 {
		inside, rest = s[:i], s[i:]
	} else {
		rest = ""
	}
	if next, ok := strings.CutPrefix(rest, ":"); ok {
		if rest = next; rest == "" {
			return node{}, "", fmt.Errorf("a colon at the end")
		}
	}
	inside, n.numbered = strings.CutSuffix(inside, "#")
	small := len(shortForm(inside))
	for i := range len(inside) {
		c := inside[i]
		if !isLetter(c) && (i == 0 || !isDigit(c) && c != '_') || i > small && 'A' <= c && c <= 'Z' {
			return node{}, "", fmt.Errorf("%s is no mnemonic: expected capitals, then small letters", show(inside))
		}
	}
	if small == 0 {
		return node{}, "", fmt.Errorf("%s is no mnemonic: it has no short form", show(inside))
	}
	if n.numbered && isDigit(inside[len(inside)-1]) {
		return node{}, "", fmt.Errorf("%s is no mnemonic that takes a number: it ends with a digit", show(inside))
	}
	n.short, n.long = inside[:small], upper(inside)
	return n, rest, nil
}

// String is the pattern as it was written.
func (p Pattern) String() string { return p.text }

// Match tells whether a Command's header is of this pattern, and gives the
// numbers of its numbered mnemonics in order; that of one left out is 1.
func (p Pattern) Match(header string) (numbers []int, ok bool) {
	return match(p.nodes, strings.Split(upper(header), ":"), nil)
}

func match(nodes []node, sent []string, numbers []int) ([]int, bool) {
	if len(nodes) == 0 {
		return numbers, len(sent) == 0
	}
	n := nodes[0]
	if len(sent) > 0 {
		if number, ok := n.matches(sent[0]); ok {
			with := numbers
			if n.numbered {
				with = append(with[:len(with):len(with)], number)
			}
			if found, ok := match(nodes[1:], sent[1:], with); ok {
				return found, true
			}
		}
	}
	if !n.optional {
		return nil, false
	}
	if n.numbered {
		numbers = append(numbers[:len(numbers):len(numbers)], 1)
	}
	return match(nodes[1:], sent, numbers)
}

// matches compares one mnemonic, in capitals.
func (n node) matches(sent string) (number int, ok bool) {
	number = 1
	if n.numbered {
		name := strings.TrimRight(sent, "0123456789")
		if digits := sent[len(name):]; digits != "" {
			var err error
			if number, err = strconv.Atoi(digits); err != nil {
				return 0, false
			}
		}
		sent = name
	}
	return number, sent == n.short || sent == n.long
}

// MatchKeyword tells whether character data is the mnemonic, in its short or
// its long form: MatchKeyword("MINimum", "min").
func MatchKeyword(mnemonic, sent string) bool {
	sent = upper(sent)
	return sent != "" && (sent == shortForm(mnemonic) || sent == upper(mnemonic))
}

// shortForm is what comes before the first small letter.
func shortForm(mnemonic string) string {
	i := strings.IndexFunc(mnemonic, func(c rune) bool { return 'a' <= c && c <= 'z' })
	if i < 0 {
		return mnemonic
	}
	return mnemonic[:i]
}

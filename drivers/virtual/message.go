package virtual

import (
	"strings"

	"bandproof/procedures/quantity"

	"github.com/cockroachdb/apd/v3"
)

// unit is one command or question of a program message.
type unit struct {
	header string // as sent, in upper case, without "?"
	query  bool
	args   []string
}

// split cuts text at a separator that stands outside quotes and brackets. ok
// is false where a quote or bracket is left open.
func split(text string, separator byte) (parts []string, ok bool) {
	depth, quote, start := 0, byte(0), 0
	for i := range len(text) {
		switch c := text[i]; {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == '(':
			depth++
		case c == ')':
			depth--
		case c == separator && depth <= 0:
			parts = append(parts, text[start:i])
			start = i + 1
		}
	}
	return append(parts, text[start:]), quote == 0 && depth == 0
}

// units takes a program message apart. Headers without a leading colon stand
// in the subsystem of the one before (SCPI-1999 vol. 1, 6.2.4, from memory).
func units(message string) ([]unit, *scpiError) {
	parts, ok := split(message, ';')
	if !ok {
		return nil, errInvalidString
	}
	var list []unit
	path := ""
	for _, p := range parts {
		p = strings.TrimSpace(p)
		if p == "" {
			continue
		}
		end := strings.IndexAny(p, " \t")
		if end < 0 {
			end = len(p)
		}
		u := unit{header: strings.ToUpper(p[:end])}
		u.header, u.query = strings.CutSuffix(u.header, "?")
		if rest := strings.TrimSpace(p[end:]); rest != "" {
			args, _ := split(rest, ',')
			for _, a := range args {
				u.args = append(u.args, strings.TrimSpace(a))
			}
		}
		switch {
		case strings.HasPrefix(u.header, "*"):
			list = append(list, u)
			continue
		case strings.HasPrefix(u.header, ":"):
			u.header = u.header[1:]
		default:
			u.header = path + u.header
		}
		path = u.header[:strings.LastIndexByte(u.header, ':')+1]
		list = append(list, u)
	}
	return list, nil
}

// matches tells whether a header stands for a pattern such as
// "[SENSe:]FREQuency:APERture": each mnemonic in its short or long form,
// bracketed ones left out at will, a suffix 1 allowed.
func matches(pattern, header string) bool {
	return matchNodes(strings.Split(strings.ReplaceAll(strings.ReplaceAll(pattern, "[:", ":["), ":]", "]:"), ":"), strings.Split(header, ":"))
}

func matchNodes(pattern, header []string) bool {
	if len(pattern) == 0 {
		return len(header) == 0
	}
	node, optional := strings.CutPrefix(pattern[0], "[")
	node = strings.TrimSuffix(node, "]")
	if len(header) > 0 && matchNode(node, header[0]) && matchNodes(pattern[1:], header[1:]) {
		return true
	}
	return optional && matchNodes(pattern[1:], header)
}

func matchNode(node, word string) bool {
	short := strings.TrimRight(node, "abcdefghijklmnopqrstuvwxyz")
	long := strings.ToUpper(node)
	if !strings.HasPrefix(node, "*") {
		word = strings.TrimSuffix(word, "1")
	}
	return word == short || word == long
}

// Suffixes and the powers of ten that they stand for (SCPI-1999 vol. 1, 7.1,
// from memory: M is mega before HZ and milli elsewhere).
var (
	hertzSuffixes  = map[string]int32{"": 0, "HZ": 0, "KHZ": 3, "MHZ": 6, "MAHZ": 6, "GHZ": 9}
	secondSuffixes = map[string]int32{"": 0, "S": 0, "MS": -3, "US": -6, "NS": -9}
	levelSuffixes  = map[string]int32{"": 0, "DBM": 0, "DBMW": 0}
)

// numeric reads a number with an optional suffix, or MIN, MAX and DEF where
// limits are given.
func numeric[D quantity.Dimension](arg string, suffixes map[string]int32, low, high, normal quantity.Value[D]) (quantity.Value[D], *scpiError) {
	var zero quantity.Value[D]
	text := strings.ToUpper(strings.TrimSpace(arg))
	switch text {
	case "MIN", "MINIMUM":
		return low, nil
	case "MAX", "MAXIMUM":
		return high, nil
	case "DEF", "DEFAULT":
		return normal, nil
	}
	number, suffix := cutNumber(text)
	if number == "" {
		return zero, errDataType
	}
	power, known := suffixes[strings.TrimSpace(suffix)]
	if !known {
		return zero, errInvalidSuffix
	}
	d, _, err := apd.NewFromString(number)
	if err != nil || d.Form != apd.Finite {
		return zero, errNumeric
	}
	if d.NumDigits() > 60 || d.Exponent > 60 || d.Exponent < -60 {
		return zero, errExponent
	}
	d.Exponent += power
	return quantity.New[D](d), nil
}

// cutNumber separates the decimal number at the head of a text.
func cutNumber(text string) (number, rest string) {
	i := 0
	for i < len(text) && strings.IndexByte("0123456789.+-", text[i]) >= 0 {
		i++
	}
	if i > 0 && i < len(text) && text[i] == 'E' {
		j := i + 1
		if j < len(text) && (text[j] == '+' || text[j] == '-') {
			j++
		}
		digits := j
		for j < len(text) && text[j] >= '0' && text[j] <= '9' {
			j++
		}
		if j > digits && j-digits <= 5 {
			i = j
		}
	}
	return text[:i], text[i:]
}

// unquoted takes the quotes off string data; ok is false without them.
func unquoted(arg string) (text string, ok bool) {
	if len(arg) < 2 || (arg[0] != '"' && arg[0] != '\'') || arg[len(arg)-1] != arg[0] {
		return "", false
	}
	return arg[1 : len(arg)-1], true
}

package profile

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"bandproof/procedures/quantity"
)

// unitCheck tells whether a unit fits what a reply counts.
type unitCheck func(name string) error

func hertzUnit(name string) error  { return unitError[quantity.Hertz](name) }
func secondUnit(name string) error { return unitError[quantity.Second](name) }

// noUnit refuses every unit: a level is always answered in dBm.
func noUnit(name string) error {
	return fmt.Errorf("is %q; leave it out, a level is read in dBm", name)
}

func unitError[D quantity.Dimension](name string) error {
	_, err := quantity.Parse[D]("1 " + name)
	if err != nil {
		return fmt.Errorf("%s", strings.TrimPrefix(err.Error(), "not a quantity: "))
	}
	return nil
}

// reply checks how the answer to an action's query is read.
func (c *checker) reply(action, query string, r *Reply, unit unitCheck, reading bool) {
	if r == nil {
		return
	}
	at := action + ".reply"
	if query == "" {
		c.Add(at, "has no meaning without %s.query", action)
	}
	c.forms(at, r, unit, reading)
	if c.Has(at + ".unit") {
		if err := unit(r.Unit); err != nil {
			c.Add(at+".unit", "%v", err)
		}
	}
	c.shape(at, r)
	for i, s := range r.Prefix {
		c.affix(fmt.Sprintf("%s.prefix[%d]", at, i), s)
	}
	for i, s := range r.Suffix {
		c.affix(fmt.Sprintf("%s.suffix[%d]", at, i), s)
	}
	markers := map[string][]string{at + ".no_signal": r.NoSignal, at + ".over_range": r.OverRange}
	for _, key := range sortedKeys(markers) {
		if !reading && c.Has(key) {
			c.Add(key, "belongs to read.reply only: a setting is always a number")
			continue
		}
		if c.Has(key) {
			c.answers(key, markers[key])
		}
	}
}

// affix checks a prefix or suffix, which must not eat digits of the number.
func (c *checker) affix(at, text string) {
	switch {
	case strings.TrimSpace(text) == "":
		c.Add(at, "is empty; expected a text, or leave it out")
	case strings.ContainsFunc(text, isControl):
		c.Add(at, "is %q; expected printable text", text)
	case strings.ContainsFunc(text, unicode.IsDigit), strings.ContainsAny(text, "+-."):
		c.Add(at, "is %q; a digit, sign or point could be part of the number", text)
	}
}

// answers checks a list of answers of which there must be one.
func (c *checker) answers(at string, list []string) {
	if len(list) == 0 && c.Has(at) {
		c.Add(at, "is an empty list; expected at least one answer")
	}
	for i, s := range list {
		if strings.TrimSpace(s) == "" || strings.ContainsFunc(s, isControl) {
			c.Add(fmt.Sprintf("%s[%d]", at, i), "is %q; expected an answer such as \"1\"", s)
		}
	}
}

// expect checks the answers that go with a query, which need each other.
func (c *checker) expect(action, query string, list []string) {
	at := action + ".expect"
	if query != "" && !c.Has(at) {
		c.Add(action+".query", "needs %s: the answers that stand for done", at)
	}
	if query == "" && c.Has(at) {
		c.Add(at, "has no meaning without %s.query", action)
	}
	c.answers(at, list)
}

// fold makes answers comparable: SCPI mnemonics have no case, and some
// instruments put them in quotes or pad them with blanks.
func fold(answer string) string {
	return strings.ToUpper(strings.Trim(answer, " \t\"'"))
}

// sameAnswer compares two answers as words, or as whole numbers where both are.
func sameAnswer(a, b string) bool {
	a, b = fold(a), fold(b)
	if a == b {
		return true
	}
	x, errX := strconv.ParseInt(a, 10, 64)
	y, errY := strconv.ParseInt(b, 10, 64)
	return errX == nil && errY == nil && x == y
}

func isAnswer(answer string, list []string) bool {
	return slices.ContainsFunc(list, func(s string) bool { return sameAnswer(answer, s) })
}

// meaning looks an answer up in a map from answers.
func meaning(answer string, m map[string]string) (string, bool) {
	for _, key := range sortedKeys(m) {
		if sameAnswer(answer, key) {
			return m[key], true
		}
	}
	return "", false
}

func isControl(r rune) bool { return unicode.IsControl(r) }

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

func quoted(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = strconv.Quote(s)
	}
	return out
}

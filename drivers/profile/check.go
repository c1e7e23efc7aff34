package profile

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/procedures/quantity/tomlfile"
)

// checker adds to the document what its types alone cannot tell.
type checker struct {
	*tomlfile.Document
	file  *File
	gates []coded
}

// head checks what every profile has.
func (c *checker) head() {
	if c.Has("name") && !nameForm.MatchString(c.file.Name) {
		c.Add("name", "is %q; expected lower case letters, digits and single hyphens, such as \"scpi-counter\"", c.file.Name)
	}
	if c.Has("inherits") && strings.TrimSpace(c.file.Inherits) == "" {
		c.Add("inherits", "is empty; expected the name of a ready profile, or of a file beside this one")
	}
	for key, text := range map[string]string{"source": c.file.Source, "description": c.file.Description} {
		if c.Has(key) && strings.TrimSpace(text) == "" {
			c.Add(key, "is empty; it must be told")
		}
	}
}

// both checks the tables that either role may have.
func (c *checker) both() {
	f := c.file
	if f.Link != nil {
		c.link(f.Link)
	}
	if i := f.Identify; i != nil {
		c.query("identify.query", i.Query, true)
		c.positive("identify.timeout", i.Timeout)
	}
	if f.Start != nil {
		c.commands("start", f.Start.Commands, 1)
		c.notNegative("start.wait", f.Start.Wait)
	}
	if r := f.Reference; r != nil {
		c.query("reference.query", r.Query, true)
		c.wordMap("reference.map", r.Map, "own", "external")
	}
	if e := f.Errors; e != nil {
		c.query("errors.query", e.Query, true)
		if e.Bound != nil && (*e.Bound < 1 || *e.Bound > 1000) {
			c.Add("errors.bound", "is %d; expected 1 to 1000", *e.Bound)
		}
	}
}

// foreign reports the tables that belong to the other role.
func (c *checker) foreign(keys ...string) {
	other := RoleSource
	if c.file.Role == RoleSource {
		other = RoleCounter
	}
	for _, key := range keys {
		if c.Has(key) {
			c.Add(key, "belongs to a %s; this profile's role is %q", other, c.file.Role)
		}
	}
}

// need reports a table that the role must have.
func (c *checker) need(key, why string) {
	if !c.Has(key) {
		c.Add("role", "is %q, but [%s] is missing; %s", c.file.Role, key, why)
	}
}

// commands checks a list of messages of an action, of which there must be at
// least the given number.
func (c *checker) commands(action string, list []string, least int, allowed ...string) {
	at := action + ".commands"
	if len(list) < least && c.Has(at) {
		c.Add(at, "is an empty list; expected at least one message")
	}
	for i, command := range list {
		here := fmt.Sprintf("%s[%d]", at, i)
		if why := templateMistake(command, allowed); why != "" {
			c.Add(here, "%s", why)
			continue
		}
		if isQuestion(command) {
			c.Add(here, "is a question, whose answer would be taken for the next one's; put it under query")
		}
	}
}

// isQuestion tells whether a message asks for a reply: a header that ends in
// "?" (IEEE 488.2 clause 7.3.3, from memory).
func isQuestion(message string) bool {
	for part := range strings.SplitSeq(message, ";") {
		header, _, _ := strings.Cut(strings.TrimSpace(part), " ")
		if strings.HasSuffix(header, "?") {
			return true
		}
	}
	return false
}

// query checks a question; required ones that are absent were reported by
// their type already, but may be there and empty.
func (c *checker) query(at, query string, required bool, allowed ...string) {
	if query == "" && (!required || !c.Has(at)) {
		return
	}
	if why := templateMistake(query, allowed); why != "" {
		c.Add(at, "%s", why)
	}
}

// holds reports that no command of an action says the value to be set.
func (c *checker) holds(action string, list []string, any ...string) {
	for _, command := range list {
		names, err := placeholders(command)
		if err != nil {
			return // reported by commands
		}
		if slices.ContainsFunc(names, func(n string) bool { return slices.Contains(any, n) }) {
			return
		}
	}
	if len(list) > 0 {
		c.Add(action+".commands", "never says the value that is to be set; %s", knownHere(any))
	}
}

// wordMap checks that a map leads to known words only.
func (c *checker) wordMap(at string, m map[string]string, known ...string) {
	if !c.Has(at) {
		return
	}
	if len(m) == 0 {
		c.Add(at, "is empty; expected answers that stand for %s", strings.Join(known, " or "))
		return
	}
	seen := map[string]string{}
	for _, key := range sortedKeys(m) {
		if !slices.Contains(known, m[key]) {
			c.Add(at+"."+key, "leads to %q; expected %s", m[key], strings.Join(quoted(known), " or "))
		}
		if before, twice := seen[fold(key)]; twice {
			c.Add(at+"."+key, "is the same answer as %q: case, blanks and quotes do not count", before)
		}
		seen[fold(key)] = key
	}
}

func (c *checker) notNegative(at string, d *quantity.Duration) {
	if d != nil && d.Sign() < 0 {
		c.Add(at, "is %s, which is negative; expected a time such as \"100 ms\"", d)
	}
	c.bounded(at, d)
}

func (c *checker) positive(at string, d *quantity.Duration) {
	if d != nil && d.Sign() <= 0 && c.Has(at) {
		c.Add(at, "is %s; expected a time above zero", d)
	}
	c.bounded(at, d)
}

// bounded keeps times within what a night of work can mean, so that no
// deadline overflows.
func (c *checker) bounded(at string, d *quantity.Duration) {
	if d != nil && d.Cmp(longest) > 0 {
		c.Add(at, "is %s; expected at most %s", d, longest)
	}
}

// longest is the longest time that a profile may state.
var longest = quantity.Of[quantity.Second](86400, 0)

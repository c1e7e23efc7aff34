package virtual

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/procedures/quantity/tomlfile"
)

// DefaultScenarioName is the file name under which the default scenario's
// mistakes would be told.
const DefaultScenarioName = "three-input.toml"

//go:embed scenarios/three-input.toml
var defaultScenario []byte

// DefaultScenarioText returns the TOML of the default scenario.
func DefaultScenarioText() []byte { return slices.Clone(defaultScenario) }

// DefaultScenario is the three-input counter with two sources.
func DefaultScenario() (Scenario, error) {
	return LoadScenario(DefaultScenarioName, defaultScenario)
}

// LoadScenario reads a scenario and checks it. The error lists all mistakes of
// the file, each with line and key.
func LoadScenario(filename string, text []byte) (Scenario, error) {
	var s Scenario
	doc := tomlfile.Decode(filename, text, &s)
	if err := doc.Err(); err != nil {
		return s, err // what is no number can't be compared
	}
	c := checker{doc: doc, s: &s}
	c.check()
	if err := doc.Err(); err != nil {
		return s, err
	}
	if err := tryFaults(doc, s); err != nil {
		return s, err
	}
	return s, nil
}

// tryFaults lets a bench of the scenario check the faults one by one.
func tryFaults(doc *tomlfile.Document, s Scenario) error {
	faults := s.Faults
	s.Faults = nil
	b, err := New(s, Options{Clock: NewInstantClock()})
	if err != nil {
		return err
	}
	defer func() { _ = b.Close() }() // no link is open
	b.tryInside(doc)
	for i, f := range faults {
		if _, err := b.check(f); err != nil {
			doc.Add(fmt.Sprintf("fault[%d]", i), "%s: %v", f.Name, err)
		}
	}
	return doc.Err()
}

type checker struct {
	doc *tomlfile.Document
	s   *Scenario
}

func (c *checker) add(path, format string, args ...any) { c.doc.Add(path, format, args...) }

func (c *checker) check() {
	if c.s.Schema != Schema {
		c.add("schema", "is %q; expected %q", c.s.Schema, Schema)
	}
	c.references()
	c.counter("counter", &c.s.Counter)
	names := map[string]bool{c.s.Counter.Name: true}
	if len(c.s.Sources) == 0 {
		c.add("source", "is empty; a bench needs at least one source")
	}
	for i := range c.s.Sources {
		c.source(i, names)
	}
	c.aids(names)
	for i := range c.s.Wires {
		c.wire(i)
	}
}

func (c *checker) references() {
	seen := map[string]bool{ownReference: true, counterReference: true, "": true}
	for i, r := range c.s.References {
		if seen[r.Name] {
			c.add(fmt.Sprintf("reference[%d].name", i), "%q is taken; every reference needs a name of its own, other than %q and %q", r.Name, ownReference, counterReference)
		}
		seen[r.Name] = true
		c.small(fmt.Sprintf("reference[%d].offset", i), &r.Offset)
	}
}

// small checks a fractional offset: beyond 1e-2 nothing is a standard.
func (c *checker) small(path string, r *quantity.Ratio) {
	if r != nil && (r.Float() > 0.01 || r.Float() < -0.01) {
		c.add(path, "%s is too large; expected at most 1 %% either way", r)
	}
}

func (c *checker) oneOf(path, value string, allowed ...string) {
	if value != "" && !slices.Contains(allowed, value) {
		c.add(path, "is %q; expected one of %s", value, strings.Join(allowed, ", "))
	}
}

func (c *checker) hasReference(name string) bool {
	return slices.ContainsFunc(c.s.References, func(r ReferenceScenario) bool { return r.Name == name })
}

func rising[D quantity.Dimension](c *checker, path string, r [2]quantity.Value[D]) {
	if r[0].Sign() <= 0 || r[0].Cmp(r[1]) >= 0 {
		c.add(path, "[%s, %s] does not rise from above zero; expected [lowest, highest]", r[0], r[1])
	}
}

func (c *checker) link(path string, l LinkScenario) {
	c.oneOf(path+".terminator", l.Terminator, "lf", "crlf", "cr")
	c.oneOf(path+".dialect", l.Dialect, dialectSCPI, dialectLetters, dialectTalks)
	old := l.Dialect == dialectLetters || l.Dialect == dialectTalks
	if (l.Comma || l.Suppress) && !old {
		c.add(path, "has comma or suppress, which belong to the dialects %s and %s", dialectLetters, dialectTalks)
	}
	if old && l.Numbers != "" {
		c.add(path+".numbers", "has no meaning in dialect %s, whose readings have one form", l.Dialect)
	}
	if l.Dialect == dialectTalks && path != "counter.link" {
		c.add(path+".dialect", "is %q; only the counter can talk by itself", l.Dialect)
	}
	c.oneOf(path+".numbers", l.Numbers, "nr2", "nr3")
	c.oneOf(path+".while_busy", l.WhileBusy, whileBusyInterrupt, whileBusyQueue)
	for _, n := range []struct {
		key             string
		value, low, top int
	}{
		{"clients", l.Clients, 1, 1000}, {"baud", l.Baud, 50, 10_000_000},
		{"data_bits", l.DataBits, 7, 8}, {"error_queue", l.ErrorQueue, 2, 1000},
	} {
		if n.value != 0 && (n.value < n.low || n.value > n.top) {
			c.add(path+"."+n.key, "is %d; expected %d to %d", n.value, n.low, n.top)
		}
	}
	if l.TCP != "" {
		if err := checkHostPort(l.TCP); err != nil {
			c.add(path+".tcp", "%v", err)
		}
	}
}

func (c *checker) identity(path string, id Identity) {
	for key, v := range map[string]string{"maker": id.Maker, "model": id.Model, "serial": id.Serial, "firmware": id.Firmware} {
		if strings.ContainsAny(v, ",;\r\n") {
			c.add(path+"."+key, "%q holds a comma, semicolon or line end, which would break the reply to *IDN?", v)
		}
	}
}

func (c *checker) timebase(path string, t TimebaseScenario) {
	c.small(path+".offset", &t.Offset)
	c.small(path+".ageing_per_day", t.Ageing)
	c.small(path+".warm_up", t.WarmUp)
	c.small(path+".temperature_coefficient", t.Temperature)
	for key, d := range map[string]*quantity.Duration{"adjusted": t.Adjusted, "powered_for": t.PoweredFor} {
		if d != nil && d.Sign() < 0 {
			c.add(path+"."+key, "%s is negative", d)
		}
	}
	if t.WarmUpTime != nil && t.WarmUpTime.Sign() <= 0 {
		c.add(path+".warm_up_time", "%s is not above zero", t.WarmUpTime)
	}
	if t.Frequency != nil && t.Frequency.Sign() <= 0 {
		c.add(path+".frequency", "%s is not above zero", t.Frequency)
	}
}

package isolate

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/procedures/quantity/tomlfile"
)

// A model has bounds, so that a slip does not fill the memory.
const (
	mostStages      = 2000
	mostConnections = 10000
	mostPlaces      = 20_000_000 // stages × ways × test points
)

// Load reads a block model. The error, if any, is a *tomlfile.Mistakes that lists
// all that is wrong, with file, line and key.
func Load(file string, text []byte) (*Network, error) {
	m := &Model{}
	d := tomlfile.Decode(file, text, m)
	if got := d.Text("schema"); got != ModelSchema && got != "" {
		d.Only("schema", "is %q; a block model has %q", got, ModelSchema)
		return nil, d.Err()
	}
	d.PlainText()
	c := check{d, m}
	c.sizes()
	if err := d.Err(); err != nil {
		return nil, err // what follows looks things up
	}
	c.internals()
	c.stages()
	c.ways()
	c.connections()
	c.testPoints()
	if err := d.Err(); err != nil {
		return nil, err
	}
	return build(m), nil
}

// JSONSchema returns the JSON Schema of a block model's file.
func JSONSchema() ([]byte, error) {
	return tomlfile.JSONSchema(&Model{}, "urn:bandproof:block-model:1", "bandproof block model file")
}

type check struct {
	d *tomlfile.Document
	m *Model
}

func (c check) add(key, format string, args ...any) {
	if c.d.Sound(key) || !c.d.Has(key) {
		c.d.Add(key, format, args...)
	}
}

func (c check) sizes() {
	for _, x := range []struct {
		key  string
		n    int
		most int
	}{{"stage", len(c.m.Stages), mostStages}, {"connection", len(c.m.Connections), mostConnections}, {"way", len(c.m.Ways), 500},
		{"test_point", len(c.m.TestPoints), mostStages}, {"internal", len(c.m.Internals), 100}} {
		if x.n > x.most {
			c.d.Only(x.key, "has %d tables; at most %d", x.n, x.most)
		}
	}
	if n := len(c.m.Stages) * len(c.m.Ways) * (1 + len(c.m.TestPoints)); n > mostPlaces {
		c.d.Only("way", "has %d tables, with %d stages and %d test points: their product may be %d at most",
			len(c.m.Ways), len(c.m.Stages), len(c.m.TestPoints), mostPlaces)
	}
	if len(c.m.Stages) == 0 {
		c.d.Add("stage", "is missing: a block model has at least one [[stage]]")
	}
	if len(c.m.Ways) == 0 {
		c.d.Add("way", "is missing: at least one [[way]] says which input it is")
	}
	if f := c.m.Faults; f != nil && (f.Sign() <= 0 || f.Float() > 10) {
		c.add("faults", "is %s; expected above 0, to 10", f)
	}
}

var identifier = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_]*$`)

func (c check) internals() {
	names := []string{"f"}
	for k, i := range c.m.Internals {
		key := fmt.Sprintf("internal[%d]", k)
		taken := []string{"floor", "ceil", "round", "abs", "min", "max"}
		switch {
		case !identifier.MatchString(i.Name):
			c.add(key+".name", "is %q; expected letters, digits and _, to stand in an expression", i.Name)
		case slices.Contains(names, i.Name), slices.Contains(taken, i.Name):
			c.add(key+".name", "is %q, which is taken", i.Name)
		case (i.Frequency == nil) == (i.Expression == ""):
			c.add(key, "has to have a frequency or an expression, one of the two")
		case i.Frequency != nil && i.Frequency.Sign() <= 0:
			c.add(key+".frequency", "is %s; expected above 0", i.Frequency)
		case i.Expression != "":
			c.expression(key+".expression", i.Expression, names)
		}
		names = append(names, i.Name)
	}
}

func (c check) expression(key, text string, names []string) {
	if _, err := parseExpression(text, names); err != nil {
		c.add(key, "%s", strings.ReplaceAll(err.Error(), "\n", " "))
	}
}

// names of all stages.
func (c check) names() []string {
	list := make([]string, len(c.m.Stages))
	for k, s := range c.m.Stages {
		list[k] = s.Name
	}
	return list
}

// known complains of a name that is none of a list.
func (c check) known(key, name, what string, list []string) bool {
	if slices.Contains(list, name) {
		return true
	}
	few := list
	if len(few) > 40 {
		few = append(slices.Clone(few[:40]), "…")
	}
	c.add(key, "is %q, which is no %s; there are %s", name, what, strings.Join(few, ", "))
	return false
}

func (c check) distinct(what string, n int, name func(int) string) {
	at := map[string]int{}
	for k := range n {
		switch first, twice := at[name(k)]; {
		case strings.TrimSpace(name(k)) == "":
			c.add(fmt.Sprintf("%s[%d].name", what, k), "is empty")
		case twice:
			c.add(fmt.Sprintf("%s[%d].name", what, k), "is %q, as is that of %s %d", name(k), what, first+1)
		default:
			at[name(k)] = k
		}
	}
}

func (c check) stages() {
	c.distinct("stage", len(c.m.Stages), func(k int) string { return c.m.Stages[k].Name })
	var all []string
	for _, k := range kinds() {
		all = append(all, k.name)
	}
	var modes []string
	for _, m := range allModes() {
		modes = append(modes, string(m))
	}
	inputs := map[string]string{}
	for k, s := range c.m.Stages {
		key := fmt.Sprintf("stage[%d]", k)
		c.known(key+".kind", s.Kind, "kind of stage", all)
		for i, m := range s.Modes {
			c.known(key+".modes", m, "failure mode", modes)
			if slices.Index(s.Modes, m) != i {
				c.add(key+".modes", "names %q twice", m)
			}
		}
		if s.Rate != nil && (s.Rate.Sign() <= 0 || s.Rate.Float() > 1e6) {
			c.add(key+".rate", "is %s; expected above 0, to 1000000", s.Rate)
		}
		switch other, twice := inputs[s.Input]; {
		case s.Input == "" && s.Kind == "connector":
			c.add(key, "is a connector, and has to say of which input")
		case s.Input != "" && s.Kind != "connector":
			c.add(key+".input", "has its place at a connector only; what leads where is said by [[connection]] and [[way]]")
		case s.Input != "" && twice:
			c.add(key+".input", "is %q, as is that of stage %q", s.Input, other)
		case s.Input != "":
			inputs[s.Input] = s.Name
		}
	}
	if c.d.Has("reading") {
		c.known("reading", c.m.Reading, "stage", c.names())
	}
}

func (c check) ways() {
	c.distinct("way", len(c.m.Ways), func(k int) string { return c.m.Ways[k].Name })
	var inputs []string
	for _, s := range c.m.Stages {
		if s.Input != "" {
			inputs = append(inputs, s.Input)
		}
	}
	for k, w := range c.m.Ways {
		key := fmt.Sprintf("way[%d]", k)
		switch {
		case w.SelfTest && w.Input != "":
			c.add(key+".input", "has no place in the self-test")
		case w.SelfTest && (w.From != nil || w.To != nil):
			c.add(key, "is the self-test, which has no range")
		case w.SelfTest:
		case w.Input == "":
			c.add(key, "has to have an input, or self_test = true")
		default:
			c.known(key+".input", w.Input, "connector's input", inputs)
		}
		if w.From != nil && w.To != nil && w.From.Cmp(*w.To) >= 0 {
			c.add(key+".from", "is %s, which is not below %s", w.From, w.To)
		}
	}
}

func (c check) connections() {
	stages, ways, as := c.names(), []string{}, []string{"signal", "clock", "oscillator", "control"}
	for _, w := range c.m.Ways {
		ways = append(ways, w.Name)
	}
	names := []string{"f"}
	for _, i := range c.m.Internals {
		names = append(names, i.Name)
	}
	for k, x := range c.m.Connections {
		key := fmt.Sprintf("connection[%d]", k)
		c.known(key+".from", x.From, "stage", stages)
		if c.known(key+".to", x.To, "stage", stages) && x.From == x.To {
			c.add(key+".to", "is %q, where it comes from", x.To)
		}
		if x.As != "" {
			c.known(key+".as", x.As, "use of a connection", as)
		}
		for _, w := range x.Ways {
			c.known(key+".ways", w, "way", ways)
		}
		if x.Carries != "" {
			c.expression(key+".carries", x.Carries, names)
		}
		if l := x.Level; l != nil && l[0].DBm(quantity.Dbm50()) > l[1].DBm(quantity.Dbm50()) {
			c.add(key+".level", "is from %s to %s; expected the lower first", l[0], l[1])
		}
	}
}

func (c check) testPoints() {
	c.distinct("test_point", len(c.m.TestPoints), func(k int) string { return c.m.TestPoints[k].Name })
	stages := c.names()
	for k, p := range c.m.TestPoints {
		key := fmt.Sprintf("test_point[%d]", k)
		c.known(key+".after", p.After, "stage", stages)
		c.known(key+".access", p.Access, "access", accesses())
		for name, t := range map[string]*quantity.Duration{"takes": p.Takes, "needs_time": p.NeedsTime} {
			if t != nil && (t.Sign() < 0 || t.Float() > 7*86400) {
				c.add(key+"."+name, "is %s; expected from 0 to 7 d", t)
			}
		}
		if p.NeedsTime != nil && p.Needs == "" {
			c.add(key+".needs_time", "has no place without needs")
		}
	}
}

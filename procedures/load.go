package procedures

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/accuracy"
	"bandproof/procedures/quantity"
	"bandproof/procedures/quantity/tomlfile"
)

// LoadProcedure reads a procedure file whose [[measure]] tables are of the given
// kinds. The error, if any, is a *tomlfile.Mistakes that lists all that is
// wrong, with file, line and key.
func LoadProcedure(file string, text []byte, kinds ...MeasureKind) (*Procedure, error) {
	p := &Procedure{}
	d := tomlfile.Decode(file, text, p)
	c := checker{d, map[string]bool{}}
	if !c.schema(ProcedureSchema) {
		return p, d.Err()
	}
	d.PlainText()
	c.rule(p)
	c.unit(p.Unit)
	c.distinct("input", names(p.Inputs, func(i Input) string { return i.Name }))
	for k, i := range p.Inputs {
		c.input(fmt.Sprintf("input[%d]", k), i, p.Unit.Margin())
	}
	for k, s := range p.Sweeps {
		c.sweep(fmt.Sprintf("sweep[%d]", k), s, p)
	}
	c.warmUp(p)
	c.measures(p, kinds)
	return p, d.Err()
}

// checker adds what the strict reader can't see: how values stand to each other.
type checker struct {
	d *tomlfile.Document
	// sound tells of each input whether its range and impedance can be relied on,
	// so that one slip there is not complained of at each sweep.
	sound map[string]bool
}

func (c checker) add(path, format string, args ...any) { c.d.Add(path, format, args...) }

// given tells whether a key is there and readable, so that a missing or
// unreadable one is not complained of twice.
func (c checker) given(path string) bool { return c.d.Sound(path) }

// schema tells whether the file is of the kind and version wanted. Where it is
// another one, that alone is said: everything else would follow from it.
func (c checker) schema(want string) bool {
	got := c.d.Text("schema")
	if got == want || got == "" {
		return true
	}
	kind := func(s string) string { return strings.Trim(strings.TrimPrefix(s, "bandproof "), " 0123456789") }
	if strings.HasPrefix(got, "bandproof ") && kind(got) != kind(want) {
		c.d.Only("schema", "is %q: this is a %s file, and a %s file is expected here; are the files in the right order?", got, kind(got), kind(want))
		return false
	}
	c.d.Only("schema", "is %q; this program reads %q", got, want)
	return false
}

func (c checker) rule(p *Procedure) {
	c.oneOf("decision.rule", string(p.Decision.Name), "simple", "guarded", "risk")
	c.oneOf("decision.basis", string(p.Decision.Basis), "specific", "global", "closed-form")
	for _, key := range []string{"r", "false_accept", "basis", "in_tolerance"} {
		if what := p.Decision.Check()[key]; what != "" && c.given("decision."+key) {
			c.add("decision."+key, "%s", what)
		}
	}
	c.time("warm_up", p.WarmUp, "0 s", "30 d")
	for _, w := range p.Prompts.Check() {
		if c.given("prompts." + w.Key) {
			c.add("prompts."+w.Key, "%s", w.Text)
		}
	}
}

func (c checker) oneOf(path, got string, known ...string) {
	if c.given(path) && !slices.Contains(known, got) {
		c.add(path, "is %q; expected one of %s", got, strings.Join(known, ", "))
	}
}

func (c checker) unit(u Unit) {
	t := u.Timebase
	c.oneOf("unit.timebase.per", t.Per, "day", "month", "year")
	c.oneOf("unit.timebase.combine", t.Combine, "linear", "rss")
	c.time("unit.timebase.interval", t.Interval, "1 s", "36500 d")
	terms := t.Ageing != nil || t.Temperature != nil || t.Line != nil || t.WarmUp != nil
	switch {
	case !c.d.Has("unit.timebase"):
	case t.Stated == nil && !terms:
		c.add("unit.timebase", "promises nothing; give stated, or ageing, temperature, line or warm_up")
	case t.Stated != nil && terms:
		c.add("unit.timebase.stated", "stands beside single terms; give the one figure or the terms, not both")
	}
	if t.Ageing != nil && t.Per == "" && !c.d.Has("unit.timebase.per") {
		c.add("unit.timebase.ageing", "has no period; per must be day, month or year")
	}
	if t.Ageing != nil && t.Interval.Sign() <= 0 && (c.given("unit.timebase.interval") || !c.d.Has("unit.timebase.interval")) {
		c.add("unit.timebase.ageing", "needs interval, the time since adjustment it is taken over, such as \"365 d\"")
	}
	for key, r := range map[string]*quantity.Ratio{"stated": t.Stated, "ageing": t.Ageing, "temperature": t.Temperature, "line": t.Line, "warm_up": t.WarmUp} {
		if r != nil && (r.Sign() < 0 || r.Float() > 0.01) {
			c.add("unit.timebase."+key, "is %s; expected between 0 and 1 %%", r)
		}
	}
	if u.DamageMargin != nil && u.DamageMargin.Sign() < 0 {
		c.add("unit.damage_margin", "is %s; a margin can't be negative", u.DamageMargin)
	}
}

// time checks a duration that must lie between two others.
func (c checker) time(path string, d quantity.Duration, least, most string) {
	low, high := quantity.MustParse[quantity.Second](least), quantity.MustParse[quantity.Second](most)
	if c.given(path) && (d.Cmp(low) < 0 || d.Cmp(high) > 0) {
		c.add(path, "is %s; expected %s to %s", d, low, high)
	}
}

// span checks a [lowest, highest] pair and tells whether it is sound.
func (c checker) span(path string, low, high quantity.Frequency) bool {
	if !c.given(path) {
		return false
	}
	switch {
	case low.Sign() <= 0:
		c.add(path, "begins at %s; a frequency must be above zero", low)
	case low.Cmp(high) >= 0:
		c.add(path, "is reversed: %s is not below %s; write [lowest, highest]", low, high)
	default:
		return true
	}
	return false
}

func (c checker) input(path string, i Input, margin float64) {
	sound := c.span(path+".range", i.Range[0], i.Range[1])
	if c.given(path+".impedance") && i.Impedance.Sign() <= 0 {
		c.add(path+".impedance", "is %s; expected above zero", i.Impedance)
	}
	levels := c.given(path+".impedance") && c.given(path+".damage") // else levels can't be compared
	c.sound[i.Name] = sound && levels
	if levels && c.given(path+".maximum") && i.Maximum.DBm(i.Impedance) > i.Damage.DBm(i.Impedance) {
		c.add(path+".maximum", "is %s, above the damage level %s", *i.Maximum, i.Damage)
	}
	c.dBc(path+".harmonics_at_most", i.HarmonicsMost)
	c.dBc(path+".subharmonics_at_most", i.SubharmonicsMost)
	for k, x := range i.Crossovers {
		at := fmt.Sprintf("%s.crossovers[%d]", path, k)
		if sound && c.given(at) && !inside(x, i.Range) {
			c.add(at, "is %s, outside the range %s to %s", x, i.Range[0], i.Range[1])
		}
	}
	if o := i.CrossoverOffset; c.given(path+".crossover_offset") && (o.Sign() <= 0 || o.Float() > 0.5) {
		c.add(path+".crossover_offset", "is %s; expected above 0 and at most 50 %%", o)
	}
	c.match(path, i)
	c.sensitivity(path, i, sound, levels, margin)
	c.accuracy(path+".accuracy", i)
}

func inside(f quantity.Frequency, r [2]quantity.Frequency) bool {
	return f.Cmp(r[0]) >= 0 && f.Cmp(r[1]) <= 0
}

func (c checker) sensitivity(path string, i Input, sound, levels bool, margin float64) {
	for k, s := range i.Sensitivity {
		at := fmt.Sprintf("%s.sensitivity[%d]", path, k)
		if !c.given(at+".from") || !c.given(at+".to") {
			continue
		}
		if s.From.Cmp(s.To) >= 0 {
			c.add(at+".from", "is reversed: %s is not below %s", s.From, s.To)
			continue
		}
		if sound && (!inside(s.From, i.Range) || !inside(s.To, i.Range)) {
			c.add(at, "%s to %s reaches outside the input's range %s to %s", s.From, s.To, i.Range[0], i.Range[1])
		}
		if levels && c.given(at+".level") && s.Level.DBm(i.Impedance) > i.Damage.DBm(i.Impedance)-margin {
			c.add(at+".level", "is %s; at most the damage level %s less the margin of %g dB", s.Level, i.Damage, margin)
		}
		for m, o := range i.Sensitivity[:k] {
			if s.From.Cmp(o.To) < 0 && o.From.Cmp(s.To) < 0 {
				c.add(at, "%s to %s overlaps sub-range %d (%s to %s); one frequency can have one sensitivity only", s.From, s.To, m+1, o.From, o.To)
			}
		}
	}
}

func (c checker) accuracy(path string, i Input) {
	a := i.Accuracy
	c.figures(path, a.Figures)
	for k, p := range a.Pieces {
		at := fmt.Sprintf("%s.piece[%d]", path, k)
		c.figures(at, p.Figures)
		if !c.given(at+".from") || !c.given(at+".to") {
			continue
		}
		if p.From.Cmp(p.To) >= 0 {
			c.add(at+".from", "is reversed: %s is not below %s", p.From, p.To)
		}
		for m, o := range a.Pieces[:k] {
			if p.From.Cmp(o.To) < 0 && o.From.Cmp(p.To) < 0 {
				c.add(at, "%s to %s overlaps piece %d (%s to %s)", p.From, p.To, m+1, o.From, o.To)
			}
		}
	}
	for k, r := range a.Residuals {
		at := fmt.Sprintf("%s.residual[%d]", path, k)
		if c.given(at+".from") && c.given(at+".to") && r.From.Cmp(r.To) >= 0 {
			c.add(at+".from", "is reversed: %s is not below %s", r.From, r.To)
		}
		if r.Error.Sign() < 0 {
			c.add(at+".error", "is %s; expected at least zero", r.Error)
		}
	}
}

// figures checks how an input counts within a range.
func (c checker) figures(path string, a accuracy.Figures) {
	if !c.given(path + ".kind") {
		return
	}
	known := make([]string, 0, 4)
	for _, k := range accuracy.Kinds() {
		known = append(known, string(k))
	}
	c.oneOf(path+".kind", string(a.Kind), known...)
	// Each key that belongs to one kind must stand there, and nowhere else.
	for _, x := range []struct {
		key      string
		kind     accuracy.Kind
		required bool
	}{{"prescale", accuracy.Prescaled, true}, {"gate_lengthened", accuracy.Prescaled, false}, {"time_resolution", accuracy.Reciprocal, true}, {"harmonic", accuracy.Converted, false}} {
		at := path + "." + x.key
		switch {
		case c.d.Has(at) && a.Kind != x.kind:
			c.add(at, "belongs to kind %q, not to %q", x.kind, a.Kind)
		case !c.d.Has(at) && a.Kind == x.kind && x.required:
			c.add(at, "is missing; kind %q needs it", x.kind)
		}
	}
	for key, n := range map[string]int{"counts": a.Counts, "prescale": a.Prescale, "harmonic": a.Harmonic} {
		if c.given(path+"."+key) && n < 1 {
			c.add(path+"."+key, "is %d; expected at least 1", n)
		}
	}
	c.time(path+".time_resolution", a.TimeResolution, "1e-15 s", "1 s")
	if c.given(path+".trigger_noise") && a.TriggerNoise.Sign() <= 0 {
		c.add(path+".trigger_noise", "is %s; expected above zero", a.TriggerNoise)
	}
	if c.d.Has(path+".trigger") && c.d.Has(path+".trigger_noise") {
		c.add(path+".trigger", "stands beside trigger_noise; give one of them")
	}
}

func (c checker) sweep(path string, s Sweep, p *Procedure) {
	i, ok := p.Input(s.Input)
	if !ok {
		if c.given(path + ".input") {
			c.add(path+".input", "is %q, which is not an input of the unit; inputs are %s", s.Input, strings.Join(names(p.Inputs, func(i Input) string { return i.Name }), ", "))
		}
		return
	}
	c.checkGate(path, s)
	c.checkEarlyStop(path+".early_stop", s.EarlyStop)
	for key, n := range map[string]int{"readings": s.Readings, "per_decade": s.PerDecade, "per_octave": s.PerOctave} {
		if c.given(path+"."+key) && (n < 1 || n > 1000) {
			c.add(path+"."+key, "is %d; expected 1 to 1000", n)
		}
	}
	if s.Step != nil && s.Step.Sign() <= 0 {
		c.add(path+".step", "is %s; expected above zero", s.Step)
	}
	c.sweepRange(path, s, i)
	c.sweepLevel(path, s, i, p.Unit.Margin())
}

func (c checker) sweepRange(path string, s Sweep, i Input) {
	if !c.sound[i.Name] {
		return
	}
	low, high := s.edges(i)
	outside := func(key string, f quantity.Frequency) {
		if c.given(path+"."+key) && !inside(f, i.Range) {
			c.add(path+"."+key, "is %s, outside the range of input %s (%s to %s)", f, i.Name, i.Range[0], i.Range[1])
		}
	}
	if s.From != nil {
		outside("from", *s.From)
	}
	if s.To != nil {
		outside("to", *s.To)
	}
	for k, f := range s.Points {
		outside(fmt.Sprintf("points[%d]", k), f)
	}
	readable := (s.From == nil || c.given(path+".from")) && (s.To == nil || c.given(path+".to"))
	if readable && low.Cmp(high) >= 0 {
		c.add(path, "is reversed: from %s is not below to %s", low, high)
	}
}

func (c checker) sweepLevel(path string, s Sweep, i Input, margin float64) {
	if s.Level != nil && s.AboveSensitivity != nil {
		c.add(path+".level", "stands beside above_sensitivity; give one of them")
	}
	if c.sound[i.Name] && c.given(path+".level") && s.Level.DBm(i.Impedance) > i.Damage.DBm(i.Impedance)-margin {
		c.add(path+".level", "is %s; input %s is destroyed at %s, and the margin is %g dB", *s.Level, i.Name, i.Damage, margin)
	}
	if c.given(path+".above_sensitivity") && s.AboveSensitivity.Sign() < 0 {
		c.add(path+".above_sensitivity", "is %s; expected at least 0 dB", s.AboveSensitivity)
	}
}

// distinct complains of names that are empty or stand twice.
func (c checker) distinct(path string, list []string) {
	for k, name := range list {
		at := fmt.Sprintf("%s[%d].name", path, k)
		if name == "" && c.given(at) {
			c.add(at, "is empty")
		}
		if name != "" && slices.Contains(list[:k], name) {
			c.add(at, "%q stands twice; each needs a name of its own", name)
		}
	}
}

func names[T any](list []T, of func(T) string) []string {
	out := make([]string, len(list))
	for k, x := range list {
		out[k] = of(x)
	}
	return out
}

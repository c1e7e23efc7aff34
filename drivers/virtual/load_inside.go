package virtual

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/quantity/tomlfile"
)

// inside checks the stages and test points of the unit; a monitor has none.
func (c *checker) inside(at string, u *CounterScenario) {
	if at != "counter" && len(u.Stages)+len(u.TestPoints) > 0 {
		c.add(at, "has stages or test points; only the counter has")
		return
	}
	one := map[string]int{}
	for i := range u.Stages {
		path := fmt.Sprintf("%s.stage[%d]", at, i)
		s := &u.Stages[i]
		if s.Name == "" || stageIn(u.Stages[:i], s.Name) != nil || strings.ContainsAny(s.Name, ",=") {
			c.add(path+".name", "%q is empty, taken, or holds a comma or an equals sign", s.Name)
		}
		c.oneOf(path+".kind", first(s.Kind, " "), stageKindNames...)
		c.stageKeys(path, s)
		c.stageFeeds(path, u, i)
		c.stageValues(path, u, s)
		one[s.Kind]++
		if s.Kind == kindOscillator && len(s.FedBy) == 0 {
			one["timebase"]++
		}
	}
	for _, kind := range []string{"timebase", kindGate, kindGateControl, kindChain, kindRegister} {
		if n := one[kind]; len(u.Stages) > 0 && n != 1 {
			c.add(at+".stage", "has %d of %s; there must be one (the timebase is the oscillator that nothing feeds)", n, kind)
		}
	}
	seen := map[string]bool{"": true}
	for i, p := range u.TestPoints {
		path := fmt.Sprintf("%s.test_point[%d]", at, i)
		if seen[p.Name] {
			c.add(path+".name", "%q is empty or taken", p.Name)
		}
		seen[p.Name] = true
		if stageIn(u.Stages, p.Stage) == nil {
			c.add(path+".stage", "there is no stage %q", p.Stage)
		}
	}
}

func stageIn(list []StageScenario, name string) *StageScenario {
	i := slices.IndexFunc(list, func(s StageScenario) bool { return s.Name == name })
	if i < 0 {
		return nil
	}
	return &list[i]
}

// stageKeys checks which keys a kind of stage has.
func (c *checker) stageKeys(path string, s *StageScenario) {
	for _, k := range []struct {
		key        string
		has, needs bool
		of         []string
	}{
		{"value", len(s.Values) > 0, true, []string{kindControl}},
		{"control", s.Control != "", true, []string{kindSwitch, kindGate}},
		{"oscillator", s.Oscillator != "", true, []string{kindMixer}},
		{"frequency", s.Frequency != nil, true, []string{kindOscillator}},
		{"ratio", s.Ratio != 0, true, []string{kindDivider}},
		{"harmonics_for", s.Harmonics != "", true, []string{kindMultiplier}},
		{"limiting", s.Limiting, false, []string{kindAmplifier}},
		{"ways", len(s.Ways) > 0, false, []string{kindSwitch}},
		{"range", s.Range != nil, s.Kind == kindFilter, nil},
	} {
		of := k.of == nil || slices.Contains(k.of, s.Kind)
		switch {
		case k.has && !of:
			c.add(path+"."+k.key, "is for %s only; this is %q", strings.Join(k.of, ", "), s.Kind)
		case !k.has && of && k.needs:
			c.add(path+"."+k.key, "is missing; a stage of kind %q needs it", s.Kind)
		}
	}
	if s.Range != nil {
		rising(c, path+".range", *s.Range)
	}
	if s.Frequency != nil && s.Frequency.Sign() <= 0 {
		c.add(path+".frequency", "%s is not above zero", s.Frequency)
	}
	if s.Ratio < 0 || s.Ratio > 1e6 {
		c.add(path+".ratio", "is %d; expected 1 to 1000000", s.Ratio)
	}
}

// stageFeeds checks what a stage is connected to.
func (c *checker) stageFeeds(path string, u *CounterScenario, i int) {
	s, above := &u.Stages[i], u.Stages[:i]
	sources := len(s.FedBy)
	if s.Input != "" {
		sources++
		if !hasInput(u, s.Input) {
			c.add(path+".input", "there is no input %q", s.Input)
		}
	}
	switch several := len(s.Ways) > 0 || s.Kind == kindMixer; {
	case s.Kind == kindControl && sources > 0:
		c.add(path, "has input or fed_by; the unit's logic sets a control line, by its values")
	case sources == 0 && s.Kind != kindControl && s.Kind != kindOscillator:
		c.add(path, "has neither input nor fed_by; something must feed it")
	case s.Input != "" && sources > 1 || sources > 1 && !several:
		c.add(path+".fed_by", "names %d; one stage or one input feeds a stage of kind %q (a switch says by ways which of several)", sources, s.Kind)
	}
	for k, name := range s.FedBy {
		at := fmt.Sprintf("%s.fed_by[%d]", path, k)
		switch from := stageIn(above, name); {
		case from == nil:
			c.add(at, "no stage %q stands above this one", name)
		case from.Kind == kindControl:
			c.add(at, "%q is a control line, which feeds nothing; name it in control", name)
		}
	}
	c.drives(path+".control", above, s.Control, map[string]string{kindSwitch: kindControl, kindGate: kindGateControl}[s.Kind])
	if s.Kind == kindMixer && s.Oscillator != "" && stageIn(above, s.Oscillator) == nil {
		c.add(path+".oscillator", "no stage %q stands above this one", s.Oscillator)
	}
	if s.Harmonics != "" && !slices.ContainsFunc(u.Inputs, func(in InputScenario) bool { return in.Name == s.Harmonics && in.Kind == DownConverted }) {
		c.add(path+".harmonics_for", "there is no input %q of kind %q", s.Harmonics, DownConverted)
	}
	c.stageWays(path, above, s)
}

// drives checks the stage that drives a switch or a gate.
func (c *checker) drives(path string, above []StageScenario, name, kind string) {
	if name == "" || kind == "" {
		return
	}
	if by := stageIn(above, name); by == nil || by.Kind != kind {
		c.add(path, "no %s %q stands above this one", kind, name)
	}
}

// stageWays checks the ways of switches.
func (c *checker) stageWays(path string, above []StageScenario, s *StageScenario) {
	if len(s.Ways) > 0 && len(s.Ways) != len(s.FedBy) {
		c.add(path+".ways", "has %d values for %d stages in fed_by; expected one for each", len(s.Ways), len(s.FedBy))
	}
	if by := stageIn(above, s.Control); by != nil {
		for k, way := range s.Ways {
			c.isValue(fmt.Sprintf("%s.ways[%d]", path, k), by, way)
		}
	}
	if s.Way == "" {
		return
	}
	if len(s.FedBy) != 1 || stageIn(above, s.FedBy[0]) == nil || stageIn(above, s.FedBy[0]).Kind != kindSwitch {
		c.add(path+".way", "has a meaning only where one switch feeds the stage")
	} else if by := stageIn(above, stageIn(above, s.FedBy[0]).Control); by != nil {
		c.isValue(path+".way", by, s.Way)
	}
}

func (c *checker) isValue(path string, line *StageScenario, value string) {
	if !slices.ContainsFunc(line.Values, func(v ValueScenario) bool { return v.Value == value }) {
		c.add(path, "control line %q has no value %q", line.Name, value)
	}
}

// stageValues checks the values of a control line.
func (c *checker) stageValues(path string, u *CounterScenario, s *StageScenario) {
	seen := map[string]bool{"": true}
	for k, v := range s.Values {
		at := fmt.Sprintf("%s.value[%d]", path, k)
		if seen[v.Value] {
			c.add(at+".value", "%q is empty or taken", v.Value)
		}
		seen[v.Value] = true
		if v.Test == (v.Input != "") || v.Test && v.Range != nil {
			c.add(at, "needs input, with range or without, or self_test")
		}
		if v.Input != "" && !hasInput(u, v.Input) {
			c.add(at+".input", "there is no input %q", v.Input)
		}
		if v.Range != nil {
			rising(c, at+".range", *v.Range)
		}
	}
}

func hasInput(u *CounterScenario, name string) bool {
	return slices.ContainsFunc(u.Inputs, func(in InputScenario) bool { return in.Name == name })
}

// tryInside lets a signal pass from each input, at the ends of its range and of
// the ranges of control lines, and wants it at the reply as that kind of input
// counts it.
func (b *Bench) tryInside(doc *tomlfile.Document) {
	c := b.counter
	if c.inside == nil {
		return
	}
	for i, in := range c.inputs {
		for _, f := range c.inside.edges(in) {
			w := c.walk(gateMods{}, in, draw{})
			w.shows = func(*fault) bool { return false }
			w.sees = func(x *input) signal { return signal{present: x == in, f: f, set: f, level: in.max} }
			x := w.run().out()
			want := in.counts(f, w.ownY())
			switch {
			case !x.on || x.origin != in.sc.Name:
				doc.Add("counter.stage", "a signal of %s at input %q does not get to the reply; follow fed_by and ways", hertzText(f), in.sc.Name)
			case x.nominal < want*(1-1e-9)-1e-3 || x.nominal > want*(1+1e-9)+1e-3:
				doc.Add(fmt.Sprintf("counter.input[%d].kind", i), "by the stages a signal of %s is counted as %s, by the kind of the input as %s",
					hertzText(f), hertzText(x.nominal), hertzText(want))
			default:
				continue
			}
			return
		}
	}
}

// edges are the frequencies at which an input's way may change.
func (n *inside) edges(in *input) []float64 {
	low, high := in.sc.Range[0].Float(), in.sc.Range[1].Float()
	list := []float64{low, high}
	for _, s := range n.stages {
		for _, v := range s.sc.Values {
			if v.Range == nil || v.Input != in.sc.Name {
				continue
			}
			for _, f := range []float64{v.Range[0].Float() * 1.001, v.Range[1].Float() * 0.999} {
				if f > low && f < high {
					list = append(list, f)
				}
			}
		}
	}
	return list
}

// counts is the frequency that an input of its kind counts, with a timebase
// that is off by y.
func (in *input) counts(f, y float64) float64 {
	switch in.sc.Kind {
	case Prescaled:
		return f / float64(in.sc.Prescale)
	case DownConverted:
		return f - in.harmonic(f)*in.sc.Oscillator.Float()*(1+y)
	}
	return f
}

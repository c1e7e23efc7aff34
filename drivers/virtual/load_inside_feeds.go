package virtual

import (
	"fmt"
	"slices"
)

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

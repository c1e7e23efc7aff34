package virtual

import (
	"fmt"
	"slices"
	"strings"
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

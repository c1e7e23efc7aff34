package virtual

import (
	"fmt"
	"slices"

	"bandproof/procedures/quantity"
)

// aids checks what stands beside the unit and its sources.
func (c *checker) aids(names map[string]bool) {
	own := func(path, name string, l LinkScenario, id Identity) {
		if names[name] || name == "" {
			c.add(path+".name", "%q is empty or taken", name)
		}
		names[name] = true
		c.link(path+".link", l)
		c.identity(path+".identity", id)
	}
	for i, s := range c.s.Switches {
		path := fmt.Sprintf("switch[%d]", i)
		own(path, s.Name, s.Link, s.Identity)
		if s.Positions < 1 || s.Positions > 100 {
			c.add(path+".positions", "is %d; expected 1 to 100", s.Positions)
		}
	}
	for i, m := range c.s.PowerMeters {
		path := fmt.Sprintf("power_meter[%d]", i)
		own(path, m.Name, m.Link, m.Identity)
		if !slices.ContainsFunc(c.s.Counter.Inputs, func(in InputScenario) bool { return in.Name == m.Input }) {
			c.add(path+".input", "there is no input %q", m.Input)
		}
		c.losses(path+".coupling", m.Coupling)
		rising(c, path+".range", m.Range)
		if err := levels(m.Level); err != nil {
			c.add(path+".level", "%v", err)
		}
		if m.Error != nil && m.Error.Sign() < 0 {
			c.add(path+".error", "%s is negative", m.Error)
		}
	}
	for i, t := range c.s.Thermometers {
		own(fmt.Sprintf("thermometer[%d]", i), t.Name, t.Link, t.Identity)
	}
	if h := c.s.Humidity; h != nil && (h.Sign() < 0 || h.Cmp(quantity.Of[quantity.One](1, 0)) > 0) {
		c.add("humidity", "%s is not between 0 and 100 %%", h)
	}
	if m := c.s.Monitor; m != nil {
		c.counter("monitor", &m.CounterScenario)
		if names[m.Name] {
			c.add("monitor.name", "%q is taken", m.Name)
		}
		names[m.Name] = true
		if !slices.ContainsFunc(c.s.Sources, func(s SourceScenario) bool { return s.Name == m.Source }) {
			c.add("monitor.source", "there is no source %q", m.Source)
		}
		c.losses("monitor.splitter_loss", m.Loss)
		if t := m.Timebase; t != nil && !slices.ContainsFunc(m.Inputs, func(in InputScenario) bool { return in.Name == t.Input }) {
			c.add("monitor.timebase_output.input", "the monitor has no input %q", t.Input)
		}
	}
}

// losses checks a table of losses.
func (c *checker) losses(path string, list []LossScenario) {
	if len(list) == 0 {
		c.add(path, "is empty; give at least one entry such as [\"100 MHz\", \"0.4 dB\"]")
	}
	for j, l := range list {
		at := fmt.Sprintf("%s[%d]", path, j)
		if l.At.Sign() <= 0 || j > 0 && l.At.Cmp(list[j-1].At) <= 0 {
			c.add(at, "%s is not above zero and the entry before", l.At)
		}
		if l.Loss.Sign() < 0 {
			c.add(at, "%s is a gain; losses are not negative", l.Loss)
		}
	}
}

// routed checks the switch of a wire.
func (c *checker) routed(path string, w *WireScenario) {
	if w.Switch == "" {
		if w.Position != 0 {
			c.add(path+".position", "has no meaning without switch")
		}
		return
	}
	i := slices.IndexFunc(c.s.Switches, func(s SwitchScenario) bool { return s.Name == w.Switch })
	switch {
	case i < 0:
		c.add(path+".switch", "there is no switch %q", w.Switch)
	case w.Position < 1 || w.Position > c.s.Switches[i].Positions:
		c.add(path+".position", "is %d; switch %q has 1 to %d", w.Position, w.Switch, c.s.Switches[i].Positions)
	}
}

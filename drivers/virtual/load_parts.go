package virtual

import (
	"errors"
	"fmt"
	"net"
	"strconv"

	"bandproof/procedures/quantity"
)

// checkHostPort checks a TCP address of the form host:port.
func checkHostPort(address string) error {
	_, port, err := net.SplitHostPort(address)
	if err != nil {
		return fmt.Errorf("%q is no address; expected host:port such as 127.0.0.1:5025", address)
	}
	if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		return fmt.Errorf("%q has no port between 0 and 65535", address)
	}
	return nil
}

// counter checks the unit, or a monitor.
func (c *checker) counter(at string, u *CounterScenario) {
	if u.Name == "" {
		c.add(at+".name", "is empty")
	}
	c.link(at+".link", u.Link)
	c.identity(at+".identity", u.Identity)
	c.timebase(at+".timebase", u.Timebase)
	c.oneOf(at+".reference", u.Reference, ownReference, externalReference, autoReference)
	c.oneOf(at+".no_signal", u.NoSignal, noSignalZero, noSignalNaN, noSignalTimeout)
	if u.External != "" && !c.hasReference(u.External) {
		c.add(at+".external", "there is no reference %q", u.External)
	}
	if u.Reference == externalReference && u.External == "" {
		c.add(at+".reference", "is external, but nothing is plugged in; name a reference in external")
	}
	rising(c, at+".gate", u.Gate)
	if u.DefaultGate.Cmp(u.Gate[0]) < 0 || u.DefaultGate.Cmp(u.Gate[1]) > 0 {
		c.add(at+".default_gate", "%s lies outside gate [%s, %s]", u.DefaultGate, u.Gate[0], u.Gate[1])
	}
	if len(u.Inputs) == 0 {
		c.add(at+".input", "is empty; a counter needs at least one input")
	}
	names, channels := map[string]bool{}, map[int]bool{}
	for i, in := range u.Inputs {
		path := fmt.Sprintf("%s.input[%d]", at, i)
		if names[in.Name] || in.Name == "" {
			c.add(path+".name", "%q is empty or taken", in.Name)
		}
		if channels[in.Channel] || in.Channel < 1 {
			c.add(path+".channel", "%d is below 1 or taken", in.Channel)
		}
		names[in.Name], channels[in.Channel] = true, true
		c.input(path, in)
	}
	c.inside(at, u)
}

func (c *checker) input(path string, in InputScenario) {
	rising(c, path+".range", in.Range)
	c.oneOf(path+".kind", first(in.Kind, " "), Direct, Prescaled, Reciprocal, DownConverted)
	needs := func(kind, key string, has, good bool) {
		switch {
		case in.Kind == kind && !has:
			c.add(path+"."+key, "is missing; an input of kind %q needs it", kind)
		case in.Kind != kind && has:
			c.add(path+"."+key, "is for kind %q only; this input is %q", kind, in.Kind)
		case has && !good:
			c.add(path+"."+key, "is not above zero")
		}
	}
	needs(Prescaled, "prescale", in.Prescale != 0, in.Prescale > 0)
	needs(Reciprocal, "time_resolution", in.TimeResolution != nil, in.TimeResolution != nil && in.TimeResolution.Sign() > 0)
	needs(DownConverted, "local_oscillator", in.Oscillator != nil, in.Oscillator != nil && in.Oscillator.Sign() > 0)
	if in.GateLengthened && in.Kind != Prescaled {
		c.add(path+".gate_lengthened", "is for kind %q only", Prescaled)
	}
	if (in.LowestIF != nil || in.OwnOscillator != nil) && in.Kind != DownConverted {
		c.add(path, "lowest_if and oscillator_offset are for kind %q only", DownConverted)
	}
	c.small(path+".oscillator_offset", in.OwnOscillator)
	if in.Impedance.Sign() <= 0 {
		c.add(path+".impedance", "%s is not above zero", in.Impedance)
	}
	if in.Capacitance != nil && in.Capacitance.Sign() < 0 {
		c.add(path+".capacitance", "%s is negative", in.Capacitance)
	}
	if len(in.Sensitivity) == 0 {
		c.add(path+".sensitivity", "is empty; the input would count nothing")
	}
	for i, x := range in.Sensitivity {
		rising(c, fmt.Sprintf("%s.sensitivity[%d].range", path, i), x.Range)
	}
	if in.Window != nil && in.Window.Sign() <= 0 {
		c.add(path+".miscount_window", "%s is not above zero", in.Window)
	}
	r := quantity.Dbm50()
	if in.Max.DBm(r) > in.Damage.DBm(r) {
		c.add(path+".max", "%s lies above damage %s", in.Max, in.Damage)
	}
}

func (c *checker) source(i int, names map[string]bool) {
	s := &c.s.Sources[i]
	path := fmt.Sprintf("source[%d]", i)
	if names[s.Name] || s.Name == "" {
		c.add(path+".name", "%q is empty or taken", s.Name)
	}
	names[s.Name] = true
	c.link(path+".link", s.Link)
	c.identity(path+".identity", s.Identity)
	c.timebase(path+".timebase", s.Timebase)
	if r := s.Reference; r != "" && r != ownReference && r != counterReference && !c.hasReference(r) {
		c.add(path+".reference", "there is no reference %q; expected %s, %s or the name of one", r, ownReference, counterReference)
	}
	rising(c, path+".range", s.Range)
	if err := levels(s.Level); err != nil {
		c.add(path+".level", "%v", err)
	}
	if s.Resolution.Sign() <= 0 {
		c.add(path+".frequency_resolution", "%s is not above zero", s.Resolution)
	}
	if s.LevelStep.Sign() <= 0 {
		c.add(path+".level_resolution", "%s is not above zero", s.LevelStep)
	}
	if s.Settle.Sign() < 0 {
		c.add(path+".settle", "%s is negative", s.Settle)
	}
	for key, g := range map[string]*quantity.Gain{"level_error": s.LevelError, "transient": s.Transient} {
		if g != nil && g.Sign() < 0 {
			c.add(path+"."+key, "%s is negative", g)
		}
	}
	for j, l := range s.LockFails {
		at := fmt.Sprintf("%s.lock_failure[%d]", path, j)
		rising(c, at+".range", l.Range)
		if l.Tries < 0 || l.Tries > 0 && l.Probability != nil {
			c.add(at+".tries", "is negative, or stands beside probability; give one of the two or none")
		}
		if p := l.Probability; p != nil && (p.Sign() < 0 || p.Float() > 1) {
			c.add(at+".probability", "%s is not between 0 and 1", p)
		}
	}
}

func levels(l [2]quantity.Level) error {
	r := quantity.Dbm50()
	if l[0].IsVoltage() || l[1].IsVoltage() {
		return errors.New("is a voltage; a source's levels are in dBm into 50 Ω")
	}
	if l[0].DBm(r) >= l[1].DBm(r) {
		return fmt.Errorf("[%s, %s] does not rise; expected [lowest, highest]", l[0], l[1])
	}
	return nil
}

func (c *checker) wire(i int) {
	w := &c.s.Wires[i]
	path := fmt.Sprintf("wire[%d]", i)
	source, input := false, false
	for _, s := range c.s.Sources {
		source = source || s.Name == w.Source
	}
	for _, in := range c.s.Counter.Inputs {
		input = input || in.Name == w.Input
	}
	if !source {
		c.add(path+".source", "there is no source %q", w.Source)
	}
	if !input {
		c.add(path+".input", "there is no input %q", w.Input)
	}
	for _, other := range c.s.Wires[:i] {
		if other.Source == w.Source && other.Input == w.Input {
			c.add(path, "there is a wire from %q to %q already", w.Source, w.Input)
		}
	}
	c.losses(path+".loss", w.Loss)
	c.routed(path, w)
	if w.Pad != nil && w.Pad.Sign() < 0 {
		c.add(path+".pad", "%s is a gain; losses are not negative", w.Pad)
	}
}

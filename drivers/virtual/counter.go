package virtual

import (
	"strconv"
	"strings"
	"time"

	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"
)

// counter is the model of the unit and the state of its front panel.
type counter struct {
	b        *Bench
	sc       CounterScenario
	status   status
	timebase *timebase
	inputs   []*input
	external string  // reference plugged in
	tap      *tap    // of a monitor; nil for the unit
	inside   *inside // nil where the scenario states no stages

	selected  int // index into inputs
	gate      quantity.Duration
	reference string // own, external or auto

	run      *gateRun // the open gate, or nil
	last     string   // reply of the last complete reading, "" once it is stale
	display  string   // last number counted, which a held reading shows
	ordinals map[string]int
}

// The choices of the counter's reference, and how it shows a missing signal.
const (
	autoReference     = "auto"
	externalReference = "external"

	noSignalZero    = "zero"
	noSignalNaN     = "nan"
	noSignalTimeout = "timeout"
)

// Replies that stand for no number (SCPI-1999 vol. 1, 7.2.1.4 and 7.2.1.5).
const (
	replyOver = "9.9E37"
	replyNaN  = "9.91E37"
)

func newCounter(b *Bench, sc CounterScenario) *counter {
	c := &counter{b: b, sc: sc, timebase: newTimebase(sc.Timebase), external: sc.External, ordinals: map[string]int{}}
	c.reference = first(sc.Reference, ownReference)
	c.status = status{size: sc.Link.ErrorQueue, esr: scpi.PowerOn}
	for _, x := range sc.Inputs {
		c.inputs = append(c.inputs, newInput(x))
	}
	c.inside = newInside(c)
	c.preset()
	return c
}

// preset is the state after *RST; the reference stays as it is.
func (c *counter) preset() {
	c.abort()
	c.selected, c.gate, c.last, c.display = 0, c.sc.DefaultGate, "", ""
}

func (c *counter) inputNamed(name string) *input {
	for _, in := range c.inputs {
		if in.sc.Name == name {
			return in
		}
	}
	return nil
}

func (c *counter) inputNames() string {
	names := make([]string, len(c.inputs))
	for i, in := range c.inputs {
		names[i] = in.sc.Name
	}
	return strings.Join(names, ", ")
}

// selectChannel returns false where there is no such channel. A choice makes
// the last reading stale, and stops a gate.
func (c *counter) selectChannel(channel int) bool {
	for i, in := range c.inputs {
		if in.sc.Channel == channel {
			c.abort()
			c.b.change(func() { c.selected, c.last = i, "" })
			return true
		}
	}
	return false
}

func (c *counter) channel() int { return c.inputs[c.selected].sc.Channel }

// setGate returns false where the gate is out of range.
func (c *counter) setGate(g quantity.Duration) bool {
	if g.Cmp(c.sc.Gate[0]) < 0 || g.Cmp(c.sc.Gate[1]) > 0 {
		return false
	}
	c.abort()
	c.gate, c.last = g, ""
	return true
}

// inUse is the reference that the counter runs from: own, or the name of the
// one that is plugged in, with what faults make of it.
func (c *counter) inUse(m gateMods) string {
	if c.reference == ownReference || c.external == "" || m.noExternal {
		return ownReference
	}
	return c.external
}

// reports is the reference in use as the counter says when it is asked between
// gates.
func (c *counter) reports() string {
	return c.inUse(c.b.gateMods(c.occasion(signal{}, c.inputs[c.selected])))
}

// setReference returns false where an external reference is asked for that is
// not there.
func (c *counter) setReference(choice string) bool {
	was := c.reference
	c.reference = choice
	if choice == externalReference && c.reports() == ownReference {
		c.reference = was
		return false
	}
	c.abort()
	c.last = ""
	return true
}

func (c *counter) powered() float64 { return c.timebase.powered + c.b.now() }

// setting is the key of the draws of a gate.
func (c *counter) setting(s signal, in *input) string {
	return in.sc.Name + " " + s.setting + " " + c.gate.Plain() + " s"
}

func (c *counter) occasion(s signal, in *input) occasion {
	key := c.setting(s, in)
	return occasion{
		instrument: c.sc.Name, input: in.sc.Name, f: s.set, powered: c.powered(), ambient: c.b.ambient,
		draw: newDraw(c.b.seed, c.sc.Name, key, c.ordinals[key]),
		at:   in, signal: s,
	}
}

// seconds turns a length on the model's scale into one of the process.
func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// number writes a plain decimal as the instrument's replies have it. NR3 keeps
// as many digits as the decimal has.
func number(plain, form string) string {
	if form != "nr3" {
		return plain
	}
	sign := "+"
	if strings.HasPrefix(plain, "-") {
		sign, plain = "-", plain[1:]
	}
	whole, fraction, _ := strings.Cut(plain, ".")
	digits := strings.TrimLeft(whole, "0")
	exponent := len(digits) - 1
	if digits == "" {
		kept := strings.TrimLeft(fraction, "0")
		exponent = len(kept) - len(fraction) - 1
		digits = kept
		if kept == "" {
			digits, exponent = "0"+fraction, 0
		}
	} else {
		digits += fraction
	}
	mantissa := digits[:1] + "." + digits[1:]
	if len(digits) == 1 {
		mantissa += "0"
	}
	mark := "+"
	if exponent < 0 {
		mark, exponent = "-", -exponent
	}
	e := strconv.Itoa(exponent)
	if len(e) < 2 {
		e = "0" + e
	}
	return sign + mantissa + "E" + mark + e
}

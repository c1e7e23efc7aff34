package procedures

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
)

// Manual is the profile of an instrument without remote control: a source that
// a person sets, or a counter that a person reads. It has no address.
const Manual = "manual"

// Panel is the front of such an instrument. Everything may be left out.
type Panel struct {
	Unit string `toml:"unit,omitempty" json:"unit,omitempty" jsonschema:"enum=Hz,enum=kHz,enum=MHz,enum=GHz" jsonschema_description:"Unit of the display, taken for numbers that are typed without one. Where it is left out each entry needs its unit."`
	// Counters.
	Gates  []PanelGate       `toml:"gate,omitempty" json:"gate,omitempty" jsonschema_description:"Counter: the positions of the gate switch; any gate unless stated."`
	Inputs map[string]string `toml:"inputs,omitempty" json:"inputs,omitempty" jsonschema_description:"Counter: what the panel calls each input of the procedure."`
	// Sources.
	RFOff         string `toml:"rf_off,omitempty" json:"rf_off,omitempty" jsonschema_description:"Source: how RF is switched off and what shows it, such as \"key RF, its lamp goes out\"."`
	LockLamp      string `toml:"lock_lamp,omitempty" json:"lock_lamp,omitempty" jsonschema_description:"Source: what shows that it is locked; asked for at each point."`
	ReferenceLamp string `toml:"reference_lamp,omitempty" json:"reference_lamp,omitempty" jsonschema_description:"Source: what shows that it runs from its external reference."`
	// Both.
	Settle quantity.Duration  `toml:"settle,omitempty" json:"settle" jsonschema_description:"How long after a change the signal must not be trusted."`
	Takes  *quantity.Duration `toml:"takes,omitempty" json:"takes,omitempty" jsonschema_description:"What a person needs for one reading (15 s unless stated) or one setting (30 s), for the plan."`
}

// PanelGate is one position of the gate switch.
type PanelGate struct {
	Time       quantity.Duration  `toml:"time" json:"time" jsonschema_description:"Gate time."`
	Position   string             `toml:"position,omitempty" json:"position,omitempty" jsonschema_description:"What stands at the switch, if not the time."`
	Resolution quantity.Frequency `toml:"resolution,omitempty" json:"resolution" jsonschema_description:"Last digit of the display at this gate; one count of the specification unless stated."`
}

// ByHand tells whether a person works the instrument.
func (x Connection) ByHand() bool { return x.Profile == Manual }

// Front is the panel, empty where the bench file says nothing of it.
func (x Connection) Front() Panel {
	if x.Panel == nil {
		return Panel{}
	}
	return *x.Panel
}

// Digit is the last digit of the display at a gate, zero where it is not stated.
func (p Panel) Digit(gate quantity.Duration) quantity.Frequency {
	for _, g := range p.Gates {
		if g.Time.Cmp(gate) == 0 {
			return g.Resolution
		}
	}
	return quantity.Frequency{}
}

// GateTimes lists the positions of the gate switch, shortest first; empty: any.
func (p Panel) GateTimes() []quantity.Duration {
	list := make([]quantity.Duration, len(p.Gates))
	for k, g := range p.Gates {
		list[k] = g.Time
	}
	slices.SortFunc(list, quantity.Duration.Cmp)
	return list
}

// TakesReading and TakesSetting are what a person needs, for the plan.
func (p Panel) TakesReading() quantity.Duration { return p.takes(15) }

// TakesSetting is the time for one setting of a source.
func (p Panel) TakesSetting() quantity.Duration { return p.takes(30) }

func (p Panel) takes(seconds int64) quantity.Duration {
	if p.Takes != nil {
		return *p.Takes
	}
	return quantity.Of[quantity.Second](seconds, 0)
}

// byHand checks what goes with an instrument that a person works.
func (c checker) byHand(path string, x Connection) {
	source, counter := strings.HasPrefix(path, "source["), path == "counter"
	switch {
	case !x.ByHand() && x.Panel != nil:
		c.add(path+".panel", "goes with profile = %q only", Manual)
		return
	case !x.ByHand():
		return
	case !source && !counter:
		c.add(path+".profile", "is %q; only a source and the counter can be worked by hand", Manual)
		return
	case c.d.Has(path + ".address"):
		c.add(path+".address", "is given, but with profile = %q a person works the instrument; leave it out", Manual)
	}
	p, at := x.Front(), path+".panel"
	c.oneOf(at+".unit", p.Unit, "Hz", "kHz", "MHz", "GHz")
	c.time(at+".settle", p.Settle, "0 s", "1 h")
	if p.Takes != nil {
		c.time(at+".takes", *p.Takes, "0 s", "1 h")
	}
	for key, role := range map[string]bool{"gate": counter, "inputs": counter, "rf_off": source, "lock_lamp": source, "reference_lamp": source} {
		if c.given(at+"."+key) && !role {
			c.add(at+"."+key, "goes with a %s only", map[bool]string{true: "counter", false: "source"}[source])
		}
	}
	c.panelGates(at, p.Gates)
}

func (c checker) panelGates(at string, gates []PanelGate) {
	for k, g := range gates {
		here := fmt.Sprintf("%s.gate[%d]", at, k)
		c.time(here+".time", g.Time, "1 µs", "1 d")
		if g.Resolution.Sign() < 0 {
			c.add(here+".resolution", "is %s; expected above zero", g.Resolution)
		}
		for m, other := range gates[:k] {
			if other.Time.Cmp(g.Time) == 0 {
				c.add(here+".time", "is %s, as that of position %d is", g.Time, m+1)
			}
		}
	}
}

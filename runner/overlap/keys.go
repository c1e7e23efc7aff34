// Package overlap is the kind of measurement "overlap": the same frequency,
// read at two inputs whose bands overlap, must come out alike within what both
// inputs may add. The timebase, which is the same for both, cancels but for its
// drift between the two; so this sees an error of counting that hides behind a
// wide timebase term.
package overlap

import (
	"fmt"
	"math"
	"strings"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// Kind takes overlaps.
type Kind struct{}

// Kind is the word in a procedure.
func (Kind) Kind() string { return "overlap" }

// Keys returns the keys of a table.
func (Kind) Keys() procedures.Keys { return &keys{} }

type keys struct {
	Inputs      []string             `toml:"inputs" json:"inputs" jsonschema:"minItems=2,maxItems=2" jsonschema_description:"The two inputs."`
	Frequencies []quantity.Frequency `toml:"frequencies,omitempty" json:"frequencies,omitempty" jsonschema_description:"Where they are compared; the middle of what both cover unless stated."`
	Gate        quantity.Duration    `toml:"gate" json:"gate" jsonschema_description:"Gate time."`
	Readings    int                  `toml:"readings,omitempty" json:"readings,omitempty" jsonschema:"minimum=1,maximum=1000" jsonschema_description:"Readings at each input; 3 unless stated."`
	Above       *quantity.Gain       `toml:"above_sensitivity,omitempty" json:"above_sensitivity,omitempty" jsonschema_description:"Level as distance above the specified sensitivity of each input; 10 dB unless stated."`
	Drift       *quantity.Ratio      `toml:"drift,omitempty" json:"drift,omitempty" jsonschema_description:"Relative change of the unit's timebase that is allowed between the two; what its stated ageing makes of the time between them unless stated."`
}

// both returns the two inputs; ok is false where one is none of the unit's.
func (k *keys) both(p *procedures.Procedure) (two [2]procedures.Input, ok bool) {
	if len(k.Inputs) != 2 || k.Inputs[0] == k.Inputs[1] {
		return two, false
	}
	for n, name := range k.Inputs {
		if two[n], ok = p.Input(name); !ok {
			return two, false
		}
	}
	return two, true
}

// common is what both inputs cover.
func common(two [2]procedures.Input) (low, high quantity.Frequency) {
	low, high = two[0].Range[0], two[0].Range[1]
	if x := two[1].Range[0]; x.Cmp(low) > 0 {
		low = x
	}
	if x := two[1].Range[1]; x.Cmp(high) < 0 {
		high = x
	}
	return low, high
}

// Check implements procedures.Keys.
func (k *keys) Check(p *procedures.Procedure, m procedures.Measure) (wrong []procedures.Wrong) {
	add := func(key, format string, args ...any) {
		wrong = append(wrong, procedures.Wrong{Key: key, Text: fmt.Sprintf(format, args...)})
	}
	if m.Input != "" {
		add("input", "has no place here: an overlap is of two, named by inputs")
	}
	if k.Gate.Sign() <= 0 {
		add("gate", "is %s; expected above zero", k.Gate)
	}
	if k.Drift != nil && (k.Drift.Sign() < 0 || k.Drift.Float() > 1e-3) {
		add("drift", "is %s; expected 0 to 0.1 %%", k.Drift)
	}
	two, ok := k.both(p)
	if !ok {
		add("inputs", "must be two different inputs of the unit, and are %s", strings.Join(k.Inputs, ", "))
		return wrong
	}
	low, high := common(two)
	if low.Cmp(high) > 0 {
		add("inputs", "have no frequency in common: %s ends at %s, %s begins at %s", two[0].Name, high, two[1].Name, low)
		return wrong
	}
	for n, f := range k.Frequencies {
		if f.Cmp(low) < 0 || f.Cmp(high) > 0 {
			add(fmt.Sprintf("frequencies[%d]", n), "is %s; both inputs cover %s to %s", f, low, high)
		}
	}
	return wrong
}

// usualAbove is well above what either input needs.
var usualAbove = quantity.Of[quantity.Decibel](10, 0)

// Plan implements procedures.Keys: at each frequency one task at each input.
func (k *keys) Plan(d *procedures.Draft, m procedures.Measure) error {
	two, _ := k.both(d.Procedure())
	list := k.Frequencies
	if len(list) == 0 {
		low, high := common(two)
		list = []quantity.Frequency{quantity.Significant(math.Sqrt(low.Float()*high.Float()), 3)}
	}
	above := k.Above
	if above == nil {
		above = &usualAbove
	}
	for _, f := range list {
		var points []procedures.Point
		for _, i := range two {
			p, why := d.Point(i, procedures.Want{Frequency: f, Gate: k.Gate, Readings: k.Readings, Above: above})
			if why != "" {
				d.NotShown(m, i, f, f, why)
				break
			}
			points = append(points, p)
		}
		if len(points) < len(two) {
			continue // one alone shows nothing
		}
		for n, p := range points {
			d.Add(m, procedures.Task{Input: two[n].Name, Points: []procedures.Point{p}, Seconds: p.Seconds})
		}
	}
	return nil
}

// Package gate is the kind of measurement "gate and resolution": each gate
// really lasts as long as it says, gives the resolution that it promises,
// scatters by the counts that are allowed and no more, and no digit is stuck or
// missing. What the readings are worth as frequencies is the sweep's business.
package gate

import (
	"fmt"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// Kind takes gates and resolutions.
type Kind struct{}

// Kind is the word in a procedure.
func (Kind) Kind() string { return "gate and resolution" }

// Keys returns the keys of a table.
func (Kind) Keys() procedures.Keys { return &keys{} }

type keys struct {
	Frequency  quantity.Frequency  `toml:"frequency" json:"frequency" jsonschema_description:"Frequency from which the source is stepped on, so that each digit takes all its values."`
	Gates      []quantity.Duration `toml:"gates,omitempty" json:"gates,omitempty" jsonschema_description:"Gate times; all that the sweeps of the input name unless stated."`
	Above      *quantity.Gain      `toml:"above_sensitivity,omitempty" json:"above_sensitivity,omitempty" jsonschema_description:"Level as distance above the specified sensitivity; 10 dB unless stated."`
	Places     int                 `toml:"places,omitempty" json:"places,omitempty" jsonschema:"minimum=1,maximum=15" jsonschema_description:"How many digits are walked through, from the last one on; all up to the second one of the frequency unless stated."`
	FalseAlarm *quantity.Ratio     `toml:"false_alarm,omitempty" json:"false_alarm,omitempty" jsonschema_description:"Largest probability that a good unit misses a value of its last digit by chance, at each gate; it sets the number of readings; 0.1 % unless stated."`
	Short      *quantity.Ratio     `toml:"time_tolerance,omitempty" json:"time_tolerance,omitempty" jsonschema_description:"How much shorter than its gate a reading may be; 5 % unless stated."`
}

// What holds unless stated.
var (
	usualAbove = quantity.Of[quantity.Decibel](10, 0)
	usualAlarm = quantity.Of[quantity.One](1, -3)
	usualShort = quantity.Of[quantity.One](5, -2)
)

func or[T any](x *T, usual T) T {
	if x == nil {
		return usual
	}
	return *x
}

// gates are those stated, or those of the input's sweeps.
func (k *keys) gates(p *procedures.Procedure, input string) (list []quantity.Duration) {
	list = append(list, k.Gates...)
	if len(list) > 0 {
		return list
	}
	seen := map[string]bool{}
	for _, s := range p.Sweeps {
		if g := s.Gate.Fixed; s.Input == input && g.Sign() > 0 && !seen[g.String()] {
			seen[g.String()] = true
			list = append(list, g)
		}
	}
	return list
}

// Check implements procedures.Keys.
func (k *keys) Check(p *procedures.Procedure, m procedures.Measure) (wrong []procedures.Wrong) {
	add := func(key, format string, args ...any) {
		wrong = append(wrong, procedures.Wrong{Key: key, Text: fmt.Sprintf(format, args...)})
	}
	i, ok := p.Input(m.Input)
	if !ok {
		add("input", "is missing; gates are tested at one input")
		return wrong
	}
	if k.Frequency.Cmp(i.Range[0]) < 0 || k.Frequency.Cmp(i.Range[1]) > 0 {
		add("frequency", "is %s, outside the range %s to %s", k.Frequency, i.Range[0], i.Range[1])
	}
	for n, g := range k.Gates {
		if g.Sign() <= 0 {
			add(fmt.Sprintf("gates[%d]", n), "is %s; expected above zero", g)
		}
	}
	if len(k.gates(p, m.Input)) == 0 {
		add("gates", "is missing, and no sweep of input %s names a gate; give at least one", m.Input)
	}
	if x := or(k.FalseAlarm, usualAlarm).Float(); x < 1e-9 || x > 0.1 {
		add("false_alarm", "is %s; expected 1e-9 to 10 %%", k.FalseAlarm)
	}
	if x := or(k.Short, usualShort).Float(); x < 0.001 || x > 0.5 {
		add("time_tolerance", "is %s; expected 0.1 %% to 50 %%", k.Short)
	}
	return wrong
}

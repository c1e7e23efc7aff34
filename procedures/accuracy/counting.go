package accuracy

import (
	"fmt"
	"math/big"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// Kind is how an input counts, which sets the size of one count.
type Kind string

const (
	// Direct: the periods of the signal within the gate are counted; q = 1/gate.
	Direct Kind = "direct"
	// Prescaled: the signal is divided first; q = prescale/gate.
	Prescaled Kind = "prescaled"
	// Reciprocal: the time of whole periods is measured; q = f·t_res/gate, the
	// gate lengthened to whole periods, at least one.
	Reciprocal Kind = "reciprocal"
	// Converted: the signal is mixed down and the intermediate frequency
	// counted; q is that of the intermediate count.
	Converted Kind = "down-converted"
)

// Kinds lists the known kinds, for messages and schemas.
func Kinds() []Kind { return []Kind{Direct, Prescaled, Reciprocal, Converted} }

// Counting describes how one input counts.
type Counting struct {
	Kind     Kind `toml:"kind" json:"kind" jsonschema:"enum=direct,enum=prescaled,enum=reciprocal,enum=down-converted" jsonschema_description:"How the input counts; it sets the size of one count."`
	Prescale int  `toml:"prescale,omitempty" json:"prescale,omitempty" jsonschema:"minimum=1" jsonschema_description:"Division before the gate (kind prescaled)."`
	// GateLengthened: the unit multiplies its gate by the prescale factor, so
	// that q is 1/gate of the gate as commanded (rule of the unit's manual).
	GateLengthened bool `toml:"gate_lengthened,omitempty" json:"gate_lengthened,omitempty" jsonschema_description:"The unit lengthens its gate by the prescale factor, so that the size of one count stays 1/gate."`
	// TimeResolution of a reciprocal count: its clock period, or the
	// interpolator's resolution.
	TimeResolution quantity.Duration `toml:"time_resolution,omitempty" json:"time_resolution" jsonschema_description:"Resolution of the time measurement (kind reciprocal): clock period or interpolator."`
	// Harmonic by which the intermediate count is multiplied, only where the
	// local oscillator is counted or scaled (kind down-converted); 0 is 1.
	Harmonic int `toml:"harmonic,omitempty" json:"harmonic,omitempty" jsonschema:"minimum=1" jsonschema_description:"Factor on the intermediate count, only where the local oscillator is counted or scaled (kind down-converted)."`
	// Display is the resolution of a display setting where it is coarser than
	// what the gate gives; 0 for none.
	Display quantity.Frequency `toml:"display,omitempty" json:"display" jsonschema_description:"Resolution of the display setting where that is coarser than what the gate gives."`
	// Truncates: the display cuts digits off instead of rounding.
	Truncates bool `toml:"display_truncates,omitempty" json:"display_truncates,omitempty" jsonschema_description:"The display cuts digits off instead of rounding."`
}

// Resolution returns q in Hz for a signal of f Hz at the given actual gate. It
// fails on a gate or frequency that is not positive or a kind that is unknown.
func (c Counting) Resolution(f quantity.Exact, gate quantity.Duration) (quantity.Exact, error) {
	if gate.Sign() <= 0 {
		return quantity.Exact{}, fmt.Errorf("gate is %s; it must be longer than zero", gate)
	}
	if f.Sign() <= 0 {
		return quantity.Exact{}, fmt.Errorf("frequency is %s Hz; it must be above zero", f)
	}
	q, err := c.count(f, gate.Exact())
	if err != nil {
		return quantity.Exact{}, err
	}
	if d := c.Display.Exact(); d.Cmp(q) > 0 {
		return d, nil
	}
	return q, nil
}

func (c Counting) count(f, gate quantity.Exact) (quantity.Exact, error) {
	one := quantity.ExactInt(1).Quo(gate)
	switch c.Kind {
	case Direct:
		return one, nil
	case Prescaled:
		if c.Prescale < 1 {
			return quantity.Exact{}, fmt.Errorf("prescale is %d; a prescaled input needs a factor of at least 1", c.Prescale)
		}
		if c.GateLengthened {
			return one, nil
		}
		return one.Mul(quantity.ExactInt(int64(c.Prescale))), nil
	case Reciprocal:
		if c.TimeResolution.Sign() <= 0 {
			return quantity.Exact{}, fmt.Errorf("time resolution is %s; a reciprocal count needs one above zero", c.TimeResolution)
		}
		return f.Mul(c.TimeResolution.Exact()).Quo(wholePeriods(f, gate)), nil
	case Converted:
		return one.Mul(quantity.ExactInt(int64(max(c.Harmonic, 1)))), nil
	}
	return quantity.Exact{}, fmt.Errorf("counting kind %q is not known; known are direct, prescaled, reciprocal, down-converted", c.Kind)
}

// WholeCounts tells whether a signal of f Hz gives a whole number of counts in
// the gate, so that with a shared reference the phase stands still.
func (c Counting) WholeCounts(f quantity.Exact, gate quantity.Duration) bool {
	n := f.Mul(gate.Exact())
	if c.Kind == Prescaled && !c.GateLengthened && c.Prescale > 1 {
		n = n.Quo(quantity.ExactInt(int64(c.Prescale)))
	}
	return n.Rat().IsInt()
}

// displayGoverns tells whether the display setting is coarser than one count.
func (c Counting) displayGoverns(f quantity.Exact, gate quantity.Duration) bool {
	q, err := c.count(f, gate.Exact())
	return err == nil && c.Display.Exact().Cmp(q) > 0
}

// Quantisation is what the size of one count adds to an uncertainty budget:
// half-width in Hz and shape, and the bias in Hz that a truncating display has.
// A count through a gate, or against a clock, that is not in step with the
// signal is triangular with half-width q; a display that is coarser than a
// count is rectangular with q/2, if it truncates about a mean of −q/2.
func (c Counting) Quantisation(l Limit) (half float64, shape uncertainty.Distribution, bias quantity.Exact, why string) {
	q := l.Resolution
	switch {
	case l.Display && c.Truncates:
		return q.Float() / 2, uncertainty.Rectangular, q.Mul(quantity.ExactOf(big.NewRat(-1, 2))), "truncating display, half a digit about a mean of minus half a digit"
	case l.Display:
		return q.Float() / 2, uncertainty.Rectangular, quantity.Exact{}, "rounded display, half a digit"
	}
	return q.Float(), uncertainty.Triangular, quantity.Exact{}, "count not in step with the signal, one count"
}

// wholePeriods returns the gate lengthened to whole periods of f, at least one.
func wholePeriods(f, gate quantity.Exact) quantity.Exact {
	periods := f.Mul(gate).Rat()
	n := new(big.Int).Div(new(big.Int).Add(periods.Num(), new(big.Int).Sub(periods.Denom(), big.NewInt(1))), periods.Denom())
	if n.Sign() <= 0 {
		n.SetInt64(1)
	}
	return quantity.ExactOf(new(big.Rat).SetInt(n)).Quo(f)
}

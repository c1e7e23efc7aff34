package accuracy

import (
	"fmt"
	"math/big"

	"bandproof/procedures/quantity"
)

// Residual is a systematic error in Hz that a specification allows over a
// sub-range of an input.
type Residual struct {
	From  quantity.Frequency `toml:"from" json:"from" jsonschema_description:"Lowest frequency of the sub-range."`
	To    quantity.Frequency `toml:"to" json:"to" jsonschema_description:"Highest frequency of the sub-range."`
	Error quantity.Frequency `toml:"error" json:"error" jsonschema_description:"Permitted systematic error in Hz."`
}

// Figures is how an input counts and what error that may bring.
type Figures struct {
	Counting
	// Counts of the ±count rule; 0 is 1.
	Counts int `toml:"counts,omitempty" json:"counts,omitempty" jsonschema:"minimum=1" jsonschema_description:"Counts of the ± count rule; 1 unless stated."`
	// Trigger is the permitted trigger error, relative to the reading (0 for none).
	Trigger quantity.Ratio `toml:"trigger,omitempty" json:"trigger" jsonschema_description:"Permitted trigger error relative to the frequency. Give this or trigger_noise."`
	// TriggerNoise is the noise voltage at the input, from which the trigger
	// error follows with the slew of a sine of the level at hand.
	TriggerNoise quantity.Voltage `toml:"trigger_noise,omitempty" json:"trigger_noise" jsonschema_description:"Noise voltage (rms) referred to the input; the trigger error follows from it and the slew of the signal."`
}

// Piece replaces the figures of a specification within a sub-range.
type Piece struct {
	From quantity.Frequency `toml:"from" json:"from" jsonschema_description:"Lowest frequency of the sub-range."`
	To   quantity.Frequency `toml:"to" json:"to" jsonschema_description:"Highest frequency of the sub-range."`
	Figures
}

// Spec is the accuracy specification of one input.
type Spec struct {
	Figures
	Residuals []Residual `toml:"residual,omitempty" json:"residual,omitempty" jsonschema_description:"Permitted systematic errors by sub-range."`
	// Pieces replace the figures above in their sub-ranges; where two meet, the
	// first that holds the frequency counts.
	Pieces []Piece `toml:"piece,omitempty" json:"piece,omitempty" jsonschema_description:"Other figures within sub-ranges of the input."`
}

// At returns the figures that hold at a nominal frequency.
func (s Spec) At(f quantity.Frequency) Figures {
	for _, p := range s.Pieces {
		if f.Cmp(p.From) >= 0 && f.Cmp(p.To) <= 0 {
			return p.Figures
		}
	}
	return s.Figures
}

// Conditions are those under which a limit is asked for.
type Conditions struct {
	// Nominal is the frequency that was set: sub-ranges of a specification go by
	// it, so that a point at the very edge does not fall out by the offset of a
	// reference.
	Nominal   quantity.Frequency
	Reference quantity.Exact    // f_ref, Hz
	Gate      quantity.Duration // in force
	// Timebase is the promised |relative error| of the timebase, nil where the
	// topology cancels it; TimebaseHow says where it came from.
	Timebase    *quantity.Exact
	TimebaseHow string
	// Level at the input across Impedance; only a trigger noise needs it.
	Level     quantity.Level
	Impedance quantity.Resistance
}

// Limit is the largest permitted |error| at a point.
type Limit struct {
	Resolution quantity.Exact `json:"resolution_hz"` // q, the size of one count
	// Display: q is that of the display setting, which is coarser than a count.
	Display bool           `json:"display,omitempty"`
	Terms   []Term         `json:"terms"`
	Total   quantity.Exact `json:"limit_hz"`
}

// Names of terms that others ask for.
const (
	counts  = "counts"
	trigger = "trigger"
	// TimebaseTerm is the share of the unit's timebase.
	TimebaseTerm = "timebase"
)

// Limit computes the limit. Terms that are zero are left out.
func (s Spec) Limit(c Conditions) (Limit, error) {
	f := c.Reference
	figures := s.At(c.Nominal)
	q, err := figures.Resolution(f, c.Gate)
	if err != nil {
		return Limit{}, err
	}
	l := Limit{Resolution: q, Display: figures.displayGoverns(f, c.Gate)}
	n := int64(max(figures.Counts, 1))
	l.add(counts, q.Mul(quantity.ExactInt(n)), fmt.Sprintf("%d × %s Hz", n, show(q)))
	if c.Timebase != nil {
		l.add(TimebaseTerm, f.Mul(*c.Timebase), c.TimebaseHow)
	}
	if figures.Trigger.Sign() != 0 {
		l.add(trigger, f.Mul(figures.Trigger.Exact()).Abs(), figures.Trigger.String())
	}
	if figures.TriggerNoise.Sign() != 0 {
		hz, how, err := figures.triggerNoise(c)
		if err != nil {
			return Limit{}, err
		}
		l.add(trigger, hz, how)
	}
	if r := s.residual(c.Nominal); r.Sign() > 0 {
		l.add("residual", r.Exact(), "stated for this sub-range")
	}
	return l, nil
}

func (l *Limit) add(name string, hz quantity.Exact, how string) {
	l.Terms = append(l.Terms, Term{name, hz, how})
	l.Total = l.Total.Add(hz)
}

// Scatter is how far single readings of a steady signal may lie from the truth
// either way: the counts and the trigger error, not what shifts all alike.
func (l Limit) Scatter() quantity.Exact {
	sum := quantity.Exact{}
	for _, t := range l.Terms {
		if t.Name == counts || t.Name == trigger {
			sum = sum.Add(t.Hz)
		}
	}
	return sum
}

// residual returns the largest residual of the sub-ranges that hold f.
func (s Spec) residual(f quantity.Frequency) quantity.Frequency {
	var most quantity.Frequency
	for _, r := range s.Residuals {
		if f.Cmp(r.From) >= 0 && f.Cmp(r.To) <= 0 && r.Error.Cmp(most) > 0 {
			most = r.Error
		}
	}
	return most
}

// show writes a count size for people: exact where that is short.
func show(q quantity.Exact) string {
	if s := q.String(); len(s) <= 12 {
		return s
	}
	return fmt.Sprintf("%.6g", q.Float())
}

// Vacuous tells whether a limit is so wide, above a tenth of the frequency,
// that meeting it shows nothing.
func (l Limit) Vacuous(f quantity.Exact) bool {
	return l.Total.Cmp(f.Mul(quantity.ExactOf(big.NewRat(1, 10)))) > 0
}

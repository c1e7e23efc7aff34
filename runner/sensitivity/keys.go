// Package sensitivity is the kind of measurement "sensitivity": the least level
// at which an input counts properly, by frequency, compared with what the
// specification promises.
//
// Proper is n of n readings within the limit and none missing. From 10 dB above
// the specification down in coarse steps until two failures in a row, then up in
// fine steps until n of n, then down again in fine steps as far as it counts:
// the method of limits with its hysteresis (common practice, no source). That
// is done three times; the median is reported. Then every coarse step between
// it and the beginning is looked at, so that an island of miscounts is found.
// The search works on the settings of the source's level; what it may not be set
// to, because of damage level, highest specified level or power meter, is left
// out and said.
package sensitivity

import (
	"fmt"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// Kind takes sensitivities.
type Kind struct{}

// Kind is the word in a procedure.
func (Kind) Kind() string { return "sensitivity" }

// Keys returns the keys of a table.
func (Kind) Keys() procedures.Keys { return &keys{} }

type keys struct {
	procedures.Frequencies
	Gate     quantity.Duration `toml:"gate" json:"gate" jsonschema_description:"Gate time."`
	Readings int               `toml:"readings,omitempty" json:"readings,omitempty" jsonschema:"minimum=1,maximum=1000" jsonschema_description:"Readings at each level, all of which must be good; 3 unless stated."`
	Above    *quantity.Gain    `toml:"above_sensitivity,omitempty" json:"above_sensitivity,omitempty" jsonschema_description:"Level where the search begins, as distance above the specified sensitivity; 10 dB unless stated."`
	Coarse   *quantity.Gain    `toml:"coarse,omitempty" json:"coarse,omitempty" jsonschema_description:"Coarse step of the level; 2 dB unless stated."`
	Fine     *quantity.Gain    `toml:"fine,omitempty" json:"fine,omitempty" jsonschema_description:"Fine step of the level, which enters the uncertainty; 0.5 dB unless stated."`
}

var (
	usualAbove  = quantity.Of[quantity.Decibel](10, 0)
	usualCoarse = quantity.Of[quantity.Decibel](2, 0)
	usualFine   = quantity.Of[quantity.Decibel](5, -1)
)

func or(stated *quantity.Gain, usual quantity.Gain) quantity.Gain {
	if stated == nil {
		return usual
	}
	return *stated
}

// Check implements procedures.Keys.
func (k *keys) Check(p *procedures.Procedure, m procedures.Measure) (wrong []procedures.Wrong) {
	add := func(key, format string, args ...any) {
		wrong = append(wrong, procedures.Wrong{Key: key, Text: fmt.Sprintf(format, args...)})
	}
	if m.Input == "" {
		add("input", "is missing; sensitivity is that of one input")
		return wrong
	}
	i, _ := p.Input(m.Input)
	wrong = append(wrong, k.Frequencies.Check(i)...)
	wrong = append(wrong, procedures.CheckGate(k.Gate)...)
	if k.Readings < 0 || k.Readings > 1000 {
		add("readings", "is %d; expected 1 to 1000", k.Readings)
	}
	above, coarse, fine := or(k.Above, usualAbove), or(k.Coarse, usualCoarse), or(k.Fine, usualFine)
	if fine.Sign() <= 0 || coarse.Sign() <= 0 {
		add("fine", "and coarse are %s and %s; expected above zero", fine, coarse)
		return wrong
	}
	if fine.Cmp(coarse) > 0 {
		add("fine", "is %s, above the coarse step of %s", fine, coarse)
	}
	if above.Cmp(coarse) < 0 || above.Float() > 60 {
		add("above_sensitivity", "is %s; expected at least the coarse step of %s and at most 60 dB", above, coarse)
	}
	return wrong
}

// Plan implements procedures.Keys: one task a path, with a point at the
// specified level for each frequency.
func (k *keys) Plan(d *procedures.Draft, m procedures.Measure) error {
	i, _ := d.Procedure().Input(m.Input)
	points, err := d.At(m, i, k.Frequencies, procedures.Want{Gate: k.Gate, Readings: k.Readings})
	if err != nil {
		return err
	}
	for _, t := range d.ByPath(m, i, points) {
		for _, p := range t.Points {
			t.Seconds += p.Seconds * k.shots()
		}
		d.Add(m, t)
	}
	return nil
}

// shots is how many levels a frequency takes of a unit that is 6 dB better than
// its specification: three searches and the look for islands.
func (k *keys) shots() float64 {
	above, coarse, fine := or(k.Above, usualAbove).Float(), or(k.Coarse, usualCoarse).Float(), or(k.Fine, usualFine).Float()
	down := (above + 6) / coarse
	return 3*(down+2+1.5*coarse/fine+1) + down
}

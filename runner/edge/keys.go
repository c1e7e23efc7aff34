// Package edge is the kind of measurement "edge": where the unit stops
// counting properly. In frequency it looks at what the band sweep found and
// narrows down every change between a point that passed and one that failed;
// in level it looks between the levels that are stated. It reports; what is
// outside tolerance the points have said already.
package edge

import (
	"fmt"
	"math"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// Kind takes edges.
type Kind struct{}

// Kind is the word in a procedure.
func (Kind) Kind() string { return "edge" }

// Keys returns the keys of a table.
func (Kind) Keys() procedures.Keys { return &keys{} }

type keys struct {
	To       *quantity.Ratio `toml:"to,omitempty" json:"to,omitempty" jsonschema_description:"An edge in frequency is narrowed down to this fraction of it; 0.1 % unless stated."`
	Steps    int             `toml:"steps,omitempty" json:"steps,omitempty" jsonschema:"minimum=1,maximum=100" jsonschema_description:"Each stretch is first divided into this many, so that a change back is seen; 8 unless stated."`
	Readings int             `toml:"readings,omitempty" json:"readings,omitempty" jsonschema:"minimum=1,maximum=100" jsonschema_description:"Readings at each setting, all of which must be within the limit; 3 unless stated."`
	// In level:
	Frequencies []quantity.Frequency `toml:"frequencies,omitempty" json:"frequencies,omitempty" jsonschema_description:"Where the edge is looked for in level, instead of in frequency."`
	Levels      []quantity.Level     `toml:"levels,omitempty" json:"levels,omitempty" jsonschema:"minItems=2,maxItems=2" jsonschema_description:"Lowest and highest level at the input between which it is looked for."`
	ToLevel     *quantity.Gain       `toml:"to_level,omitempty" json:"to_level,omitempty" jsonschema_description:"An edge in level is narrowed down to this; 0.5 dB unless stated."`
	Gate        quantity.Duration    `toml:"gate,omitempty" json:"gate,omitzero" jsonschema_description:"Gate time of a search in level; one in frequency has that of the points."`
}

func (k *keys) to() float64 {
	if k.To == nil {
		return 1e-3
	}
	return k.To.Float()
}

func (k *keys) toLevel() float64 {
	if k.ToLevel == nil {
		return 0.5
	}
	return k.ToLevel.Float()
}

func orUsual(n, usual int) int {
	if n == 0 {
		return usual
	}
	return n
}

func (k *keys) steps() int    { return orUsual(k.Steps, 8) }
func (k *keys) readings() int { return orUsual(k.Readings, 3) }
func (k *keys) inLevel() bool { return len(k.Frequencies)+len(k.Levels) > 0 }

// mostProbes bounds one task, whatever the unit does.
const mostProbes = 150

// Check implements procedures.Keys.
func (k *keys) Check(p *procedures.Procedure, m procedures.Measure) (wrong []procedures.Wrong) {
	add := func(key, format string, args ...any) {
		wrong = append(wrong, procedures.Wrong{Key: key, Text: fmt.Sprintf(format, args...)})
	}
	i, ok := p.Input(m.Input)
	if !ok {
		add("input", "is missing; an edge is of one input")
		return wrong
	}
	if x := k.to(); x < 1e-9 || x > 0.1 {
		add("to", "is %s; expected 1e-9 to 10 %%", k.To)
	}
	if x := k.toLevel(); x < 0.01 || x > 20 {
		add("to_level", "is %s; expected 0.01 dB to 20 dB", k.ToLevel)
	}
	if k.inLevel() != (k.Gate.Sign() > 0) {
		add("gate", "goes with frequencies and levels, and they with it: a search in frequency has the gates of the points")
	}
	if k.inLevel() && (len(k.Frequencies) == 0 || len(k.Levels) != 2) {
		add("levels", "and frequencies go together: two levels, the lower one first, and at least one frequency")
	}
	if len(k.Levels) == 2 && k.Levels[0].DBm(i.Impedance) >= k.Levels[1].DBm(i.Impedance) {
		add("levels", "is reversed: %s is not below %s", k.Levels[0], k.Levels[1])
	}
	if len(k.Levels) == 2 && i.Maximum != nil && k.Levels[1].DBm(i.Impedance) > i.Maximum.DBm(i.Impedance) {
		add("levels", "goes up to %s, above the maximum %s of the input", k.Levels[1], *i.Maximum)
	}
	for n, f := range k.Frequencies {
		if f.Cmp(i.Range[0]) < 0 || f.Cmp(i.Range[1]) > 0 {
			add(fmt.Sprintf("frequencies[%d]", n), "is %s, outside the range %s to %s", f, i.Range[0], i.Range[1])
		}
	}
	return wrong
}

// Plan implements procedures.Keys: for a search in frequency one task on each
// path of the input that has points, for one in level one task a frequency.
func (k *keys) Plan(d *procedures.Draft, m procedures.Measure) error {
	i, _ := d.Procedure().Input(m.Input)
	if k.inLevel() {
		k.planLevels(d, m, i)
		return nil
	}
	var paths []string
	longest := map[string]procedures.Point{}
	for _, p := range d.Plan().Points {
		if p.Input != i.Name {
			continue
		}
		was, again := longest[p.Path]
		if !again {
			paths = append(paths, p.Path)
		}
		if p.Seconds > was.Seconds {
			longest[p.Path] = p
		}
	}
	for _, path := range paths {
		p := longest[path]
		// As if there were one change, in a stretch of an octave: both ends, the
		// division, and halving what is left.
		probes := 2 + k.steps() - 1 + halvings(math.Ln2/float64(k.steps()), math.Log1p(k.to()))
		d.Add(m, procedures.Task{Path: path, Source: p.Source, Seconds: float64(probes) * p.Seconds})
	}
	if len(paths) == 0 {
		d.NotShown(m, i, i.Range[0], i.Range[1], "no point of the band sweep to start from")
	}
	return nil
}

func (k *keys) planLevels(d *procedures.Draft, m procedures.Measure, i procedures.Input) {
	span := k.Levels[1].DBm(quantity.Dbm50()) - k.Levels[0].DBm(quantity.Dbm50())
	probes := k.steps() + 1 + halvings(span/float64(k.steps()), k.toLevel())
	for _, f := range k.Frequencies {
		level := k.Levels[1]
		p, why := d.Point(i, procedures.Want{Frequency: f, Gate: k.Gate, Readings: k.readings(), Level: &level})
		if why != "" {
			d.NotShown(m, i, f, f, why)
			continue
		}
		d.Add(m, procedures.Task{Points: []procedures.Point{p}, Seconds: float64(probes) * p.Seconds})
	}
}

// halvings is how often a stretch is halved until it is no longer than to.
func halvings(stretch, to float64) int {
	return max(0, int(math.Ceil(math.Log2(stretch/to)-1e-9)))
}

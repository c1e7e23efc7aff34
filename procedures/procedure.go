package procedures

import (
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// ProcedureSchema names the version of the procedure file.
const ProcedureSchema = "bandproof procedure 1"

// Procedure is what the unit promises and which points show it.
type Procedure struct {
	Schema   string            `toml:"schema" json:"schema" jsonschema:"const=bandproof procedure 1" jsonschema_description:"Version of the file format."`
	Name     string            `toml:"name" json:"name" jsonschema_description:"Name of the procedure."`
	Revision string            `toml:"revision" json:"revision" jsonschema_description:"Revision; every change needs a new one."`
	Origin   string            `toml:"origin" json:"origin" jsonschema_description:"Where the figures come from, such as the unit's manual with its part number."`
	WarmUp   quantity.Duration `toml:"warm_up,omitempty" json:"warm_up" jsonschema_description:"How long the unit must have been on before the first point."`
	// WarmUpUntil: the warm-up lasts until readings no longer drift; WarmUp is then the least time.
	WarmUpUntil *WarmUpUntil  `toml:"warm_up_until,omitempty" json:"warm_up_until,omitempty" jsonschema_description:"Warm up until the unit's readings of a steady signal no longer drift; warm_up is then the least time."`
	Decision    decision.Rule `toml:"decision" json:"decision" jsonschema_description:"The decision rule."`
	Unit        Unit          `toml:"unit" json:"unit" jsonschema_description:"The unit: what its specification promises."`
	Inputs      []Input       `toml:"input" json:"input" jsonschema_description:"The inputs of the unit."`
	Sweeps      []Sweep       `toml:"sweep" json:"sweep" jsonschema_description:"The points that show each input."`
	Measures    []Measure     `toml:"measure,omitempty" json:"measure,omitempty" jsonschema_description:"Measurements of other kinds than the band sweep."`
	Prompts     Prompts       `toml:"prompts,omitempty" json:"prompts,omitzero" jsonschema_description:"How long questions wait for the person at the bench, and what happens then."`
	// ClosingCheck: on unless stated, but for what a person sets or reads.
	ClosingCheck *bool    `toml:"closing_check,omitempty" json:"closing_check,omitempty" jsonschema_description:"Read an early point once more at the end of each path, so that a unit that changes within the run is noticed; true unless a person sets the source or reads the unit."`
	Cautions     []string `toml:"cautions,omitempty" json:"cautions,omitempty" jsonschema_description:"Cautions of this unit, printed beside the usual ones."`
}

// Unit describes the unit under test as a whole.
type Unit struct {
	Maker        string            `toml:"maker" json:"maker" jsonschema_description:"Maker of the unit."`
	Model        string            `toml:"model" json:"model" jsonschema_description:"Model of the unit; compared with what the unit says of itself."`
	Timebase     accuracy.Timebase `toml:"timebase" json:"timebase" jsonschema_description:"Accuracy of the unit's own timebase."`
	DamageMargin *quantity.Gain    `toml:"damage_margin,omitempty" json:"damage_margin,omitempty" jsonschema_description:"No level may come nearer to a damage level than this; 3 dB unless stated."`
}

// Input is one input connector of the unit with what it promises.
type Input struct {
	Name        string                `toml:"name" json:"name" jsonschema_description:"Name of the input, as on the unit's panel."`
	Channel     string                `toml:"channel,omitempty" json:"channel,omitempty" jsonschema_description:"What the instrument profile calls the input; its name unless stated."`
	Connector   string                `toml:"connector" json:"connector" jsonschema_description:"Connector type."`
	Range       [2]quantity.Frequency `toml:"range" json:"range" jsonschema_description:"Lowest and highest frequency."`
	Impedance   quantity.Resistance   `toml:"impedance" json:"impedance" jsonschema_description:"Input resistance, such as 50 Ω or 1 MΩ."`
	Capacitance *quantity.Capacitance `toml:"capacitance,omitempty" json:"capacitance,omitempty" jsonschema_description:"Capacitance across a high-impedance input."`
	// How far the true resistance and capacitance may be off what is stated.
	ImpedanceTolerance   *quantity.Ratio `toml:"impedance_tolerance,omitempty" json:"impedance_tolerance,omitempty" jsonschema_description:"How far the resistance of a high-impedance input may be off what is stated, such as 2 %."`
	CapacitanceTolerance *quantity.Ratio `toml:"capacitance_tolerance,omitempty" json:"capacitance_tolerance,omitempty" jsonschema_description:"How far the capacitance may be off what is stated, such as 20 %."`
	VSWR                 VSWR            `toml:"vswr,omitempty" json:"vswr,omitempty" jsonschema_description:"VSWR of a 50 Ω input, by sub-range: highest frequency of each and VSWR up to it."`
	Damage               quantity.Level  `toml:"damage" json:"damage" jsonschema_description:"Level that destroys the input."`
	Maximum              *quantity.Level `toml:"maximum,omitempty" json:"maximum,omitempty" jsonschema_description:"Highest level at which the input is specified to count."`
	// HarmonicsMost and SubharmonicsMost are what a reading may be relied on with.
	HarmonicsMost    *quantity.Gain       `toml:"harmonics_at_most,omitempty" json:"harmonics_at_most,omitempty" jsonschema_description:"Harmonics of the signal, relative to it, with which the input still counts properly; where the source has more, a path with a filter is taken."`
	SubharmonicsMost *quantity.Gain       `toml:"subharmonics_at_most,omitempty" json:"subharmonics_at_most,omitempty" jsonschema_description:"The same of subharmonics."`
	MaxGap           quantity.Interval    `toml:"max_gap" json:"max_gap" jsonschema_description:"Adjacent shown points no further apart than this show the range between them."`
	Crossovers       []quantity.Frequency `toml:"crossovers,omitempty" json:"crossovers,omitempty" jsonschema_description:"Frequencies where the signal path or the harmonic number changes inside; each is shown on both sides."`
	// CrossoverOffset is how far from a crossover, relative to it, the points
	// on both sides lie.
	CrossoverOffset *quantity.Ratio `toml:"crossover_offset,omitempty" json:"crossover_offset,omitempty" jsonschema_description:"Distance of the points on both sides of a crossover, relative to it; 1 % unless stated."`
	Sensitivity     []Sensitivity   `toml:"sensitivity" json:"sensitivity" jsonschema_description:"Least level that counts properly, by sub-range."`
	Accuracy        accuracy.Spec   `toml:"accuracy" json:"accuracy" jsonschema_description:"How the input counts and what error it may have."`
}

// Sensitivity is the specified least level within a sub-range.
type Sensitivity struct {
	From  quantity.Frequency `toml:"from" json:"from" jsonschema_description:"Lowest frequency of the sub-range."`
	To    quantity.Frequency `toml:"to" json:"to" jsonschema_description:"Highest frequency of the sub-range."`
	Level quantity.Level     `toml:"level" json:"level" jsonschema_description:"Least level that counts properly."`
}

// Sweep chooses points of one input: any mix of the ways below; the edges of
// what it covers are always among them.
type Sweep struct {
	Name  string   `toml:"name,omitempty" json:"name,omitempty" jsonschema_description:"Name of the sweep."`
	Input string   `toml:"input" json:"input" jsonschema_description:"Input that is swept."`
	Gate  GateTime `toml:"gate" json:"gate" jsonschema_description:"Gate time, or auto: at each point the shortest gate within gate_range at which the limit is still at least four times what bench and scatter of the unit add up to, or what the longest gate gives where none does, and counts and trigger error are at most a hundredth of the frequency."`
	// GateRange bounds an automatic gate: shortest, longest.
	GateRange *[2]quantity.Duration `toml:"gate_range,omitempty" json:"gate_range,omitempty" jsonschema_description:"Shortest and longest gate that gate = auto may choose."`
	Readings  int                   `toml:"readings,omitempty" json:"readings,omitempty" jsonschema:"minimum=1,maximum=1000" jsonschema_description:"Readings at each point; 3 unless stated."`
	// EarlyStop is nil where all readings are always taken.
	EarlyStop *EarlyStop `toml:"early_stop,omitempty" json:"early_stop,omitempty" jsonschema_description:"When fewer readings than planned are enough; all are always taken unless stated."`
	// Level at the input; or a margin above the specified sensitivity.
	Level            *quantity.Level      `toml:"level,omitempty" json:"level,omitempty" jsonschema_description:"Level at the input. Give this or above_sensitivity."`
	AboveSensitivity *quantity.Gain       `toml:"above_sensitivity,omitempty" json:"above_sensitivity,omitempty" jsonschema_description:"Level as distance above the specified sensitivity."`
	From             *quantity.Frequency  `toml:"from,omitempty" json:"from,omitempty" jsonschema_description:"Lowest frequency; the input's lowest unless stated."`
	To               *quantity.Frequency  `toml:"to,omitempty" json:"to,omitempty" jsonschema_description:"Highest frequency; the input's highest unless stated."`
	PerDecade        int                  `toml:"per_decade,omitempty" json:"per_decade,omitempty" jsonschema:"minimum=1,maximum=1000" jsonschema_description:"Points in each decade."`
	PerOctave        int                  `toml:"per_octave,omitempty" json:"per_octave,omitempty" jsonschema:"minimum=1,maximum=1000" jsonschema_description:"Points in each octave."`
	Step             *quantity.Frequency  `toml:"step,omitempty" json:"step,omitempty" jsonschema_description:"Linear step."`
	Points           []quantity.Frequency `toml:"points,omitempty" json:"points,omitempty" jsonschema_description:"Points by name."`
}

// Selector is the name by which the counter's profile knows the input.
func (i Input) Selector() string {
	if i.Channel != "" {
		return i.Channel
	}
	return i.Name
}

// HighImpedance tells whether the input is far from 50 Ω, so that its level is
// a voltage.
func (i Input) HighImpedance() bool {
	return i.Impedance.Cmp(quantity.Of[quantity.Ohm](500, 0)) >= 0
}

// Margin returns the damage margin in dB.
func (u Unit) Margin() float64 {
	if u.DamageMargin == nil {
		return 3
	}
	return u.DamageMargin.Float()
}

// Input returns the input of that name.
func (p *Procedure) Input(name string) (Input, bool) {
	for _, i := range p.Inputs {
		if i.Name == name {
			return i, true
		}
	}
	return Input{}, false
}

// SensitivityAt returns the specified least level at f, false where none is
// specified. At the border of two sub-ranges the higher level holds.
func (i Input) SensitivityAt(f quantity.Frequency) (quantity.Level, bool) {
	var found quantity.Level
	ok := false
	for _, s := range i.Sensitivity {
		if f.Cmp(s.From) >= 0 && f.Cmp(s.To) <= 0 && (!ok || s.Level.DBm(i.Impedance) > found.DBm(i.Impedance)) {
			found, ok = s.Level, true
		}
	}
	return found, ok
}

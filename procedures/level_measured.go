package procedures

import (
	"bandproof/procedures/quantity"
)

// MeasuredLevel is the level at an input as a power meter found it.
type MeasuredLevel struct {
	Meter     string         `json:"meter"`
	Connector quantity.Level `json:"connector"` // at the input's connector, matched, dBm
	Input     quantity.Level `json:"input"`     // what the input sees: dBm at 50 Ω, volts at high impedance
	// Uncertainty (k = 2) of both, in dB: see [Bench.LevelBudget].
	Uncertainty float64 `json:"uncertainty_db"`
}

// Metered tells whether the power meter of a point's path measures its level;
// why says what stands against it.
func (b *Bench) Metered(p Point) (metered bool, why string) {
	path, _ := b.Path(p.Path)
	if path.Meter == nil {
		return false, ""
	}
	m, _ := b.PowerMeter(path.Meter.Name)
	if p.Frequency.Cmp(m.Range[0]) < 0 || p.Frequency.Cmp(m.Range[1]) > 0 {
		return false, "outside the range of power meter " + m.Name
	}
	offset, err := path.Meter.at(p.Frequency)
	if err != nil {
		return false, err.Error()
	}
	r := quantity.Dbm50()
	at := p.Levels.Connector.DBm(r) - offset
	if at < m.Level[0].DBm(r) {
		return false, "too little reaches power meter " + m.Name
	}
	if s, _ := b.Source(p.Source); at+s.over() > m.Level[1].DBm(r) {
		return false, tooMuchMeter
	}
	return true, ""
}

// over is how far in dB the source's level may lie above what it is set to.
func (s Source) over() float64 { return s.LevelUncertainty.Float() + s.Transient.Float() }

const tooMuchMeter = "level above what the power meter stands"

func (t Tap) at(f quantity.Frequency) (float64, error) {
	return t.table().at(f)
}

func (t Tap) table() Part {
	return Part{Name: "offset of power meter " + t.Name, Loss: t.Offset, Uncertainty: t.Uncertainty}
}

// LevelBy turns the reading of the path's power meter into the level at the
// input. It may be called where Metered is true only.
func (b *Bench) LevelBy(i Input, p Point, reading quantity.Level) MeasuredLevel {
	path, _ := b.Path(p.Path)
	m, _ := b.PowerMeter(path.Meter.Name)
	offset, _ := path.Meter.at(p.Frequency) // Metered has asked
	r := quantity.Dbm50()
	u, _ := b.measuredBudget(i, p, path).Combine() // LoadBench has checked its figures
	level := MeasuredLevel{Meter: m.Name, Connector: quantity.DBmLevel(reading.DBm(r)+offset, 2), Uncertainty: u.Expanded}
	level.Input = level.Connector
	if i.HighImpedance() {
		level.Input = quantity.VoltLevel(level.Connector.Volts(r) * i.gain(p.Frequency, path.Termination))
	}
	return level
}

// LevelTolerance is how far a measured level may be off the planned one, in
// dB, where nothing is wrong: what source, its setting, parts and meter may
// each be off, and mismatch may make of it, all the same way.
func (b *Bench) LevelTolerance(i Input, p Point) float64 {
	path, _ := b.Path(p.Path)
	s, _ := b.Source(p.Source)
	m, _ := b.PowerMeter(path.Meter.Name)
	sum := s.LevelUncertainty.Float() + s.LevelStep()/2 + m.Uncertainty.Float() + path.Meter.table().uncertaintyAt(p.Frequency)
	for _, x := range path.Parts {
		sum += x.uncertaintyAt(p.Frequency)
	}
	list, _, _ := path.mismatches(s, i, p.Frequency, part(p.Frequency)) // the plan knows the loss
	return sum + least(list)
}

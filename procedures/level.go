package procedures

import (
	"fmt"
	"math"

	"bandproof/procedures/quantity"
)

// Levels are the level at the three places of one path, for one frequency.
type Levels struct {
	Source    quantity.Level `json:"source"`    // what the source is set to, dBm
	Connector quantity.Level `json:"connector"` // what arrives at the input's connector, matched, dBm
	Input     quantity.Level `json:"input"`     // what the input sees: dBm at 50 Ω, volts at high impedance
}

// errUnknownLoss says that a loss table does not reach the frequency.
type errUnknownLoss struct{ part string }

func (e errUnknownLoss) Error() string { return "path loss unknown (" + e.part + ")" }

// loss returns the sum of the parts' losses at f in dB. Between entries of
// coaxial cable it is linear in dB against √f, of other parts linear in dB
// against f (common practice, no source); it is never extrapolated.
func (p Path) loss(f quantity.Frequency) (float64, error) {
	var sum float64
	for _, part := range p.Parts {
		x, err := part.at(f)
		if err != nil {
			return 0, err
		}
		sum += x
	}
	return sum, nil
}

func (p Part) at(f quantity.Frequency) (float64, error) {
	for i, e := range p.Loss {
		c := f.Cmp(e.At)
		if c == 0 {
			return e.Loss.Float(), nil
		}
		if c < 0 {
			if i == 0 {
				return 0, errUnknownLoss{p.Name}
			}
			below := p.Loss[i-1]
			x, a, b := f.Float(), below.At.Float(), e.At.Float()
			if p.Coax {
				x, a, b = math.Sqrt(x), math.Sqrt(a), math.Sqrt(b)
			}
			return below.Loss.Float() + (e.Loss.Float()-below.Loss.Float())*(x-a)/(b-a), nil
		}
	}
	return 0, errUnknownLoss{p.Name}
}

// leastLoss is what the interlock may count on: table less its uncertainty for
// parts that are permanently fitted, 0 dB for the others and outside the table.
func (p Path) leastLoss(f quantity.Frequency) float64 {
	var sum float64
	for _, part := range p.Parts {
		if !part.Fixed {
			continue
		}
		if x, err := part.at(f); err == nil {
			sum += math.Max(0, x-part.Uncertainty.Float())
		}
	}
	return sum
}

// gain returns voltage at the input over voltage across a matched 50 Ω load at
// the same place: 1 for a 50 Ω input, 2·|Zin/(Zin + 50 Ω)| for a high-impedance
// one, with Zin from the stated R ∥ C and, if fitted, the 50 Ω feed-through.
func (i Input) gain(f quantity.Frequency, terminated bool) float64 {
	if !i.HighImpedance() {
		return 1
	}
	g := 1 / i.Impedance.Float()
	b := 0.0
	if i.Capacitance != nil {
		b = 2 * math.Pi * f.Float() * i.Capacitance.Float()
	}
	if terminated {
		g += 1.0 / 50
	}
	// 2·|Zin/(Zin + 50)| = 2/|1 + 50·Y|
	return 2 / math.Hypot(1+50*g, 50*b)
}

// levelsFor returns the levels that give at least want at the input.
func levelsFor(i Input, p Path, s Source, f quantity.Frequency, want quantity.Level) (Levels, error) {
	loss, err := p.loss(f)
	if err != nil {
		return Levels{}, err
	}
	r := quantity.Dbm50()
	gain := i.gain(f, p.Termination)
	var connector float64 // dBm, matched
	if i.HighImpedance() {
		connector = quantity.VoltLevel(want.Volts(r) / gain).DBm(r)
	} else {
		connector = want.DBm(i.Impedance)
	}
	step := s.LevelStep()
	// Rounded up, so that the input sees no less than asked.
	set := math.Ceil((connector+loss)/step-1e-6) * step
	decimals := int(math.Max(0, math.Ceil(-math.Log10(step)-1e-9)))
	l := Levels{Source: quantity.DBmLevel(set, decimals)}
	l.Connector = quantity.DBmLevel(set-loss, 2)
	l.Input = l.Connector
	if i.HighImpedance() {
		l.Input = quantity.VoltLevel(l.Connector.Volts(r) * gain)
	}
	return l, nil
}

// Ceiling is the highest level in dBm that the interlock lets a source be set
// to on a path: with the source's uncertainty and transient added and only the
// least loss taken off, the input stays below its damage level by the margin.
// At a high-impedance input the voltage doubling of an open end is assumed,
// because a feed-through termination can be forgotten.
func Ceiling(u Unit, i Input, p Path, s Source, f quantity.Frequency) float64 {
	return Stands(u, i) - s.over() + p.leastLoss(f)
}

// Stands is the highest level in dBm, matched at the connector, at which an
// input stays below its damage level by the margin. At a high-impedance input
// the voltage doubling of an open end is assumed.
func Stands(u Unit, i Input) float64 {
	damage := i.Damage.DBm(i.Impedance)
	if i.HighImpedance() {
		damage = quantity.VoltLevel(i.Damage.Volts(quantity.Dbm50()) / 2).DBm(quantity.Dbm50())
	}
	return damage - u.Margin()
}

// checkLevels says why levels can't be had, or nil.
func checkLevels(l Levels, u Unit, i Input, p Path, s Source, f quantity.Frequency) error {
	set := l.Source.DBm(quantity.Dbm50())
	if most := Ceiling(u, i, p, s, f); set > most {
		return fmt.Errorf("level too near to the damage level: input %s is destroyed at %s, margin %g dB", i.Name, i.Damage, u.Margin())
	}
	if low := s.Level[0].DBm(quantity.Dbm50()); set < low {
		return fmt.Errorf("level below the source's range: %s gives %s at least", s.Name, s.Level[0])
	}
	if high := s.Level[1].DBm(quantity.Dbm50()); set > high {
		return fmt.Errorf("level above the source's range: %s gives %s at most", s.Name, s.Level[1])
	}
	if i.Maximum != nil && l.Input.DBm(i.Impedance) > i.Maximum.DBm(i.Impedance)+1e-9 {
		return fmt.Errorf("level above the input's highest specified level %s", *i.Maximum)
	}
	return nil
}

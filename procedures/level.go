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
	below, above, ok := p.around(f)
	if !ok {
		return 0, errUnknownLoss{p.Name}
	}
	if below.At.Cmp(above.At) == 0 {
		return below.Loss.Float(), nil
	}
	x, a, b := f.Float(), below.At.Float(), above.At.Float()
	if p.Coax {
		x, a, b = math.Sqrt(x), math.Sqrt(a), math.Sqrt(b)
	}
	return below.Loss.Float() + (above.Loss.Float()-below.Loss.Float())*(x-a)/(b-a), nil
}

// around returns the neighbouring entries of f, twice the same where f is in
// the table; ok is false outside it.
func (p Part) around(f quantity.Frequency) (below, above LossEntry, ok bool) {
	for i, e := range p.Loss {
		switch c := f.Cmp(e.At); {
		case c == 0:
			return e, e, true
		case c < 0 && i == 0:
			return LossEntry{}, LossEntry{}, false
		case c < 0:
			return p.Loss[i-1], e, true
		}
	}
	return LossEntry{}, LossEntry{}, false
}

// uncertaintyAt is U (k = 2) of the loss at f in dB: the larger one of the
// neighbouring entries.
func (p Part) uncertaintyAt(f quantity.Frequency) float64 {
	below, above, ok := p.around(f)
	if !ok {
		return p.Uncertainty.Float()
	}
	u := 0.0
	for _, e := range []LossEntry{below, above} {
		own := p.Uncertainty
		if e.Uncertainty != nil {
			own = *e.Uncertainty
		}
		u = math.Max(u, own.Float())
	}
	return u
}

// leastLoss is what the interlock may count on: table less its uncertainty for
// parts that are permanently fitted, 0 dB for the others and outside the table.
func (p Path) leastLoss(f quantity.Frequency) float64 {
	var sum float64
	for _, part := range p.Parts {
		sum += part.leastLoss(f)
	}
	return sum
}

func (p Part) leastLoss(f quantity.Frequency) float64 {
	x, err := p.at(f)
	if !p.Fixed || err != nil {
		return 0
	}
	return math.Max(0, x-p.uncertaintyAt(f))
}

// gain returns voltage at the input over voltage across a matched 50 Ω load at
// the same place: 1 for a 50 Ω input, 2·|Zin/(Zin + 50 Ω)| for a high-impedance
// one, with Zin from the stated R ∥ C and, if fitted, the 50 Ω feed-through.
func (i Input) gain(f quantity.Frequency, terminated bool) float64 {
	if !i.HighImpedance() {
		return 1
	}
	return gainOf(i.admittance(f, terminated))
}

// gainOf an admittance: 2·|Zin/(Zin + 50)| = 2/|1 + 50·Y|.
func gainOf(g, b float64) float64 { return 2 / math.Hypot(1+50*g, 50*b) }

// admittance is G and B of a high-impedance input, in siemens, with the
// feed-through termination if there is one.
func (i Input) admittance(f quantity.Frequency, terminated bool) (g, b float64) {
	g = 1 / i.Impedance.Float()
	if i.Capacitance != nil {
		b = 2 * math.Pi * f.Float() * i.Capacitance.Float()
	}
	if terminated {
		g += 1.0 / 50
	}
	return g, b
}

// gainSpread is how far the gain may be off, in dB, because R and C of a
// high-impedance input may be off by what is stated of them.
func (i Input) gainSpread(f quantity.Frequency, terminated bool) float64 {
	if !i.HighImpedance() {
		return 0
	}
	tolerance := func(r *quantity.Ratio) float64 {
		if r == nil {
			return 0
		}
		return r.Float()
	}
	g, b := i.admittance(f, terminated)
	own, most := 1/i.Impedance.Float(), 0.0
	for _, r := range []float64{-1, 1} {
		for _, c := range []float64{-1, 1} {
			off := gainOf(g-own+own/(1+r*tolerance(i.ImpedanceTolerance)), b*(1+c*tolerance(i.CapacitanceTolerance)))
			most = math.Max(most, math.Abs(20*math.Log10(off/gainOf(g, b))))
		}
	}
	return most
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
	// Rounded up, so that the input sees no less than asked.
	return levelsAt(i, p, s, f, math.Ceil((connector+loss)/s.LevelStep()-1e-6), loss), nil
}

// levelsAt returns the levels where the source is set to n steps of its level.
func levelsAt(i Input, p Path, s Source, f quantity.Frequency, n, loss float64) Levels {
	r := quantity.Dbm50()
	step := s.LevelStep()
	decimals := int(math.Max(0, math.Ceil(-math.Log10(step)-1e-9)))
	l := Levels{Source: quantity.DBmLevel(n*step, decimals)}
	l.Connector = quantity.DBmLevel(n*step-loss, 2)
	l.Input = l.Connector
	if i.HighImpedance() {
		l.Input = quantity.VoltLevel(l.Connector.Volts(r) * i.gain(f, p.Termination))
	}
	return l
}

// Ceiling is the highest level in dBm that the interlock lets a source be set
// to on a path: with the source's uncertainty and transient added, reflections
// all adding up and only the least loss taken off, the input stays below its
// damage level by the margin. At a high-impedance input the voltage doubling of
// an open end is assumed, because a feed-through termination can be forgotten.
func Ceiling(u Unit, i Input, p Path, s Source, f quantity.Frequency) float64 {
	return Stands(u, i) - s.over() + p.leastLoss(f) - p.highest(s, i, f)
}

// highest is what mismatch may at most add to the level, in dB, where VSWR are
// stated: nothing that a person fits is counted on to be there.
func (p Path) highest(s Source, i Input, f quantity.Frequency) float64 {
	p.Termination = false
	list, _, _ := p.mismatches(s, i, f, func(part Part) (float64, error) { return part.leastLoss(f), nil })
	return least(list)
}

// least sums the lower limits of mismatches, in dB, positive: what they may at
// most take from a level, and, resonance included, add to it.
func least(list []Mismatch) (sum float64) {
	for _, m := range list {
		sum += m.HalfWidth()
	}
	return sum
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

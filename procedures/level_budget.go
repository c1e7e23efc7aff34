package procedures

import (
	"fmt"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// LevelBudget lists what makes the level at a point's input uncertain, in dB:
// where a power meter measures it the meter, its offset and the mismatch behind
// the splitter; else the source, its setting, each part's loss and all
// mismatches of the way; at a high-impedance input the spread of R ∥ C besides.
// It fails where the loss of the path is not known.
func (b *Bench) LevelBudget(i Input, p Point) (uncertainty.Budget, error) {
	path, _ := b.Path(p.Path)
	if p.Metered && path.Meter != nil {
		return b.measuredBudget(i, p, path), nil
	}
	s, _ := b.Source(p.Source)
	lines := uncertainty.Budget{
		uncertainty.Line("level of source "+s.Name, s.LevelUncertainty.Float(), uncertainty.Rectangular, 0, "bench file"),
		uncertainty.Line("level setting of source "+s.Name, s.LevelStep()/2, uncertainty.Rectangular, 0, "half a step of the setting"),
	}
	for _, x := range path.Parts {
		lines = append(lines, uncertainty.Stated("loss of "+x.Name, x.uncertaintyAt(p.Frequency), 2, 0, "bench file, k = 2"))
	}
	list, _, err := path.mismatches(s, i, p.Frequency, part(p.Frequency))
	if err != nil {
		return nil, err
	}
	return append(append(lines, mismatchLines(list)...), spreadLine(i, p.Frequency, path)...), nil
}

// measuredBudget is the budget of a level that the path's power meter measures.
func (b *Bench) measuredBudget(i Input, p Point, path Path) uncertainty.Budget {
	m, _ := b.PowerMeter(path.Meter.Name)
	lines := uncertainty.Budget{
		uncertainty.Stated("power meter "+m.Name, m.Uncertainty.Float(), 2, 0, "bench file, k = 2, its mismatch included"),
		uncertainty.Stated("offset of power meter "+m.Name, path.Meter.table().uncertaintyAt(p.Frequency), 2, 0, "bench file, k = 2"),
	}
	splitter, ok := path.Meter.VSWR.reflection(p.Frequency)
	input, known := i.reflection(p.Frequency, path.Termination)
	if ok && known {
		lines = append(lines, mismatchLines([]Mismatch{{"splitter of power meter " + m.Name + " and input " + i.Name, min(splitter*input, mostMismatch)}})...)
	}
	return append(lines, spreadLine(i, p.Frequency, path)...)
}

// leastMismatch is what is worth a line, in dB.
const leastMismatch = 0.001

func mismatchLines(list []Mismatch) (lines uncertainty.Budget) {
	for _, m := range list {
		if m.HalfWidth() >= leastMismatch {
			lines = append(lines, uncertainty.Line("mismatch of "+m.Between, m.HalfWidth(), uncertainty.UShaped, 0, fmt.Sprintf("20·log10(1 ± %.3g), from VSWR", m.X)))
		}
	}
	return lines
}

func spreadLine(i Input, f quantity.Frequency, path Path) uncertainty.Budget {
	if x := i.gainSpread(f, path.Termination); x > 0 {
		return uncertainty.Budget{uncertainty.Line("impedance of input "+i.Name, x, uncertainty.Rectangular, 0, "tolerance of R and C")}
	}
	return nil
}

// part gives the loss of a part at f.
func part(f quantity.Frequency) func(Part) (float64, error) {
	return func(p Part) (float64, error) { return p.at(f) }
}

// levelU is U (k = 2) in dB of the level at a point's input.
func (b *Bench) levelU(i Input, p Point) (float64, error) {
	budget, err := b.LevelBudget(i, p)
	if err != nil {
		return 0, err
	}
	u, err := budget.Combine()
	if err != nil {
		return 0, fmt.Errorf("level at input %s: %w", i.Name, err)
	}
	return u.Expanded, nil
}

package sensitivity

import (
	"fmt"
	"math"
	"strings"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"

	"gonum.org/v1/gonum/stat"
)

// Unit is the logarithmic unit in which levels of an input are compared: dBm, or
// dBV (relative to 1 V rms) where its impedance is high and a power means nothing.
func Unit(i procedures.Input) string {
	if i.HighImpedance() {
		return "dBV"
	}
	return "dBm"
}

// Decibels is a level in that unit.
func Decibels(i procedures.Input, l quantity.Level) quantity.Exact {
	switch {
	case i.HighImpedance():
		return quantity.ExactDecimal(20 * math.Log10(l.Volts(quantity.Dbm50())))
	case l.IsVoltage():
		return quantity.ExactDecimal(l.DBm(i.Impedance))
	}
	return l.Exact()
}

// judge fills in a row from what was found.
func (x *taking) judge(row *runner.Row, f finding, sr search) error {
	b, i := x.s.Bench(), x.s.Input()
	p, err := b.AtStep(i, x.p, f.found)
	if err != nil {
		return err
	}
	level := x.levelAt(p)
	found := Decibels(i, level)
	budget, err := x.budget(p, f, sr)
	if err != nil {
		return err
	}
	u, err := budget.Combine()
	if err != nil {
		return err
	}
	row.Found, row.Budget, row.Uncertainty = &found, budget, &u
	row.Judge(x.s.Plan().Rule)
	row.Says = x.says(x.words(level, f))
	if f.floor && f.found > sr.within && row.Verdict.Bad() { // the source, not the unit, ends the search there
		row.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.UncertaintyTooLarge}
		row.Says += "; that is above what is specified"
	}
	return nil
}

// levelAt is the level at a setting: as a power meter found it at the last shot
// there that counted properly, else as computed.
func (x *taking) levelAt(p procedures.Point) quantity.Level {
	for k := len(x.shots) - 1; k >= 0; k-- {
		if s := x.shots[k]; s.Level != nil && s.Point.Levels == p.Levels && s.Proper() {
			return s.Level.Input
		}
	}
	return p.Levels.Input
}

// budget is that of the level, with the fine step within which the true level
// lies below what was found, and how the searches scatter.
func (x *taking) budget(p procedures.Point, f finding, sr search) (uncertainty.Budget, error) {
	b := x.s.Bench()
	lines, err := b.LevelBudget(x.s.Input(), p)
	if err != nil {
		return nil, err
	}
	source, _ := b.Source(p.Source)
	lines = append(lines, uncertainty.Line("step of the search", float64(sr.fine)*source.LevelStep(), uncertainty.Rectangular, 0, "fine step"))
	var levels []float64
	for _, p := range f.passes {
		levels = append(levels, float64(p.rank(sr))*source.LevelStep())
	}
	if s := stat.StdDev(levels, nil); s > 0 {
		lines = append(lines, uncertainty.Line("repeatability of the search", s/math.Sqrt(searches), uncertainty.Normal, searches-1, fmt.Sprintf("standard deviation of %d searches", searches)))
	}
	return lines, nil
}

func (x *taking) words(level quantity.Level, f finding) string {
	source, _ := x.s.Bench().Source(x.p.Source)
	db := func(steps int) string { return fmt.Sprintf("%.4g dB", float64(steps)*source.LevelStep()) }
	text := fmt.Sprintf("counts properly from %s on", level)
	if f.floor {
		text = fmt.Sprintf("better than %s: still counts properly at the least level of source %s", level, source.Name)
	} else {
		text += fmt.Sprintf(", hysteresis %s", db(f.hysteresis()))
	}
	low, high := f.passes[0], f.passes[0]
	for _, p := range f.passes {
		if p.none {
			return text + "; one of the searches found no level that counts properly" + x.islands(f) + x.again(f)
		}
		if p.found < low.found {
			low = p
		}
		if p.found > high.found {
			high = p
		}
	}
	if d := high.found - low.found; d > 0 {
		text += fmt.Sprintf("; the searches differ by %s", db(d))
	}
	return text + x.islands(f) + x.again(f)
}

// again says where a unit counts properly below what was found.
func (x *taking) again(f finding) string {
	if len(f.again) == 0 {
		return ""
	}
	return fmt.Sprintf("; it counts properly at lower levels, from %s to %s: an island of miscounts lies between", x.at(f.again[len(f.again)-1]), x.at(f.again[0]))
}

// at is the level at the input at a setting.
func (x *taking) at(level int) string {
	p, err := x.s.Bench().AtStep(x.s.Input(), x.p, level)
	if err != nil {
		return err.Error()
	}
	return p.Levels.Input.String()
}

func (x *taking) islands(f finding) string {
	var list []string
	for _, n := range f.islands {
		list = append(list, x.at(n))
	}
	if len(list) == 0 {
		return ""
	}
	return fmt.Sprintf("; an island of miscounts at %s, below which it counts from %s on", strings.Join(list, ", "), x.first(f))
}

// first is the level that the searches found before islands were looked for.
func (x *taking) first(f finding) string {
	least := f.passes[0].found
	for _, p := range f.passes {
		if !p.none {
			least = min(least, p.found)
		}
	}
	return x.at(least)
}

// says joins a finding and the notes of the search.
func (x *taking) says(text string) string {
	return strings.Join(append([]string{text}, x.notes...), "; ")
}

// curves draws what was found against what is promised.
func curves(t procedures.Task, i procedures.Input, rows []runner.Row) []runner.Curve {
	found := runner.CurveLine{Name: "found"}
	promised := runner.CurveLine{Name: "specified", Fit: true}
	for _, r := range rows {
		promised.X, promised.Y = append(promised.X, r.At.Float()), append(promised.Y, r.Limit.Float())
		if r.Found != nil {
			found.X, found.Y, found.U = append(found.X, r.At.Float()), append(found.Y, r.Found.Float()), append(found.U, r.Uncertainty.Expanded)
		}
	}
	if len(found.X) == 0 {
		return nil
	}
	return []runner.Curve{{Title: "Sensitivity of input " + i.Name + " over " + t.Path, X: runner.Axis{Name: "frequency", Unit: "Hz", Log: true},
		Y: runner.Axis{Name: "least level that counts properly", Unit: Unit(i)}, Lines: []runner.CurveLine{found, promised}}}
}

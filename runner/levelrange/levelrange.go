// Package levelrange is the kind of measurement "level range": whether an input
// counts properly at all levels from the specified sensitivity to the highest
// specified one, in steps, never beyond: within the uncertainty of the level
// from either end the true level may lie outside what is promised, so the steps
// keep that distance. Proper is n of n readings within the limit and none
// missing. What may not be set, because of damage level, source or power meter,
// is left out and said. Where the least level that counts lies is the business
// of runner/sensitivity.
package levelrange

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
	"bandproof/runner/sensitivity"
)

// Kind takes level ranges.
type Kind struct{}

// Kind is the word in a procedure.
func (Kind) Kind() string { return "level range" }

// Keys returns the keys of a table.
func (Kind) Keys() procedures.Keys { return &keys{} }

type keys struct {
	procedures.Frequencies
	Gate      quantity.Duration `toml:"gate" json:"gate" jsonschema_description:"Gate time."`
	Readings  int               `toml:"readings,omitempty" json:"readings,omitempty" jsonschema:"minimum=1,maximum=1000" jsonschema_description:"Readings at each level, all of which must be good; 3 unless stated."`
	LevelStep *quantity.Gain    `toml:"level_step,omitempty" json:"level_step,omitempty" jsonschema_description:"Step of the level; 5 dB unless stated."`
}

var usualStep = quantity.Of[quantity.Decibel](5, 0)

func (k *keys) levelStep() quantity.Gain {
	if k.LevelStep == nil {
		return usualStep
	}
	return *k.LevelStep
}

// Check implements procedures.Keys.
func (k *keys) Check(p *procedures.Procedure, m procedures.Measure) (wrong []procedures.Wrong) {
	add := func(key, format string, args ...any) {
		wrong = append(wrong, procedures.Wrong{Key: key, Text: fmt.Sprintf(format, args...)})
	}
	if m.Input == "" {
		add("input", "is missing; a level range is that of one input")
		return wrong
	}
	i, _ := p.Input(m.Input)
	if i.Maximum == nil {
		add("input", "is %q, for which no maximum is stated: its level range has no upper end", m.Input)
	}
	wrong = append(append(wrong, k.Frequencies.Check(i)...), procedures.CheckGate(k.Gate)...)
	if k.Readings < 0 || k.Readings > 1000 {
		add("readings", "is %d; expected 1 to 1000", k.Readings)
	}
	if s := k.levelStep(); s.Sign() <= 0 || s.Float() > 100 {
		add("level_step", "is %s; expected above 0 and at most 100 dB", s)
	}
	return wrong
}

// Plan implements procedures.Keys: one task a path, with a point at the
// specified sensitivity for each frequency.
func (k *keys) Plan(d *procedures.Draft, m procedures.Measure) error {
	i, _ := d.Procedure().Input(m.Input)
	points, err := d.At(m, i, k.Frequencies, procedures.Want{Gate: k.Gate, Readings: k.Readings})
	if err != nil {
		return err
	}
	for _, t := range d.ByPath(m, i, points) {
		for _, p := range t.Points {
			l, err := k.levels(d.Bench(), d.Procedure().Unit, i, p)
			if err != nil {
				d.Warn("%s: %v", m.Title(), err)
			}
			if l.short != "" {
				d.Warn("%s at %s: levels above %s are not shown: %s", m.Title(), p.Frequency, l.highest, l.short)
			}
			t.Seconds += p.Seconds * float64(len(l.points))
		}
		d.Add(m, t)
	}
	return nil
}

// levels are the points at one frequency, rising.
type levels struct {
	points  []procedures.Point
	highest quantity.Level // at the input
	short   string         // why the highest specified level is not reached, or ""
}

func (k *keys) levels(b *procedures.Bench, u procedures.Unit, i procedures.Input, p procedures.Point) (l levels, err error) {
	steps, err := b.Steps(u, i, p)
	if err != nil {
		return l, err
	}
	outside := func(n int) bool {
		x, why := b.AtStep(i, p, n)
		err = errors.Join(err, why)
		return i.MayLieOutside(x)
	}
	low, high := max(b.StepOf(p), steps.Lowest), steps.Highest
	for low <= high && outside(low) {
		low++
	}
	for low <= high && outside(high) {
		high--
	}
	if err == nil && low > high {
		err = fmt.Errorf("at %s the uncertainty of the level leaves nothing between sensitivity and maximum", p.Frequency)
	}
	for n := low; err == nil; n = min(n+b.LevelSteps(p, k.levelStep()), high) {
		var x procedures.Point
		x, err = b.AtStep(i, p, n)
		l.points, l.highest = append(l.points, x), x.Levels.Input
		if n == high {
			break
		}
	}
	if err == nil && high == steps.Highest && !outside(high+1) {
		l.short = steps.Upper
	}
	return l, err
}

// Take takes all levels at each frequency of a task.
func (Kind) Take(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	o, err := s.ByFrequency(ctx, func(ctx context.Context, p procedures.Point) (runner.Row, []runner.PointResult, error) {
		return frequency(ctx, s, t.Keys.(*keys), p)
	})
	o.Curves = []runner.Curve{curve(s.Input(), t, o.Shots)}
	return o, err
}

// frequency takes the levels at one frequency from the lowest up; each is a
// point as the band sweep takes it, with its second look and path proof.
func frequency(ctx context.Context, s *runner.Station, k *keys, p procedures.Point) (runner.Row, []runner.PointResult, error) {
	row := runner.Row{What: "counts properly over the level range", At: &p.Frequency}
	l, err := k.levels(s.Bench(), s.Procedure().Unit, s.Input(), p)
	if err != nil {
		row.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.UncertaintyTooLarge}
		row.Says = err.Error()
		return row, nil, nil
	}
	var shots []runner.PointResult
	for _, x := range l.points {
		shot, err := s.Point(ctx, x)
		if err != nil {
			return row, nil, err
		}
		shots = append(shots, shot)
	}
	judge(&row, shots, l)
	if u, b, err := levelU(s, l.points[0]); err == nil {
		row.Uncertainty, row.Budget, row.Unit = &u, b, "dB"
		row.Says += fmt.Sprintf("; nearer to the ends than U = %.2g dB (k = %.3g) the level can't tell", u.Expanded, u.CoverageFactor)
	}
	return row, shots, nil
}

func levelU(s *runner.Station, p procedures.Point) (u uncertainty.Result, b uncertainty.Budget, err error) {
	if b, err = s.Bench().LevelBudget(s.Input(), p); err == nil {
		u, err = b.Combine()
	}
	return u, b, err
}

// judge: one level that miscounts fails the range; else one that could not be
// shown leaves it open.
func judge(row *runner.Row, shots []runner.PointResult, l levels) {
	var wrong, open []string
	var first decision.Verdict
	for _, x := range shots {
		at := x.Point.Levels.Input.String()
		switch {
		case !x.Judged():
			open = append(open, at+" ("+string(x.Verdict.Reason)+")")
			if len(wrong) == 0 && len(open) == 1 {
				first = x.Verdict
			}
		case !x.Proper() || x.Verdict.Word == decision.Fail:
			wrong = append(wrong, at)
			if len(wrong) == 1 {
				if first = x.Verdict; first.Word != decision.Fail {
					first = decision.Verdict{Word: decision.Fail, Reason: decision.ReadingOutside}
				}
			}
		}
	}
	lowest := shots[0].Point.Levels.Input
	row.Verdict, row.Says = decision.Verdict{Word: decision.Pass}, fmt.Sprintf("counts properly at all %d levels from %s to %s", len(shots), lowest, l.highest)
	if len(wrong)+len(open) > 0 {
		row.Verdict, row.Says = first, fmt.Sprintf("%d levels from %s to %s", len(shots), lowest, l.highest)
	}
	if len(wrong) > 0 {
		row.Says += "; miscounts at " + strings.Join(wrong, ", ")
	}
	if len(open) > 0 {
		row.Says += "; not judged at " + strings.Join(open, ", ")
	}
	if l.short != "" {
		row.Says += "; not shown above: " + l.short
	}
}

// curve draws which levels counted properly.
func curve(i procedures.Input, t procedures.Task, shots []runner.PointResult) runner.Curve {
	lines := [3]runner.CurveLine{{Name: "counts properly"}, {Name: "miscounts"}, {Name: "not judged"}}
	for _, x := range shots {
		n := 1
		switch {
		case !x.Judged():
			n = 2
		case x.Proper() && x.Verdict.Word != decision.Fail:
			n = 0
		}
		lines[n].X = append(lines[n].X, x.Point.Frequency.Float())
		lines[n].Y = append(lines[n].Y, sensitivity.Decibels(i, x.Point.Levels.Input).Float())
	}
	c := runner.Curve{Title: "Level range of input " + i.Name + " over " + t.Path, X: runner.Axis{Name: "frequency", Unit: "Hz", Log: true}, Y: runner.Axis{Name: "level at the input", Unit: sensitivity.Unit(i)}}
	for _, l := range lines {
		if len(l.X) > 0 {
			c.Lines = append(c.Lines, l)
		}
	}
	return c
}

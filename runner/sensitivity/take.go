package sensitivity

import (
	"context"
	"errors"
	"fmt"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/runner"
)

const what = "least level that counts properly"

// Take searches at each frequency of a task.
func (Kind) Take(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	o, err := s.ByFrequency(ctx, func(ctx context.Context, p procedures.Point) (runner.Row, []runner.PointResult, error) {
		return (&taking{s: s, k: t.Keys.(*keys), p: p}).frequency(ctx)
	})
	o.Curves = curves(t, s.Input(), o.Rows)
	return o, err
}

// taking is the search at one frequency.
type taking struct {
	s     *runner.Station
	k     *keys
	p     procedures.Point // at the specified level
	shots []runner.PointResult
	notes []string
}

// notShown ends a search where the bench could not show a level.
type notShown struct{ why decision.Reason }

func (n notShown) Error() string { return string(n.why) }

func (x *taking) frequency(ctx context.Context) (runner.Row, []runner.PointResult, error) {
	row := x.row()
	f, sr, err := x.search(ctx)
	var open notShown
	switch {
	case errors.As(err, &open):
		err, row.Verdict = nil, decision.Verdict{Word: decision.NotJudged, Reason: open.why}
		row.Says = x.says("search ended where the bench could not show a level")
	case err != nil:
		return row, nil, err
	case f.none:
		err = x.nothing(ctx, &row, f, sr)
	default:
		err = x.judge(&row, f, sr)
	}
	return row, x.shots, err
}

// row begins the row of a frequency: what is promised there.
func (x *taking) row() runner.Row {
	i := x.s.Input()
	specified, _ := i.SensitivityAt(x.p.Frequency) // the plan has asked
	limit := Decibels(i, specified)
	return runner.Row{What: what, At: &x.p.Frequency, Unit: Unit(i), Limit: &limit, Side: runner.AtMost}
}

func (x *taking) search(ctx context.Context) (finding, search, error) {
	b, i := x.s.Bench(), x.s.Input()
	steps, err := b.Steps(x.s.Procedure().Unit, i, x.p)
	if err != nil {
		x.notes = append(x.notes, err.Error())
		return finding{}, search{}, notShown{decision.InterlockRefused}
	}
	above := or(x.k.Above, usualAbove)
	promised, span := b.StepOf(x.p), b.LevelSteps(x.p, above)
	sr := search{lowest: steps.Lowest, start: promised + span, promised: promised, within: promised, bottom: promised - span,
		coarse: b.LevelSteps(x.p, or(x.k.Coarse, usualCoarse)), fine: b.LevelSteps(x.p, or(x.k.Fine, usualFine))}
	if specified, _ := i.SensitivityAt(x.p.Frequency); Decibels(i, x.p.Levels.Input).Cmp(Decibels(i, specified)) > 0 {
		sr.within--
	}
	if sr.start > steps.Highest {
		sr.start = steps.Highest
		x.notes = append(x.notes, fmt.Sprintf("begun less than %s above the specification: %s", above, steps.Upper))
	}
	sr.proper = func(level int) (bool, error) { return x.proper(ctx, level) }
	f, err := sr.find()
	return f, sr, err
}

// proper takes one level. A level that the bench could not show is tried a
// second time before the search is given up.
func (x *taking) proper(ctx context.Context, level int) (bool, error) {
	p, err := x.s.Bench().AtStep(x.s.Input(), x.p, level)
	if err != nil {
		return false, err
	}
	var shot runner.PointResult
	for range 2 {
		if shot, err = x.s.Shot(ctx, p); err != nil {
			return false, err
		}
		x.shots = append(x.shots, shot)
		if shot.Judged() {
			return shot.Proper(), nil
		}
	}
	x.notes = append(x.notes, shot.Notes...)
	return false, notShown{shot.Verdict.Reason}
}

// nothing is the judgement where no level counts properly: the highest one is
// taken as a point of the band sweep is, which proves the path.
func (x *taking) nothing(ctx context.Context, row *runner.Row, f finding, sr search) error {
	p, err := x.s.Bench().AtStep(x.s.Input(), x.p, sr.start)
	if err != nil {
		return err
	}
	last, err := x.s.Point(ctx, p)
	if err != nil {
		return err
	}
	x.shots = append(x.shots, last)
	row.Verdict = last.Verdict
	if last.Verdict.Good() {
		row.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.Unstable}
	}
	if !last.Judged() {
		x.notes = append(x.notes, last.Notes...)
	}
	row.Says = x.says(fmt.Sprintf("does not count properly at %s, where the search begins", p.Levels.Input) + x.again(f))
	return nil
}

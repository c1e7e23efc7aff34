package gate

import (
	"context"
	"fmt"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// seen is one reading of a walk with what it should be.
type seen struct {
	value quantity.Exact
	shot  int // index among the shots
}

// found is all that was read at one gate.
type found struct {
	*runner.Station
	w      planned
	shots  []runner.PointResult // timing, last digit, and each higher one after the other
	last   []seen
	higher [][]seen
	notes  []string
}

// Take reads one gate.
func (Kind) Take(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	f := &found{Station: s, w: t.Keys.(planned)}
	first, err := s.Point(ctx, f.w.timing)
	if err != nil {
		return runner.Outcome{}, err
	}
	f.shots = append(f.shots, first)
	out := runner.Outcome{Standards: s.Standards(t.Points...)}
	if !counts(first) {
		out.Rows = []runner.Row{{What: "gate " + f.w.timing.Gate.String(), At: &f.w.timing.Frequency, Verdict: first.Verdict}}
	} else if err := f.walk(ctx); err != nil {
		return out, err
	} else if out.Rows, err = f.rows(); err != nil {
		return out, err
	}
	out.Shots, out.Notes = f.shots, f.notes
	for k := range out.Shots {
		out.Shots[k].Point.ID = fmt.Sprintf("%s.%d", t.ID, k+1)
	}
	return out, nil
}

// counts tells whether a shot has all its readings, right or wrong.
func counts(p runner.PointResult) bool {
	return p.Counted >= p.Point.Readings && p.Verdict.Word != decision.NotJudged && p.Verdict.Reason != decision.NoCount
}

// walk steps the source through the values of each digit. What the bench can't
// show is left out and noted.
func (f *found) walk(ctx context.Context) error {
	take := func(p procedures.Point) ([]seen, error) {
		shot, err := f.Shot(ctx, p)
		if err != nil {
			return nil, err
		}
		f.shots = append(f.shots, shot)
		if shot.Verdict.Word == decision.NotJudged {
			f.notes = append(f.notes, fmt.Sprintf("at %s: %s", p.Frequency, shot.Verdict.Reason))
			return nil, nil
		}
		return readings(shot, len(f.shots)-1), nil
	}
	for _, p := range f.w.last {
		list, err := take(p)
		if err != nil {
			return err
		}
		f.last = append(f.last, list...)
	}
	for _, row := range f.w.higher {
		at := readings(f.shots[0], 0) // the tenth value
		for _, p := range row {
			list, err := take(p)
			if err != nil {
				return err
			}
			at = append(at, list...)
		}
		f.higher = append(f.higher, at)
	}
	return nil
}

func readings(p runner.PointResult, shot int) (list []seen) {
	for _, x := range p.Readings {
		if x.Use == runner.Counted && x.Mark == drivers.None {
			list = append(list, seen{x.Frequency.Exact(), shot})
		}
	}
	return list
}

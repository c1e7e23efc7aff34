package overlap

import (
	"context"
	"fmt"

	"bandproof/procedures"
	"bandproof/runner"
)

// Take reads the frequency at one input, and where the other input was read
// before compares the two.
func (Kind) Take(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	shot, err := s.Point(ctx, t.Points[0])
	if err != nil {
		return runner.Outcome{}, err
	}
	out := runner.Outcome{Shots: []runner.PointResult{shot}, Rows: []runner.Row{reading(shot)}, Standards: s.Standards(t.Points...)}
	if first, ok := other(s, t); ok {
		row, err := compare(s, t, first, shot)
		if err != nil {
			return out, err
		}
		out.Rows = append(out.Rows, row)
	}
	return out, nil
}

// other finds what was read at the other input in this run.
func other(s *runner.Station, t procedures.Task) (found runner.Outcome, ok bool) {
	for _, o := range s.Outcomes() {
		if o.Task.Kind == t.Kind && o.Task.Measure == t.Measure && o.Task.Input != t.Input && ordinal(s, o.Task) == ordinal(s, t) {
			found, ok = o, true
		}
	}
	return found, ok
}

// ordinal tells the pairs of a table apart: the two tasks of one frequency
// stand at the same place among those of their inputs.
func ordinal(s *runner.Station, t procedures.Task) int {
	n := 0
	for _, x := range s.Plan().Tasks {
		if x.Kind == t.Kind && x.Measure == t.Measure && x.Input == t.Input {
			if n++; x.ID == t.ID {
				break
			}
		}
	}
	return n
}

// reading reports one input. It is judged only where there is nothing to compare.
func reading(shot runner.PointResult) runner.Row {
	f := shot.Point.Frequency
	row := runner.Row{What: "mean reading at input " + shot.Point.Input, At: &f}
	if !usable(shot) {
		row.Verdict = shot.Verdict
		return row
	}
	row.Unit, row.Found, row.Uncertainty, row.Budget = "Hz", &shot.Mean, &shot.Reported, shot.ReportedBudget
	row.Says = fmt.Sprintf("reads %s Hz", shot.Mean.Fixed(3))
	return row
}

// usable tells whether all readings of a shot are numbers that a mean may be
// made of, in or out of their limit.
func usable(shot runner.PointResult) bool {
	return shot.Counted >= shot.Point.Readings && (shot.Verdict.Good() || shot.Verdict.Bad() && outside(shot.Verdict.Reason))
}

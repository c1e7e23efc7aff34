package record

import (
	"errors"
	"fmt"
	"math"

	"bandproof/procedures/decision"
	"bandproof/runner"
)

// checkStatement makes sure that the statement does not say better of the unit
// than a verdict does.
func (r Record) checkStatement() error {
	within := map[runner.Statement]bool{runner.WithinAll: true, runner.WithinShown: true, runner.WithinPoints: true}
	if !within[r.Run.Statement] {
		return nil
	}
	if len(r.Run.Only) > 0 && r.Run.Statement != runner.WithinPoints {
		return fmt.Errorf("statement is %q, but only single points were taken", r.Run.Statement)
	}
	if failed, _, open := r.Run.Worst(); failed || open {
		return fmt.Errorf("statement is %q, but not everything has passed", r.Run.Statement)
	}
	return nil
}

// checkOutcomes says whether what other kinds of measurement found is whole.
func (r Record) checkOutcomes() error {
	if r.Run.Complete && len(r.Run.Outcomes) != r.Run.PlannedTasks {
		return fmt.Errorf("run is complete, but has %d of %d tasks", len(r.Run.Outcomes), r.Run.PlannedTasks)
	}
	seen := map[string]bool{}
	for _, o := range r.Run.Outcomes {
		if seen[o.Task.ID] {
			return fmt.Errorf("task %s stands twice", o.Task.ID)
		}
		seen[o.Task.ID] = true
		if err := checkOutcome(o); err != nil {
			return fmt.Errorf("task %s: %w", o.Task.ID, err)
		}
	}
	return nil
}

func checkOutcome(o runner.Outcome) error {
	if len(o.Rows) == 0 {
		return errors.New("has no finding")
	}
	for _, x := range o.Rows {
		if err := checkRow(x); err != nil {
			return fmt.Errorf("%s: %w", x.What, err)
		}
	}
	for _, shot := range o.Shots {
		if err := checkPoint(shot); err != nil {
			return fmt.Errorf("%s: %w", shot.Point.ID, err)
		}
	}
	for _, c := range o.Curves {
		for _, l := range c.Lines {
			if len(l.X) != len(l.Y) || len(l.U) > 0 && len(l.U) != len(l.Y) {
				return fmt.Errorf("%s, %s: has %d places for %d values with %d uncertainties", c.Title, l.Name, len(l.X), len(l.Y), len(l.U))
			}
		}
	}
	return nil
}

// checkWord knows the words of a verdict.
func checkWord(w decision.Word) error {
	switch w {
	case decision.Pass, decision.ConditionalPass, decision.ConditionalFail, decision.Fail, decision.NotJudged:
		return nil
	}
	return fmt.Errorf("verdict %q is no word of a verdict", w)
}

// checkRow makes sure that margin and verdict follow from what was found. One
// that only reports has no verdict.
func checkRow(x runner.Row) error {
	if u := x.Uncertainty; u != nil && !(u.Expanded >= 0 && !math.IsInf(u.Expanded, 0)) {
		return errors.New("its uncertainty is no number from zero up")
	}
	if x.Verdict.Word == "" {
		return nil
	}
	if err := checkWord(x.Verdict.Word); err != nil {
		return err
	}
	switch {
	case x.Limit == nil || !x.Judged():
		return nil
	case x.Side != runner.AtMost && x.Side != runner.AtLeast && x.Side != runner.Within:
		return fmt.Errorf("limit is on the side %q, which is none", x.Side)
	case x.Found == nil && x.Verdict.Good():
		return errors.New("passes a limit without a number")
	case x.Found == nil:
		return nil
	}
	return checkMargin(x)
}

func checkMargin(x runner.Row) error {
	again := x
	again.Margin = nil
	again.Judge(decision.Rule{Name: decision.Simple})
	switch {
	case x.Margin == nil || again.Margin.Cmp(*x.Margin) != 0:
		return errors.New("margin is not limit less what was found")
	case x.Verdict.Good() && x.Margin.Sign() < 0:
		return errors.New("passes beyond its limit")
	case x.Verdict.Bad() && x.Verdict.Reason == decision.OutsideLimit && x.Margin.Sign() >= 0:
		return errors.New("fails for its limit, but lies on the good side of it")
	case x.GuardBand == nil || !x.Verdict.Good():
		return nil
	case (x.Margin.Cmp(*x.GuardBand) < 0) != (x.Verdict.Word == decision.ConditionalPass):
		return fmt.Errorf("is a %s with a margin of %s and a guard band of %s", x.Verdict.Word, x.Margin, x.GuardBand)
	}
	return nil
}

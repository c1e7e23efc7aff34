package timebase

import (
	"fmt"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
)

// warmedUp is how long the unit took to be warm, as the run watched it; ok is
// false where it did not. Warm means that the drift had come down for as long as
// the procedure asks for, so that the time holds that as well: what the
// specification promises is compared with when it began to be so.
func (f *found) warmedUp() (row runner.Row, ok bool) {
	w := f.s.WarmUp()
	if w == nil {
		return row, false
	}
	row = runner.Row{What: "time from switching on until warm", Unit: "s", Says: w.Ended}
	limit := f.keys.WarmUp.Exact()
	promised := limit.Sign() > 0
	not := func(why decision.Reason, says string) (runner.Row, bool) {
		if promised {
			row.Limit, row.Side, row.Verdict = &limit, runner.AtMost, decision.Verdict{Word: decision.NotJudged, Reason: why}
		}
		row.Says = says
		return row, true
	}
	switch on := quantity.ExactDecimal(firstOn(w)); {
	case len(w.Readings) == 0:
		return not(decision.NoOperator, w.Ended)
	case promised && on.Cmp(limit) > 0:
		return not(decision.NotCold, fmt.Sprintf("the unit had been on for %s already when the warm-up began", f.s.OnAtStart()))
	case !w.Steady:
		if last := w.Readings[len(w.Readings)-1]; promised && last.On >= limit.Float()+w.Until.Over.Float() {
			row.Limit, row.Side, row.Verdict = &limit, runner.AtMost, decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}
			return row, true
		}
		return not(decision.UncertaintyTooLarge, w.Ended)
	}
	began := quantity.ExactDecimal(w.Readings[len(w.Readings)-1].On - w.Until.Over.Float())
	if began.Sign() < 0 {
		began = quantity.Exact{}
	}
	row.Found = &began
	row.Budget = uncertainty.Budget{uncertainty.Line("from one reading to the next", w.Until.Every.Float(), uncertainty.Rectangular, 0, "procedure")}
	if u, err := row.Budget.Combine(); err == nil {
		row.Uncertainty = &u
	}
	if promised {
		row.Limit, row.Side = &limit, runner.AtMost
		row.Judge(f.s.Procedure().Decision)
	}
	return row, true
}

// firstOn is how long the unit had been on at the first reading, in seconds.
func firstOn(w *runner.WarmUp) float64 {
	if len(w.Readings) == 0 {
		return 0
	}
	return w.Readings[0].On
}

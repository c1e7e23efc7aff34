package overlap

import (
	"fmt"
	"math"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
)

// outside tells of a reason that it is about the size of an error, not about
// readings that are missing or scatter.
func outside(why decision.Reason) bool {
	return why == decision.OutsideLimit || why == decision.ReadingOutside || why == ""
}

// compare judges the difference of the errors at both inputs. It is of errors,
// not readings, because two sources may be set to steps that differ.
func compare(s *runner.Station, t procedures.Task, before runner.Outcome, now runner.PointResult) (runner.Row, error) {
	f := t.Points[0].Frequency
	row := runner.Row{What: fmt.Sprintf("difference of inputs %s and %s", now.Point.Input, before.Task.Input), At: &f, Unit: "Hz", Side: runner.Within}
	if why, failed := missing(before, now); why != "" {
		row.Unit, row.Side, row.Says = "", "", "not compared: "+why
		if !failed { // what failed has its own row; what could not be shown leaves this open
			row.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.Reason(why)}
		}
		return row, nil
	}
	first := before.Shots[0]
	found := now.Error.Sub(first.Error)
	row.Found = &found
	between := now.Finished.Sub(first.Started)
	drift, how := allowed(t.Keys.(*keys), s, now.Point.Source, between)
	limit := counting(first.Limit).Add(counting(now.Limit)).Add(drift.Mul(now.Reference))
	row.Limit = &limit
	row.Budget = differences(bench(s, first), bench(s, now))
	row.Budget = append(row.Budget, append(scatter(first), scatter(now)...)...)
	u, err := row.Budget.Combine()
	if err != nil {
		return row, fmt.Errorf("overlap: %w", err)
	}
	row.Uncertainty = &u
	row.Judge(s.Procedure().Decision)
	if tur, limited := decision.TUR(limit, u.Expanded); limited && tur < 1 && found.Abs().Cmp(limit.Add(quantity.ExactDecimal(u.Expanded))) <= 0 {
		row.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.UncertaintyTooLarge}
	}
	row.Says = fmt.Sprintf("%s reads %s Hz, %s reads %s Hz of error; the timebase cancels, %s", before.Task.Input, first.Error.Fixed(3), now.Point.Input, now.Error.Fixed(3), how)
	return row, nil
}

// missing says what stands against a comparison, and whether the unit is to blame.
func missing(before runner.Outcome, now runner.PointResult) (why string, failed bool) {
	if len(before.Shots) == 0 {
		return string(before.Rows[0].Verdict.Reason), false
	}
	for _, shot := range []runner.PointResult{before.Shots[0], now} {
		if !usable(shot) {
			return string(shot.Verdict.Reason), shot.Verdict.Bad()
		}
	}
	return "", false
}

// counting is what a limit allows an input by itself: all terms but the
// timebase, which is the same for both.
func counting(l accuracy.Limit) quantity.Exact {
	sum := quantity.Exact{}
	for _, t := range l.Terms {
		if t.Name != accuracy.TimebaseTerm {
			sum = sum.Add(t.Hz)
		}
	}
	return sum
}

// allowed is how much the unit's timebase may have changed between the two.
func allowed(k *keys, s *runner.Station, source string, between time.Duration) (relative quantity.Exact, how string) {
	minutes := fmt.Sprintf("%.1f min between", between.Minutes())
	switch {
	case !s.Plan().Topology[source].TimebaseTested:
		return quantity.Exact{}, "and the unit does not run from it; " + minutes
	case k.Drift != nil:
		return k.Drift.Exact(), fmt.Sprintf("its drift of %s is allowed; %s", k.Drift, minutes)
	}
	over := quantity.Of[quantity.Second](int64(math.Ceil(between.Seconds())), 0)
	x, stated := s.Procedure().Unit.Timebase.Drift(over)
	if !stated {
		return x, "no drift of it is allowed; " + minutes
	}
	return x, fmt.Sprintf("its ageing of %.2g is allowed; %s", x.Float(), minutes)
}

// bench is what reference and source add at one input.
func bench(s *runner.Station, shot runner.PointResult) uncertainty.Budget {
	source, _ := s.Bench().Source(shot.Point.Source)
	return s.Plan().BenchBudget(source, shot.Point.Frequency)
}

// differences is the budget of a difference: what is the same for both (one
// reference, one source) shifts them alike and cancels but for a rest that
// unequal frequencies leave; all else stays.
func differences(a, b uncertainty.Budget) (list uncertainty.Budget) {
	other := map[string]uncertainty.Contribution{}
	for _, x := range b {
		other[x.Name] = x
	}
	for _, x := range a {
		y, both := other[x.Name]
		if !both {
			list = append(list, x)
			continue
		}
		delete(other, x.Name)
		if rest := math.Abs(x.Value - y.Value); rest > 0 {
			x.Name, x.Value = "rest of "+x.Name, rest
			x.Standard = rest / x.Divisor()
			list = append(list, x)
		}
	}
	for _, y := range b {
		if _, left := other[y.Name]; left {
			list = append(list, y)
		}
	}
	return list
}

// scatter is the repeatability of one input where its readings differ by more
// than the count that the limit allows already.
func scatter(shot runner.PointResult) uncertainty.Budget {
	var list []quantity.Exact
	for _, x := range shot.Readings {
		if x.Use == runner.Counted && x.Mark == drivers.None {
			list = append(list, x.Frequency.Exact().Sub(shot.Reference))
		}
	}
	line, ok := procedures.Repeatability(list)
	if !ok || shot.Spread.Cmp(shot.Limit.Resolution) <= 0 {
		return nil
	}
	line.Name += " at input " + shot.Point.Input
	return uncertainty.Budget{line}
}

package edge

import (
	"context"
	"fmt"
	"math"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
)

// An edge has no verdict of its own: where it lies within what is specified,
// points of the sweep have failed. What is found is the middle of the last
// bracket; its half is a rectangular line of the budget.

func frequencyRow(s *runner.Station, c change) (runner.Row, error) {
	low, high := c.low.shot.Point.Frequency, c.high.shot.Point.Frequency
	source, _ := s.Bench().Source(c.low.shot.Point.Source)
	two := quantity.ExactInt(2)
	middle := c.low.shot.Reference.Add(c.high.shot.Reference).Quo(two)
	row := runner.Row{What: "edge in frequency", At: &high, Unit: "Hz", Found: &middle,
		Budget: append(s.Plan().BenchBudget(source, high), bracket(high.Sub(low).Float()/2))}
	if c.low.good {
		row.At = &low
		row.Says = fmt.Sprintf("counts up to %s; from %s on: %s", low, high, symptom(c.high.shot))
	} else {
		row.Says = fmt.Sprintf("counts from %s on; up to %s: %s", high, low, symptom(c.low.shot))
	}
	return finished(row, c)
}

// symptom is what a shot that is not proper showed.
func symptom(p runner.PointResult) string {
	if !p.Verdict.Bad() { // the mean is within the limit, a reading or the scatter is not
		return string(decision.Unstable)
	}
	return string(p.Verdict.Reason)
}

func bracket(half float64) uncertainty.Contribution {
	return uncertainty.Line("half of the bracket", half, uncertainty.Rectangular, 0, "last setting that counts, first that does not")
}

func finished(row runner.Row, c change) (runner.Row, error) {
	if c.why != "" {
		row.Says += " (not known better: " + c.why + ")"
	}
	u, err := row.Budget.Combine()
	if err != nil {
		return row, fmt.Errorf("edge: %w", err)
	}
	row.Uncertainty = &u
	return row, nil
}

// takeLevel looks for edges in level at one frequency.
func (k *keys) takeLevel(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	as := t.Points[0]
	look := &search{left: mostProbes,
		close: func(a, b sample) bool { return b.x-a.x <= k.toLevel()*(1+1e-9) },
		probe: func(ctx context.Context, x float64) (sample, string, error) {
			p, err := s.AtLevel(as, wish(as, x))
			if err != nil {
				return sample{}, err.Error(), nil
			}
			return shot(ctx, s, p, level(p))
		}}
	var list []sample
	lowest, highest := k.Levels[0].DBm(quantity.Dbm50()), k.Levels[1].DBm(quantity.Dbm50())
	for n := range k.steps() + 1 { // from the highest level down, where the path is likely to prove itself
		got, why, err := look.at(ctx, highest+(lowest-highest)*float64(n)/float64(k.steps()))
		switch {
		case err != nil:
			return runner.Outcome{}, err
		case why != "":
			look.open = append(look.open, why)
		case len(list) == 0 || got.x < list[0].x:
			list = append([]sample{got}, list...)
		}
	}
	found, err := look.changes(ctx, list)
	if err != nil {
		return runner.Outcome{}, err
	}
	out := runner.Outcome{Shots: look.shots, Notes: look.open, Standards: s.Standards(as)}
	for _, c := range found {
		row, err := levelRow(s, c)
		if err != nil {
			return out, err
		}
		out.Rows = append(out.Rows, row)
	}
	if len(found) == 0 {
		out.Rows = []runner.Row{noneInLevel(as.Frequency, list)}
	}
	number(&out, t)
	return out, nil
}

// wish is a level in the unit of the point's.
func wish(p procedures.Point, dBm float64) quantity.Level {
	x := quantity.DBmLevel(dBm, 2)
	if p.Levels.Input.IsVoltage() {
		return quantity.VoltLevel(x.Volts(quantity.Dbm50()))
	}
	return x
}

func noneInLevel(f quantity.Frequency, list []sample) runner.Row {
	row := runner.Row{What: "edge in level", At: &f, Says: "not looked for: the bench could show no level"}
	if len(list) > 0 {
		does := "counts"
		if !list[0].good {
			does = "does not count properly"
		}
		row.Says = fmt.Sprintf("no edge found: %s from %s to %s", does, list[0].shot.Point.Levels.Input, list[len(list)-1].shot.Point.Levels.Input)
	}
	return row
}

func levelRow(s *runner.Station, c change) (runner.Row, error) {
	p := c.low.shot.Point
	low, high := p.Levels.Input, c.high.shot.Point.Levels.Input
	row := runner.Row{What: "edge in level", At: &p.Frequency, Unit: "dBm"}
	budget, err := s.Bench().LevelBudget(s.Input(), p)
	if err != nil {
		return row, fmt.Errorf("edge: %w", err)
	}
	row.Budget = append(budget, bracket((c.high.x-c.low.x)/2))
	middle := low.Exact().Add(high.Exact()).Quo(quantity.ExactInt(2))
	row.Found = &middle
	if low.IsVoltage() {
		row.Unit = "V"
		perDB := middle.Float() * math.Ln10 / 20
		for k := range row.Budget {
			row.Budget[k] = row.Budget[k].Times(perDB)
		}
	}
	if c.high.good {
		row.Says = fmt.Sprintf("counts from %s on; at %s: %s", high, low, symptom(c.low.shot))
	} else {
		row.Says = fmt.Sprintf("counts up to %s; at %s: %s", low, high, symptom(c.high.shot))
	}
	return finished(row, c)
}

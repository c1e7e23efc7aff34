package sheet

import (
	"bandproof/drivers"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// csvPlace is where each column stands.
var csvPlace = func() map[string]int {
	at := map[string]int{}
	for k, name := range csvHead {
		at[name] = k
	}
	return at
}()

func csvAt(name string) int { return csvPlace[name] }

// csvPad makes a row as long as the head.
func csvPad(row []string) []string { return append(row, make([]string, len(csvHead)-len(row))...) }

// csvCells is a row with only these columns.
func csvCells(values map[string]string) []string {
	row := make([]string, len(csvHead))
	for name, v := range values {
		row[csvAt(name)] = v
	}
	return row
}

// csvOutcome are the rows of one task: findings, settings, curves.
func (r run) csvOutcome(o runner.Outcome) [][]string {
	var rows [][]string
	for _, x := range o.Rows {
		rows = append(rows, r.csvFinding(o, x))
	}
	for k := range o.Shots {
		row := csvPad(append(r.csvRow(&o.Shots[k]), "setting"))
		r.csvBehind(row, &o.Shots[k])
		row[csvAt("measurement")], row[csvAt("kind")], row[csvAt("task")] = csvText(o.Task.Measure), csvText(o.Task.Kind), csvText(o.Task.ID)
		rows = append(rows, row)
	}
	for _, c := range o.Curves {
		for _, l := range c.Lines {
			for k := range min(len(l.X), len(l.Y)) {
				row := r.csvOf(o, "curve")
				row[csvAt("what")], row[csvAt("unit")], row[csvAt("x_unit")] = csvText(c.Title+", "+l.Name), csvText(c.Y.Unit), csvText(c.X.Unit)
				row[csvAt("x")], row[csvAt("found")] = csvFloat(l.X[k]), csvFloat(l.Y[k])
				if k < len(l.U) {
					row[csvAt("expanded_uncertainty")] = csvFloat(l.U[k])
				}
				rows = append(rows, row)
			}
		}
	}
	return rows
}

// csvOf is a row of a task with what all its rows share.
func (r run) csvOf(o runner.Outcome, kind string) []string {
	return csvCells(map[string]string{"record_id": csvText(r.ID), "run": csvText(string(r.Run.Kind)), "input": csvText(o.Task.Input), "started": csvTime(o.Started), "finished": csvTime(o.Finished),
		"record_type": kind, "measurement": csvText(o.Task.Measure), "kind": csvText(o.Task.Kind), "task": csvText(o.Task.ID)})
}

func (r run) csvFinding(o runner.Outcome, x runner.Row) []string {
	row := r.csvOf(o, "finding")
	if x.At != nil {
		row[csvAt("nominal_hz")] = x.At.Plain()
	}
	for name, v := range map[string]*quantity.Exact{"found": x.Found, "limit": x.Limit, "margin": x.Margin, "guard_band": x.GuardBand} {
		if v != nil {
			row[csvAt(name)] = csvExact(*v)
		}
	}
	if u := x.Uncertainty; u != nil {
		row[csvAt("expanded_uncertainty")], row[csvAt("coverage_factor")] = csvFloat(u.Expanded), csvFloat(u.CoverageFactor)
	}
	row[csvAt("verdict")], row[csvAt("reason")] = csvText(string(x.Verdict.Word)), csvText(string(x.Verdict.Reason))
	row[csvAt("what")], row[csvAt("unit")], row[csvAt("side")], row[csvAt("says")] = csvText(x.What), csvText(x.Unit), csvText(string(x.Side)), csvText(x.Says)
	return row
}

// csvWarmUp are the readings of a warm-up, each with the time since power-on.
func (r run) csvWarmUp() [][]string {
	w := r.Run.WarmUp
	if w == nil {
		return nil
	}
	var rows [][]string
	for _, x := range w.Readings {
		values := map[string]string{"record_id": csvText(r.ID), "run": csvText(string(r.Run.Kind)), "input": csvText(w.Until.Input), "nominal_hz": w.Until.Frequency.Plain(), "gate_s": w.Until.Gate.Plain(),
			"readings": csvText(x.Text), "started": csvTime(x.At), "record_type": "curve", "measurement": "warm-up", "what": "warm-up, " + string(x.Use) + " reading",
			"x": csvFloat(x.On), "x_unit": "s", "unit": "1"}
		if x.Mark == drivers.None {
			values["found"] = csvFloat(x.Offset)
		}
		rows = append(rows, csvCells(values))
	}
	return rows
}

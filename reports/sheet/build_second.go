package sheet

import (
	"fmt"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// otherLooks shows what was found at points that were taken through a second
// source, both looks side by side; nil where none was.
func (s *Sheet) otherLooks() []block {
	t := &table{Title: "Points taken with two sources", Columns: []column{{Head: "Run"}, {Head: "Point"}, {Head: "Nominal frequency, Hz", Align: point}, {Head: "Source, path"}, {Head: ""},
		{Head: "Mean reading, Hz", Align: point}, {Head: "Error, Hz", Align: point}, {Head: "Limit ±, Hz", Align: point}, {Head: "U, Hz", Align: point}, {Head: "Verdict of this look alone"}, {Head: "Of both"}},
		Legend: "A point that fails, or that its source was not good for, is repeated through another source that reaches it. Both looks are kept; what they say together, and why, stands in the notes on the point."}
	for _, r := range s.runs {
		for k := range r.Run.Points {
			p := &r.Run.Points[k]
			if p.Other == nil {
				continue
			}
			own := *p
			if p.Alone != nil {
				own.Verdict = *p.Alone
			}
			t.Rows = append(t.Rows, append(r.look(&own), cell{p.Verdict.String(), markOf(p)}))
			for o := p.Other; o != nil; o = o.Other {
				t.Rows = append(t.Rows, append(r.look(o), cell{}))
			}
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return []block{&heading{Level: 1, Text: "Second looks"}, t}
}

// changed says that points passed and later in the run did not.
func (r run) changed() *notice {
	n := &notice{Alert: true, Title: r.label + ": changed within the run"}
	for k, c := range r.Run.Changes {
		if k == mostFindings {
			n.Lines = append(n.Lines, fmt.Sprintf("and %d more, see the warnings.", len(r.Run.Changes)-k))
			break
		}
		line := fmt.Sprintf("Input %s: point %s, %s at %s, is %s%s when repeated at %s %s", c.Input, c.Point, c.Earlier, moment(c.EarlierAt), c.Later, prefixed(", ", c.Symptom), moment(c.LaterAt), c.Why)
		if c.Before != c.Point {
			line += fmt.Sprintf("; the last point that passed before was %s at %s", c.Before, moment(c.LastGoodAt))
		}
		if c.Later.Reason == decision.PathNotProven {
			line += "; whether the unit or its signal was lost is not proven"
		}
		n.Lines = append(n.Lines, line+".")
	}
	n.Lines = append(n.Lines, "Points that passed before stand as they were taken; they do not say that the unit was within tolerance at the end.")
	return n
}

// look is one look in a line.
func (r run) look(p *runner.PointResult) []cell {
	row := []cell{{Text: r.label}, {Text: p.Point.ID}, {Text: quantity.Group(p.Point.Frequency.Plain())}, {Text: join(", ", p.Point.Source, p.Point.Path)}}
	x := resultCells(p) // sign, mean, error, relative error, limit, U, verdict
	return append(append(row, x[:3]...), x[4:]...)
}

package sheet

import (
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

// look is one look in a line.
func (r run) look(p *runner.PointResult) []cell {
	row := []cell{{Text: r.label}, {Text: p.Point.ID}, {Text: quantity.Group(p.Point.Frequency.Plain())}, {Text: join(", ", p.Point.Source, p.Point.Path)}}
	x := resultCells(p) // sign, mean, error, relative error, limit, U, verdict
	return append(append(row, x[:3]...), x[4:]...)
}

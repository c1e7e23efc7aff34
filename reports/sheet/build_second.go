package sheet

import (
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// otherLooks shows what was found at points that were taken through a second
// source, both looks side by side; nil where none was.
func (s *Sheet) otherLooks() []block {
	t := &table{Title: s.say("Points taken with two sources"), Columns: []column{{Head: s.say("Run")}, {Head: s.say("Point")}, {Head: s.say("Nominal frequency, Hz"), Align: point}, {Head: s.say("Source, path")}, {Head: ""},
		{Head: s.say("Mean reading, Hz"), Align: point}, {Head: s.say("Error, Hz"), Align: point}, {Head: s.say("Limit ±, Hz"), Align: point}, {Head: "U, Hz", Align: point}, {Head: s.say("Verdict of this look alone")}, {Head: s.say("Of both")}},
		Legend: s.say("A point that fails, or that its source was not good for, is repeated through another source that reaches it. Both looks are kept; what they say together, and why, stands in the notes on the point.")}
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
			t.Rows = append(t.Rows, append(r.look(&own), cell{r.verdict(p.Verdict), markOf(p)}))
			for o := p.Other; o != nil; o = o.Other {
				t.Rows = append(t.Rows, append(r.look(o), cell{}))
			}
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return []block{&heading{Level: 1, Text: s.say("Second looks")}, t}
}

// changed says that points passed and later in the run did not.
func (r run) changed() *notice {
	n := &notice{Alert: true, Title: r.say("%s: changed within the run", r.label)}
	for k, c := range r.Run.Changes {
		if k == mostFindings {
			n.Lines = append(n.Lines, r.say("and %s more, see the warnings.", r.count(len(r.Run.Changes)-k)))
			break
		}
		line := r.say("Input %[1]s: point %[2]s, %[3]s at %[4]s, is %[5]s when repeated at %[6]s %[7]s",
			c.Input, c.Point, r.verdict(c.Earlier), r.moment(c.EarlierAt), join(", ", r.verdict(c.Later), r.word(c.Symptom)), r.moment(c.LaterAt), r.word(c.Why))
		if c.Before != c.Point {
			line += r.say("; the last point that passed before was %[1]s at %[2]s", c.Before, r.moment(c.LastGoodAt))
		}
		if c.Later.Reason == decision.PathNotProven {
			line += r.say("; whether the unit or its signal was lost is not proven")
		}
		n.Lines = append(n.Lines, line+".")
	}
	n.Lines = append(n.Lines, r.say("Points that passed before stand as they were taken; they do not say that the unit was within tolerance at the end."))
	return n
}

// look is one look in a line.
func (r run) look(p *runner.PointResult) []cell {
	row := []cell{{Text: r.label}, {Text: p.Point.ID}, {Text: r.number(quantity.Group(p.Point.Frequency.Plain()))}, {Text: join(", ", p.Point.Source, p.Point.Path)}}
	x := r.resultCells(p) // sign, mean, error, relative error, limit, U, verdict
	return append(append(row, x[:3]...), x[4:]...)
}

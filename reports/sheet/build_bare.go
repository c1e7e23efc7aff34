package sheet

import (
	"slices"

	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/reports/record"
	"bandproof/runner"
)

// bareRecord is a record for a sheet without statement of conformity, as agreed
// with the customer: results and their uncertainty, no limits and no verdicts
// (ISO/IEC 17025:2017 7.8.6, ILAC-G8:09/2019). The record itself keeps both. What
// gave no value keeps the reason why.
func bareRecord(r record.Record) record.Record {
	r.Run.Points = slices.Clone(r.Run.Points)
	for k := range r.Run.Points {
		p := &r.Run.Points[k]
		p.Verdict = bareVerdict(p.Verdict, p.Counted > 0)
		p.Limit = accuracy.Limit{Resolution: p.Limit.Resolution}
		p.Conformity, p.Risks, p.TUR, p.TURWithUnit, p.Alone, p.Other = nil, nil, nil, nil, nil, nil
		p.StoppedEarly = ""
	}
	r.Run.Outcomes = slices.Clone(r.Run.Outcomes)
	for k := range r.Run.Outcomes {
		o := &r.Run.Outcomes[k]
		o.Rows = slices.Clone(o.Rows)
		for i := range o.Rows {
			x := &o.Rows[i]
			x.Verdict = bareVerdict(x.Verdict, x.Found != nil || x.Says != "")
			x.Limit, x.Side, x.Margin, x.GuardBand = nil, "", nil, nil
		}
		o.Shots = slices.Clone(o.Shots)
		for i := range o.Shots {
			if p := &o.Shots[i]; !p.Verdict.Good() { // else it counted right
				p.Verdict = bareVerdict(p.Verdict, false)
			}
		}
		o.Curves = slices.Clone(o.Curves)
		for i := range o.Curves {
			o.Curves[i].Marks = nil
		}
	}
	r.Run.Changes = nil
	return r
}

func bareVerdict(v decision.Verdict, valued bool) decision.Verdict {
	if valued {
		return decision.Verdict{}
	}
	return decision.Verdict{Reason: v.Reason}
}

// bare takes out of the layout what only a judgement fills.
func (d *document) bare() {
	gone := []string{d.say("Limit ±, Hz"), d.say("Limit"), d.say("Margin"), "w", "w, Hz", d.say("Limit made of, Hz"), d.say("Decision U, Hz"), "TUR", d.say("TUR with unit"), "P, %"}
	verdict := d.say("Verdict")
	for _, b := range d.Blocks {
		switch b := b.(type) {
		case *table:
			b.bare(func(c column) bool { return slices.Contains(gone, c.Head) || c.Head == "" && c.Group != "" })
			for k, c := range b.Columns {
				if c.Head == verdict {
					b.Columns[k].Head = d.say("Remark")
				}
			}
		case *chart:
			b.Bands, b.NotJudged = nil, d.say("no value")
			for _, s := range b.Series {
				for k := range s.Points {
					s.Points[k].Limit = 0
					if s.Points[k].Valued {
						s.Points[k].Mark = plain
					}
				}
			}
		}
	}
}

// bare drops columns and takes flags away.
func (t *table) bare(gone func(column) bool) {
	var keep []int
	for k, c := range t.Columns {
		if !gone(c) {
			keep = append(keep, k)
		}
	}
	var columns []column
	for _, k := range keep {
		columns = append(columns, t.Columns[k])
	}
	t.Columns = columns
	for n, row := range t.Rows {
		var cells []cell
		for _, k := range keep {
			if k < len(row) {
				row[k].Mark = plain
				cells = append(cells, row[k])
			}
		}
		t.Rows[n] = cells
	}
}

// bareStatement tells of one run that its results stand for themselves.
func (r run) bareStatement() block {
	lines := []string{r.taken()}
	for _, f := range r.findings(func(p *runner.PointResult) bool { return p.Counted == 0 }) {
		lines = append(lines, f.line())
	}
	if len(lines) > mostFindings {
		lines = append(lines[:mostFindings], r.say("and %s more, see the tables.", r.count(len(lines)-mostFindings)))
	}
	return &notice{Title: r.label, Lines: append(lines, r.course()...)}
}

// bareSpecification says that nothing is stated, and why.
func (s *Sheet) bareSpecification() *paragraph {
	l := s.last()
	return &paragraph{Label: s.say("No statement of conformity"), Text: s.say(
		`As agreed with the customer, conformity with a specification is not stated: each result stands with its expanded uncertainty, and no result is judged. Points and levels are those of procedure "%[1]s", revision %[2]s.`,
		l.Record.Procedure.Name, s.stated(l.Record.Procedure.Revision))}
}

// bareByInput sums each input up without counting verdicts.
func (s *Sheet) bareByInput() block {
	t := &table{Title: s.say("Results by input"), Columns: []column{{Head: s.say("Input")}, {Head: s.say("Range")}}}
	for _, r := range s.runs {
		for _, h := range []key{"Points with a result", "Points without a result"} {
			t.Columns = append(t.Columns, column{Group: r.label, Head: s.say(h), Align: right})
		}
	}
	for _, name := range s.inputNames() {
		row := []cell{{Text: name}, {Text: s.rangeOf(name)}}
		for _, r := range s.runs {
			with, without := 0, 0
			for _, p := range r.points(name) {
				if p.Counted > 0 {
					with++
				} else {
					without++
				}
			}
			row = append(row, cell{Text: s.whole(with)}, cell{Text: s.whole(without)})
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// bareCSV empties the columns that only a judgement fills, where the sheet
// states none.
func (s *Sheet) bareCSV(rows ...[]string) [][]string {
	if s.isBare() {
		for _, row := range rows {
			for _, name := range judgedColumns {
				row[csvAt(name)] = ""
			}
		}
	}
	return rows
}

var judgedColumns = []string{"limit_hz", "limit_ppm", "decision_uncertainty_hz", "tur", "verdict", "guard_band_hz", "tur_with_unit", "conformity_probability", "limit_terms", "decision_rule"}

package sheet

import (
	"strings"

	"bandproof/runner"
)

// behind shows what each verdict rests on, so that an auditor can follow it:
// reference value, limit by terms, decision uncertainty, TUR, guard band.
func (s *Sheet) behind() []block {
	var b []block
	for _, r := range s.runs {
		if len(r.Run.Points) == 0 {
			continue
		}
		if len(b) == 0 {
			b = append(b, &heading{Level: 1, Text: "Behind the verdicts"},
				&paragraph{Text: "Decision U leaves out the quantisation that the limit's count term already allows. TUR is the limit over the expanded uncertainty of reference, " +
					"source and path, and gates the verdict; TUR with unit takes the unit's resolution and repeatability in as well. w is the guard band, " +
					"P the probability that the error lies within the limit, n the number of readings that count."})
		}
		b = append(b, r.evidence())
	}
	return b
}

func (r run) evidence() *table {
	t := &table{Title: r.label + " (record " + stated(r.ID) + ")", Columns: []column{{Head: "Point"}, {Head: "Source, path"}, {Head: "Locked"}, {Head: "Reference value, Hz", Align: point},
		{Head: "n", Align: right}, {Head: "Spread, Hz", Align: point}, {Head: "One count, Hz", Align: point}, {Head: "Limit made of, Hz"},
		{Head: "Decision U, Hz", Align: point}, {Head: "w, Hz", Align: point}, {Head: "TUR", Align: right}, {Head: "TUR with unit", Align: right}, {Head: "P, %", Align: right}, {Head: "Standards"}}}
	for k := range r.Run.Points {
		t.Rows = append(t.Rows, evidenceOf(&r.Run.Points[k]))
	}
	return t
}

func evidenceOf(p *runner.PointResult) []cell {
	var terms []string
	for _, x := range p.Limit.Terms {
		terms = append(terms, x.Name+" "+significant(x.Hz.Float(), 3))
	}
	reference, spread, u, w := none, none, none, none
	tur, turUnit := none, none
	if p.Counted > 0 {
		places := readingPlaces(p)
		digits, ok := twoDigits(p.Reported.Expanded)
		if !ok {
			digits = places
		}
		reference = fixed(p.Reference, max(digits+1, 0))
		spread = fixed(p.Spread, places)
		u = significant(p.Decision.Expanded, 2)
		w = significant(p.GuardBand.Float(), 2)
		turUnit = ratio(p.TURWithUnit)
	}
	if p.Limit.Total.Sign() > 0 {
		tur = ratio(p.TUR)
	}
	one := none
	if p.Limit.Resolution.Sign() > 0 {
		one = significant(p.Limit.Resolution.Float(), 3)
	}
	return []cell{{Text: p.Point.ID}, {Text: join(", ", p.Point.Source, p.Point.Path)}, {Text: stated(p.Setting.Locked)}, {Text: reference},
		{Text: whole(p.Counted)}, {Text: spread}, {Text: one}, {Text: stated(strings.Join(terms, " + "))},
		{Text: u}, {Text: w}, {Text: tur}, {Text: turUnit}, {Text: percent(p.Conformity)}, {Text: strings.Join(p.Standards, ", ")}}
}

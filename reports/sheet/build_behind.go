package sheet

import (
	"strings"

	"bandproof/runner"
)

// behindTitle heads what the verdicts rest on; legends point to it.
const behindTitle key = "Behind the verdicts"

// behind shows what each verdict rests on, so that an auditor can follow it:
// reference value, limit by terms, decision uncertainty, TUR, guard band.
func (s *Sheet) behind() []block {
	var b []block
	for _, r := range s.runs {
		if len(r.Run.Points) == 0 {
			continue
		}
		if len(b) == 0 {
			if s.isBare() {
				b = append(b, &heading{Level: 1, Text: s.say("Behind the results"), Apart: true}, r.evidence())
				continue
			}
			b = append(b, &heading{Level: 1, Text: s.say(behindTitle), Apart: true},
				&paragraph{Text: s.say("Decision U leaves out the quantisation that the limit's count term already allows, and holds repeatability only where readings scatter by more than one count. TUR is the limit over the expanded uncertainty of reference, " +
					"source and path, and gates the verdict; TUR with unit takes the unit's resolution and repeatability in as well. w is the guard band, " +
					"P the probability, by decision U, that the error lies within the limit, n the number of readings that count.")})
		}
		b = append(b, r.evidence())
	}
	return b
}

func (r run) evidence() *table {
	t := &table{Tab: r.say("Evidence, %s", r.inline), Title: r.ofRecord(r.label), Columns: []column{{Head: r.say("Point")}, {Head: r.say("Source, path")}, {Head: r.say("Locked")}, {Head: r.say("Reference value, Hz"), Align: point},
		{Head: "n", Align: right}, {Head: r.say("Spread, Hz"), Align: point}, {Head: r.say("One count, Hz"), Align: point}, {Head: r.say("Limit made of, Hz")},
		{Head: r.say("Decision U, Hz"), Align: point}, {Head: "w, Hz", Align: point}, {Head: "TUR", Align: right}, {Head: r.say("TUR with unit"), Align: right}, {Head: "P, %", Align: right}, {Head: r.say("Standards")}}}
	for k := range r.Run.Points {
		t.Rows = append(t.Rows, r.evidenceOf(&r.Run.Points[k]))
	}
	return t
}

func (w *words) evidenceOf(p *runner.PointResult) []cell {
	var terms []string
	for _, x := range p.Limit.Terms {
		terms = append(terms, w.word(x.Name)+" "+w.significant(x.Hz.Float(), 3))
	}
	reference, spread, u, band := none, none, none, none
	tur, turUnit := none, none
	if p.Counted > 0 {
		places := readingPlaces(p)
		digits, ok := twoDigits(p.Reported.Expanded)
		if !ok {
			digits = places
		}
		reference = w.fixed(p.Reference, max(digits+1, 0))
		spread = w.fixed(p.Spread, places)
		u = w.uncertain(p.Decision.Expanded)
		band = w.uncertain(p.GuardBand.Float())
		turUnit = w.ratio(p.TURWithUnit)
	}
	if p.Limit.Total.Sign() > 0 {
		tur = w.ratio(p.TUR)
	}
	one := none
	if p.Limit.Resolution.Sign() > 0 {
		one = w.significant(p.Limit.Resolution.Float(), 3)
	}
	return []cell{{Text: p.Point.ID}, {Text: join(", ", p.Point.Source, p.Point.Path)}, {Text: w.stated(w.word(p.Setting.Locked))}, {Text: reference},
		{Text: w.whole(p.Counted)}, {Text: spread}, {Text: one}, {Text: w.stated(strings.Join(terms, " + "))},
		{Text: u}, {Text: band}, {Text: tur}, {Text: turUnit}, {Text: w.percent(p.Conformity)}, {Text: strings.Join(p.Standards, ", ")}}
}

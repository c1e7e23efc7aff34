package sheet

import (
	"math"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
)

// changedSign is the sign of a point that is not where it was, in a column of its own.
const changedSign = "►"

// mostChanges is how many points of an input are listed one by one; of more only
// those that changed by more than U.
const mostChanges = 200

// changesOf shows how far each point of an input moved from as found to as left;
// nil where there are not both.
func (s *Sheet) changesOf(name string) []block {
	first, last := s.runs[0], s.last()
	if first.Run.Kind != runner.AsFound || last.Run.Kind != runner.AsLeft {
		return nil
	}
	t := &table{Title: s.say("Input %[1]s: changes from as found to as left", name), Columns: []column{{Head: s.say("Point")}, {Head: s.say("Nominal frequency, Hz"), Align: point}, {Head: ""},
		{Head: s.say("Change, Hz"), Align: point}, {Head: s.say("Change, ppm"), Align: point}, {Head: s.say("U of the change, Hz"), Align: point}},
		Legend: s.say("► changed by more than U   The change is the error as left minus that as found. Its U is that of the difference: what one certificate states of a reference that served both runs is the same error in both and cancels, all else adds up as the root of the sum of squares.")}
	all := lines(name, []run{first, last})
	valued, moved := 0, 0
	for _, l := range all {
		a, b := l.of[0], l.of[1]
		if a == nil || b == nil || a.Counted == 0 || b.Counted == 0 {
			continue
		}
		valued++
		change := b.Error.Sub(a.Error)
		u := uncertaintyOfChange(a, b)
		sign := ""
		if math.Abs(change.Float()) > u {
			sign = changedSign
			moved++
		} else if len(all) > mostChanges {
			continue
		}
		t.Rows = append(t.Rows, s.changeRow(l, change, u, sign))
	}
	if valued == 0 {
		return nil
	}
	return []block{&paragraph{Text: s.say("Of %[1]s points with a value in both runs %[2]s changed by more than the uncertainty of the change.", s.count(valued), s.whole(moved))}, t}
}

// uncertaintyOfChange is U of the error in b less that in a, Hz, as records compare
// has it; the root of the sum of squares where their budgets can't be combined.
func uncertaintyOfChange(a, b *runner.PointResult) float64 {
	u, _, err := uncertainty.Difference(a.ReportedBudget.OrAsReported(a.Reported), b.ReportedBudget.OrAsReported(b.Reported))
	if err != nil {
		return math.Hypot(a.Reported.Expanded, b.Reported.Expanded)
	}
	return u.Expanded
}

// changeRow rounds the change, in Hz and in ppm, to the place of its U (JCGM
// 100:2008 7.2.6).
func (s *Sheet) changeRow(l line, change quantity.Exact, u float64, sign string) []cell {
	rounded := func(x quantity.Exact, u float64, fallback int) string {
		if p, ok := twoDigits(u); ok {
			return s.fixed(x, p)
		}
		return s.fixed(x, fallback)
	}
	hz, ppm := rounded(change, u, max(readingPlaces(l.of[0]), readingPlaces(l.of[1]))), none
	if f := l.point.Frequency; f.Sign() > 0 {
		per := quantity.ExactInt(1_000_000).Quo(f.Exact())
		ppm = rounded(change.Mul(per), u*per.Float(), 3)
	}
	return []cell{{Text: l.id()}, {Text: s.number(quantity.Group(l.point.Frequency.Plain()))}, {Text: sign}, {Text: hz}, {Text: ppm}, {Text: s.uncertain(u)}}
}

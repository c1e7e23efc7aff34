package runner

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"bandproof/procedures/decision"
)

// weigh says what two looks at one point through two sources say together. The
// one whose verdict stands is returned, with the other one in it.
//
//   - A look that could not be judged decides nothing.
//   - Two fails are a fail: not both sources can be to blame for it.
//   - A fault that comes and goes need not show again: it is not forgiven.
//   - Two looks whose errors agree within their uncertainties see the same unit at
//     the edge of its limit: the one that was planned, with the better TUR, holds.
//   - Where a monitor has counted one of the sources, fine enough to tell, that
//     source was right, and its look holds.
//   - Else the sources disagree, and nobody can say which is right: not judged.
func weigh(first, look PointResult) PointResult {
	a, b := first.Point.Source, look.Point.Source
	stands, other, note := first, look, ""
	switch {
	case !look.Judged():
		note = fmt.Sprintf("a second look with source %s is %s", b, look.Verdict)
	case !first.Judged():
		stands, other = look, first
		note = fmt.Sprintf("taken with source %s, because with source %s it is %s", b, a, first.Verdict)
	case look.Verdict.Bad():
		note = "confirmed with source " + b
		if first.Counted > 0 && look.Counted > 0 && !agree(first, look) {
			note += fmt.Sprintf(", though the errors with the two (%s Hz and %s Hz) differ by more than their uncertainties", first.Error.Fixed(3), look.Error.Fixed(3))
		}
	case comesAndGoes(first):
		note = fmt.Sprintf("source %s finds no fault here; one that comes and goes need not show each time, and what was read before stands", b)
	case first.Verdict.Reason == decision.OutsideLimit && agree(first, look):
		note = fmt.Sprintf("the error with source %s, %s Hz, agrees within the uncertainties of both", b, look.Error.Fixed(3))
	case shownGood(first):
		note = fmt.Sprintf("with source %s it is %s, but the monitor has counted source %s at this point and found it right", b, look.Verdict, a)
	case shownGood(look):
		stands, other = look, first
		note = fmt.Sprintf("taken with source %s, which the monitor has counted at this point and found right; with source %s it is %s", b, a, first.Verdict)
	default:
		alone := first.Verdict
		stands.Alone, stands.Conformity, stands.Risks = &alone, nil, nil
		stands.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.SourcesDisagree}
		note = fmt.Sprintf("with source %s it is %s, with source %s %s: one of the sources is off, or what lies between it and the input", a, first.Verdict, b, look.Verdict)
	}
	stands.Other = &other
	stands.Notes = append(slices.Clip(stands.Notes), note)
	return stands
}

// comesAndGoes tells whether a fault showed at some readings only, while the
// mean or most of them were right.
func comesAndGoes(p PointResult) bool {
	return ComesAndGoes(p.Symptom) || p.Verdict.Reason == decision.ReadingOutside
}

// agree tells whether two errors differ by no more than both expanded
// uncertainties, in quadrature, explain: the E_n number of ISO/IEC 17043 (from
// memory) is at most 1.
func agree(a, b PointResult) bool {
	return math.Abs(a.Error.Sub(b.Error).Float()) <= math.Hypot(a.Reported.Expanded, b.Reported.Expanded)
}

// shownGood tells whether a monitor has counted the source at this point, last
// of all as good, and sees errors as small as the limit.
func shownGood(p PointResult) bool {
	for k := len(p.Monitor) - 1; k >= 0; k-- {
		if w := p.Monitor[k]; w.Use == Counted {
			return w.Good && w.Allowed.Cmp(p.Limit.Total) <= 0
		}
	}
	return false
}

// suspects warns of each source that another one, or the monitor, has spoken
// against, with the points that rest on it alone.
func (r *run) suspects(ctx context.Context) error {
	type dispute struct{ with, points []string }
	by := map[string]*dispute{}
	var order []string
	for _, p := range r.result.Points {
		source, other := disputed(p)
		if source == "" {
			continue
		}
		d := by[source]
		if d == nil {
			d = &dispute{}
			by[source], order = d, append(order, source)
		}
		d.points = append(d.points, p.Point.ID)
		if !slices.Contains(d.with, other) {
			d.with = append(d.with, other)
		}
	}
	for _, source := range order {
		var failed []string
		passed := 0
		for _, p := range r.result.Points {
			switch {
			case p.Point.Source != source:
			case p.Verdict.Bad() && (p.Other == nil || !p.Other.Judged()):
				failed = append(failed, p.Point.ID)
			case p.Verdict.Good():
				passed++
			}
		}
		d := by[source]
		text := fmt.Sprintf("source %s is in doubt: source %s shows something else at %s", source, strings.Join(d.with, " and "), strings.Join(d.points, ", "))
		if len(failed) > 0 {
			text += fmt.Sprintf("; what failed with source %s alone may be its fault: %s", source, strings.Join(failed, ", "))
		}
		if passed > 0 {
			text += fmt.Sprintf("; %d points that passed rest on it too", passed)
		}
		r.warnOnce(ctx, text)
	}
	return r.interrupt
}

// disputed is the source whose look did not stand because of the other's; ""
// where both agree.
func disputed(p PointResult) (source, other string) {
	switch {
	case p.Other == nil:
		return "", ""
	case p.Alone != nil:
		return p.Point.Source, p.Other.Point.Source
	case p.Verdict.Good() && p.Other.Verdict.Bad():
		return p.Other.Point.Source, p.Point.Source
	case p.Verdict.Bad() && p.Other.Verdict.Good() && shownGood(p) && !comesAndGoes(p) && !agree(p, *p.Other):
		return p.Other.Point.Source, p.Point.Source
	}
	return "", ""
}

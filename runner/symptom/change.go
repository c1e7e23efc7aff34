package symptom

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// same tells whether two looks are at one point and level.
func same(a, b *look) bool {
	return a != b && !a.row && !b.row && a.Gate == b.Gate && a.Input == b.Input && a.Frequency == b.Frequency && a.Frequency > 0 && !a.Sensitivity && !b.Sensitivity && !a.SelfTest && !b.SelfTest &&
		(a.Level == b.Level || math.IsNaN(a.Level) && math.IsNaN(b.Level))
}

// later tells whether a point was looked at again after this look, and showed that.
func (n *namer) later(l *look, kind Kind) bool {
	return slices.ContainsFunc(n.list, func(m *look) bool { return same(l, m) && m.At.After(l.At) && m.Kind == kind })
}

// earlierGood tells whether a point was right at an earlier look, as it could not
// have been with what this one shows: at the edge of a limit chance decides.
func (n *namer) earlierGood(l *look) bool {
	return slices.ContainsFunc(n.list, func(m *look) bool { return same(l, m) && m.At.Before(l.At) && m.Kind == Good && m.tells(l) })
}

// tells whether a look that was right speaks against a fault that another one
// shows: an error that its counts hide does not.
func (m *look) tells(of *look) bool {
	if m.bad || m.Sensitivity || m.SelfTest || m.row {
		return false
	}
	if of.Kind != Off && of.Kind != Constant && of.Kind != Other {
		return true
	}
	return m.ref > 0 && of.ref > 0 && (math.Abs(m.Error-of.Error/of.ref*m.ref) > m.fine+of.fine/of.ref*m.ref || of.Kind == Constant && m.coarse < math.Abs(of.Error)/2)
}

// staysBad tells whether all that was seen at this input after a look is wrong too.
func (n *namer) staysBad(l *look) bool {
	return !slices.ContainsFunc(n.at([]string{l.Input}), func(m *look) bool { return m.At.After(l.At) && m.tells(l) })
}

// changes names points that were right and, read again later, were not, where
// nothing was right any more after that: time is then what differs, not frequency.
func (n *namer) changes() {
	again := where(n.list, func(l *look) bool {
		return l.bad && !l.SelfTest && n.earlierGood(l) && n.staysBad(l) && !n.byChance(l)
	})
	if len(again) == 0 {
		n.drifts()
		return
	}
	names := inputs(again)
	first := again[0]
	var good *look // the last that was right before
	for _, l := range n.at(names) {
		if l.tells(first) && l.At.Before(first.At) && (good == nil || !l.At.Before(good.At)) {
			good = l
		}
	}
	of := where(n.at(names), func(l *look) bool { return l.bad && (good == nil || l.At.After(good.At)) })
	for _, l := range of {
		if l.At.Before(first.At) {
			first = l
		}
	}
	others := where(n.list, func(l *look) bool {
		return l.At.After(first.At) && !slices.Contains(names, l.Input) && l.Frequency > 0 && !l.Sensitivity && !l.row
	})
	right := where(others, func(l *look) bool { return l.tells(first) })
	if len(right) == 0 {
		of = append(of, where(others, func(l *look) bool { return l.bad && l.Kind == first.Kind })...)
	}
	f := finding(Changes, of)
	f.Says = fmt.Sprintf("right at first, wrong from %s on", n.moment(first))
	if good != nil {
		from, to := good.Powered, first.Powered
		f.Figures = append(f.Figures, Figure{What: "time that the unit had been on when it began", Value: (from + to) / 2, U: (to - from) / math.Sqrt(3), Unit: "s"})
		f.evidence("the last that was right is %s, the unit %s on; the first that was wrong is %s, %s on", good.at(), duration(from), first.at(), duration(to))
	}
	for k, l := range again {
		if k == mostListed {
			f.evidence("and %d more", len(again)-k)
			break
		}
		f.evidence("%s was right and is not any more: %s", l.at(), l.Says)
	}
	switch {
	case len(right) > 0:
		f.evidence("%s after that are right: only %s changed", count(len(right), "point")+" at "+inputWords(inputs(right)), inputWords(names))
	case len(others) > 0:
		f.evidence("so it is at %s, taken after that", inputWords(inputs(others)))
	}
	for k := range n.found {
		if g := &n.found[k]; slices.ContainsFunc(g.of, func(l *look) bool { return slices.Contains(of, l) }) {
			g.open("whether that is by itself, or came with what changed at %s: all of it was taken after", n.moment(first))
		}
	}
	f.Suggests = "a stage that fails when warm, or one that failed within the run"
	f.open("whether it is warmth or a fault that came at that time for another reason: the run knows time only")
	f.Confirm = []string{"let the unit cool down and take these points again: they must be right, and fail after about the same time", "warm and cool one board after the other while the source is parked at one of these points"}
	n.add(f)
}

// byChance tells of a look at readings that are not steady whether others were so
// before: scatter and what comes and goes pass at times without having begun later.
func (n *namer) byChance(l *look) bool {
	unsteady := func(m *look) bool {
		return m.Kind == Noisy || m.Kind == TooFew || m.Kind == Intermittent || m.Kind == Other
	}
	return unsteady(l) && slices.ContainsFunc(n.list, func(m *look) bool { return m.bad && m.At.Before(l.At) && unsteady(m) && !same(l, m) && n.before(m, l) })
}

// before tells whether a look was taken before the point of another one was right.
func (n *namer) before(m, l *look) bool {
	return slices.ContainsFunc(n.list, func(g *look) bool { return same(l, g) && g.Kind == Good && m.At.Before(g.At) })
}

// moment says when a look was taken, by how long the unit had been on.
func (n *namer) moment(l *look) string {
	return fmt.Sprintf("%s (the unit %s on)", l.At.UTC().Format(time.RFC3339), duration(l.Powered))
}

// duration writes seconds for people.
func duration(s float64) string {
	switch {
	case s < 120:
		return fmt.Sprintf("%.0f s", s)
	case s < 2*3600:
		return fmt.Sprintf("%.0f min", s/60)
	case s < 48*3600:
		return fmt.Sprintf("%.1f h", s/3600)
	}
	return fmt.Sprintf("%.1f d", s/86400)
}

// timing says of a finding whether it is a matter of frequency or of time: points
// come in order of frequency, so that the two run together unless something was
// read again.
func (n *namer) timing(f *Finding) {
	switch f.Symptom {
	case NeedsLevel, Digits, Changes, Drifts, SelfTest, Nothing, NoEvidence, ComesGoes, Unexplained:
		return
	}
	if len(f.of) == 0 || slices.ContainsFunc(n.found, func(g Finding) bool {
		return (g.Symptom == Changes || g.Symptom == Drifts) && slices.ContainsFunc(g.of, func(l *look) bool { return slices.Contains(f.of, l) })
	}) {
		return // told there
	}
	first := f.of[0]
	for _, l := range f.of {
		if l.At.Before(first.At) {
			first = l
		}
	}
	here := where(n.at(f.Inputs), func(l *look) bool { return !slices.Contains(f.of, l) && l.tells(first) })
	after := where(here, func(l *look) bool { return l.At.After(first.At) })
	before := where(here, func(l *look) bool { return l.At.Before(first.At) })
	proved := where(f.of, func(l *look) bool { return l.provedBy(before) })
	switch {
	case len(after) > 0:
		f.evidence("not a matter of time: %s read right after the first that failed (%s)", count(len(after), "point"), pointWords(after))
	case len(proved) > 0:
		f.evidence("not a matter of time: at %s a point that had passed was read again, and was right", pointWords(proved))
	case len(before) > 0:
		f.open("frequency or time: points were taken in order of frequency, and none that had passed at %s was read again after the first that failed (%s)", inputWords(f.Inputs), n.moment(first))
	}
}

// provedBy tells whether, to prove the path at this point, one of those that had
// passed was read again, and right.
func (l *look) provedBy(good []*look) bool {
	return slices.ContainsFunc(l.proofs, func(f float64) bool {
		return slices.ContainsFunc(good, func(m *look) bool { return math.Abs(f-m.ref) <= m.coarse })
	})
}

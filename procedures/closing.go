package procedures

// earlyOf is among how many points of a path the one for the closing check is
// chosen, so that it is an early one and takes little time.
const earlyOf = 5

// Closes tells whether each path ends with a closing check: an early point that
// passed is read once more, so that a unit that changes within the run is
// noticed even where nothing fails. Where a person would have to set or read for
// it (byHand), only if the procedure says so.
func (p *Procedure) Closes(byHand bool) bool {
	if p.ClosingCheck != nil {
		return *p.ClosingCheck
	}
	return !byHand
}

// Early is the quickest of the first few points of a path.
func Early(points []Point) (early Point, ok bool) {
	for k, p := range points[:min(len(points), earlyOf)] {
		if k == 0 || p.Seconds < early.Seconds {
			early, ok = p, true
		}
	}
	return early, ok
}

// once is what one reading more at a point takes, in seconds: with its gate, and
// with the longest.
type once struct{ gate, longest float64 }

// closing works out what a closing check at each point would take.
func (l *planner) closing() {
	l.plan.closing = map[string]once{}
	for _, p := range l.plan.Points {
		source, _ := l.b.Source(p.Source)
		if i, ok := l.p.Input(p.Input); ok && l.p.Closes(l.b.Counter.ByHand() || source.ByHand()) {
			l.plan.closing[p.ID] = once{l.seconds(p, i, p.Gate, 1), l.seconds(p, i, p.longest(), 1)}
		}
	}
}

// closingCheck is what the closing check of a stop takes; nothing where it has none.
func (pl *Plan) closingCheck(s Stop) once {
	early, ok := Early(s.Points)
	if !ok || len(s.Points) < 2 {
		return once{}
	}
	return pl.closing[early.ID]
}

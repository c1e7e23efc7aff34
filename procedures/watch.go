package procedures

import (
	"fmt"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// Watch is what a monitor must show of a source that is good.
type Watch struct {
	Source string `json:"source"`
	// Factor is what the monitor shows over what the source is set to, exactly.
	Factor quantity.Exact `json:"factor"`
	// Relative is the budget of that, as fractions of the frequency.
	Relative uncertainty.Budget `json:"relative_budget,omitempty"`
}

// watch finds how monitor and source stand to each other, as topologyOf does
// for unit and source.
func (l *planner) watch() (*Watch, error) {
	m := l.b.Monitor
	if m == nil {
		return nil, nil
	}
	s, _ := l.b.Source(m.Source)
	w := &Watch{Source: s.Name, Factor: quantity.ExactInt(1)}
	if s.Reference == runsUnit { // then only what the unit promises is known
		w.Relative = uncertainty.Budget{uncertainty.Line("timebase of the unit, as specified", l.plan.Timebase.Float(), uncertainty.Rectangular, 0, "procedure")}
		if m.Reference != runsOwn {
			y, lines, err := offsetOf(l.b, m.Reference, l.o.Now)
			if err != nil {
				return nil, fmt.Errorf("bench %q, monitor: %w", l.b.Name, err)
			}
			w.Factor, w.Relative = w.Factor.Quo(onePlus(y)), append(w.Relative, lines...)
		}
	} else {
		other := *l.b
		other.Counter.Reference = m.Reference
		t, err := topologyOf(&other, s, l.o.Now)
		if err != nil {
			return nil, fmt.Errorf("bench %q, monitor: %w", l.b.Name, err)
		}
		w.Factor, w.Relative = t.Factor, t.Relative
	}
	if m.Reference == runsOwn {
		w.Factor = w.Factor.Quo(onePlus(m.OwnOffset.Exact()))
		w.Relative = append(w.Relative, uncertainty.Line("timebase of the monitor", m.OwnTimebase.Float(), uncertainty.Rectangular, 0, "bench file"))
	}
	return w, nil
}

// SharesReference tells whether the monitor runs from what its source runs
// from: an error of that moves both alike, and the monitor does not see it.
func (m Monitor) SharesReference(b *Bench) bool {
	s, _ := b.Source(m.Source)
	of := func(reference string) string {
		if other, ok := b.Source(reference); ok { // runs from the output of that source
			if reference = other.Reference; reference == runsOwn {
				reference = other.Name
			}
		}
		return reference
	}
	from := s.Reference
	if from == runsOwn {
		from = s.Name
	}
	return m.Reference != runsOwn && of(m.Reference) == from
}

// Watched tells whether the monitor counts a point: whether its source, its
// frequency and the level that arrives there are within the monitor's reach.
// why says what is not.
func (b *Bench) Watched(p Point) (watched bool, why string) {
	m := b.Monitor
	if m == nil || m.Source != p.Source {
		return false, ""
	}
	if p.Frequency.Cmp(m.Range[0]) < 0 || p.Frequency.Cmp(m.Range[1]) > 0 {
		return false, "outside the monitor's range"
	}
	loss, err := Part{Name: "splitter of the monitor", Loss: m.Splitter}.at(p.Frequency)
	if err != nil {
		return false, err.Error()
	}
	r := quantity.Dbm50()
	at := p.Levels.Source.DBm(r) - loss
	if at < m.Level[0].DBm(r) {
		return false, "too little reaches the monitor"
	}
	if s, _ := b.Source(p.Source); at+s.over() > m.Level[1].DBm(r) {
		return false, tooMuchMonitor
	}
	return true, ""
}

const tooMuchMonitor = "level above what the monitor stands"

// Allowed is how far the monitor may be off, in Hz, where the source is good:
// one of its counts, and the expanded uncertainty of all that makes source and
// monitor differ.
func (pl *Plan) Allowed(b *Bench, f quantity.Frequency) (quantity.Exact, error) {
	s, _ := b.Source(pl.Monitor.Source)
	var budget uncertainty.Budget
	for _, c := range pl.Monitor.Relative {
		budget = append(budget, uncertainty.Line(c.Name, c.Value*f.Float(), c.Distribution, c.DegreesOfFreedom, c.Source))
	}
	if s.Resolution.Sign() > 0 {
		budget = append(budget, uncertainty.Line("setting resolution of source "+s.Name, s.Resolution.Float()/2, uncertainty.Rectangular, 0, "bench file"))
	}
	u, err := budget.Combine()
	if err != nil {
		return quantity.Exact{}, fmt.Errorf("monitor: %w", err)
	}
	return b.Monitor.Resolution.Exact().Add(quantity.ExactFloat(u.Expanded)), nil
}

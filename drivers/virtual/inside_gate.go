package virtual

import "math"

// gateControl makes the pulse that opens the gate from the reference.
func (w *walk) gateControl(m stageMods, x wave) wave {
	x = x.decide()
	if m.dead || !x.on {
		return x.off()
	}
	length := orOne(m.length) * (1 - m.short) / math.Max(leastShare, x.factor) // it counts pulses of the reference
	w.end.short, w.end.most = 1-length, m.most
	x.nominal, x.factor, x.length = 0, 1, w.gate*length
	if m.most > 0 {
		x.length = math.Min(w.gate, m.most) * length
	}
	return x
}

// leastShare of the pulses of a reference gets through as long as any does.
const leastShare = 1e-3

// gated is what passes the gate.
func (w *walk) gated(s *stage, m stageMods, x wave) wave {
	var pulse wave
	if s.control >= 0 {
		pulse = w.waves[s.control]
	}
	if m.dead || !pulse.on && !m.open {
		return x.off()
	}
	w.end.open = m.open
	w.end.short = 1 - (1-w.end.short)*(1-m.short)
	if m.open {
		x.state = gateOpen
	}
	if m.jitter > 0 {
		x.scatter, x.noisy = math.Hypot(x.scatter, m.jitter*x.frequency()), true
	}
	return x
}

// gateOpen is the state of a gate that does not close.
const gateOpen = "open"

// counted is what the counting chain makes of the pulses.
func (w *walk) counted(m stageMods, x wave) wave {
	x = x.decide()
	if m.dead || m.slow > 0 && x.frequency() > m.slow {
		return x.off()
	}
	w.end.mods.decade = m.decade
	return x.pulses(m)
}

// insideMods adds what faults of stages do to one gate.
func (b *Bench) insideMods(m *gateMods, o occasion) {
	c := b.counter
	if o.instrument != c.sc.Name || c.inside == nil || o.at == nil || !b.stagesFail() {
		return
	}
	w := c.walk(*m, o.at, o.draw)
	w.sees = func(in *input) signal {
		if in == o.at {
			return o.signal
		}
		return c.sees(in)
	}
	w.shows = func(f *fault) bool { return f.active(o) }
	w.run().into(m)
}

// stagesFail tells whether there is a fault of a stage at all.
func (b *Bench) stagesFail() bool {
	for i := range b.faults {
		if b.faults[i].stage != nil {
			return true
		}
	}
	return false
}

// walk prepares one for an input that is selected.
func (c *counter) walk(m gateMods, selected *input, d draw) *walk {
	return &walk{c: c, selected: selected, gate: c.gate.Float(), external: c.inUse(m) != ownReference, draw: d, sees: c.sees}
}

// into is what the walk ends in: the mods of the gate.
func (w *walk) into(m *gateMods) {
	x := w.out()
	m.y += w.end.y
	m.short = 1 - (1-m.short)*(1-w.end.short)
	m.lasts = 1 - w.end.short
	if w.end.most > 0 && (m.most == 0 || w.end.most < m.most) {
		m.most = w.end.most
	}
	m.scatter = math.Hypot(m.scatter, x.scatter)
	m.decade = w.end.mods.decade
	if d := w.end.mods.digit; d != nil {
		m.stuck, m.place, m.digit = true, d.n, d.m
	}
	if d := w.end.mods.blind; d != nil {
		m.blind, m.blindPlace, m.blindTo = true, d.n, d.m
	}
	m.silent = !w.referenceOn()
	switch {
	case !x.on:
		m.dead = true
	case w.end.open:
		m.overflow = true
	case x.origin != w.selected.sc.Name:
		m.stray = x.frequency()
	default:
		m.deaf += x.deaf
		m.mixed += x.shift
		m.pulses = orOne(m.pulses) * x.factor
	}
}

// referenceOn tells whether the first stage behind the timebase gives anything:
// what is at the unit's timebase output, too.
func (w *walk) referenceOn() bool {
	n := w.c.inside
	for i, s := range n.stages {
		if len(s.fedBy) > 0 && s.fedBy[0] == n.timebase {
			return w.waves[i].on
		}
	}
	return true
}

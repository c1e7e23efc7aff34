package virtual

import "math"

// walk takes the signals of one moment through the stages of the unit, one
// after the other.
type walk struct {
	c        *counter
	selected *input
	gate     float64                // as set, s
	sees     func(in *input) signal // what arrives at an input
	external bool                   // the unit runs from the reference that is plugged in
	test     bool                   // the self-test runs
	shows    func(f *fault) bool    // which of the faults show
	draw     draw
	mods     []stageMods
	waves    []wave
	end      ending
}

// ending is what the walk tells of the gate beside the wave that is counted.
type ending struct {
	y     float64 // of the timebase, by faults
	short float64
	most  float64
	open  bool
	mods  stageMods // of chain and register
}

// run walks through all stages.
func (w *walk) run() *walk {
	n := w.c.inside
	w.mods, w.waves = make([]stageMods, len(n.stages)), make([]wave, len(n.stages))
	for i := range w.c.b.faults {
		if f := &w.c.b.faults[i]; f.stage != nil && w.shows(f) {
			f.mode.do(&w.mods[f.stage.index], f.amount, w.draw, f.purpose())
		}
	}
	for i, s := range n.stages {
		w.waves[i] = w.through(s, w.mods[i], w.arriving(s))
	}
	return w
}

// out is the wave that reaches the reply.
func (w *walk) out() wave {
	if i := w.c.inside.register; i >= 0 {
		return w.waves[i]
	}
	return wave{factor: 1}
}

// arriving is what a stage is fed with.
func (w *walk) arriving(s *stage) wave {
	if s.input != nil {
		return w.connector(s.input)
	}
	if s.sc.Kind == kindSwitch && len(s.sc.Ways) > 0 {
		way := w.way(s)
		for k, i := range s.fedBy {
			if k < len(s.sc.Ways) && s.sc.Ways[k] == way {
				return w.feed(s, i)
			}
		}
		return wave{factor: 1}
	}
	best := wave{factor: 1}
	for k, i := range s.fedBy {
		if x := w.feed(s, i); k == 0 || x.on && (!best.on || x.margin > best.margin) {
			best = x
		}
	}
	return best
}

// feed is what one stage gives to another.
func (w *walk) feed(s *stage, i int) wave {
	from := w.c.inside.stages[i]
	x := w.waves[i]
	switch {
	case i == w.c.inside.timebase && w.external:
		x = w.reference(w.c.b.references[w.c.external])
	case from.sc.Kind == kindSwitch && s.sc.Way != "" && s.sc.Way != w.way(from):
		return x.off()
	}
	return x
}

// connector is the signal at an input.
func (w *walk) connector(in *input) wave {
	s := w.sees(in)
	x := wave{factor: 1, nominal: s.f, origin: in.sc.Name, window: in.window}
	if s.tracks {
		x.nominal *= 1 + w.ownY()
	}
	if x.on = s.present && !in.dead; x.on {
		x.margin = in.margin(s.f, s.level)
	}
	return x
}

// ownY is the offset of what the unit runs from, faults left out.
func (w *walk) ownY() float64 {
	if w.external {
		return w.c.b.references[w.c.external]
	}
	return w.c.timebase.y(w.c.b.now(), w.c.b.ambient)
}

// reference is a good reference with an offset.
func (w *walk) reference(y float64) wave {
	return wave{
		on: true, nominal: w.c.timebase.frequency * (1 + y), factor: 1,
		margin: logicMargin, window: logicWindow, logic: true, origin: fromReference,
	}
}

// way is the value that a switch has taken.
func (w *walk) way(s *stage) string {
	m := w.mods[s.index]
	way := m.stuck
	if way == "" && s.control >= 0 {
		way = w.waves[s.control].state
	}
	if m.deadWay == way {
		return ""
	}
	return way
}

// value is what the unit sets a control line to.
func (w *walk) value(s *stage) string {
	best, distance := "", math.Inf(1)
	for _, v := range s.sc.Values {
		switch {
		case v.Test:
			if w.test {
				return v.Value
			}
		case v.Range != nil:
			in := w.c.inputNamed(v.Input)
			if in == nil {
				continue
			}
			if x := w.sees(in); x.present {
				if d := outside(x.set, v.Range[0].Float(), v.Range[1].Float()); d < distance {
					best, distance = v.Value, d
				}
			}
		case !w.test && v.Input == w.selected.sc.Name:
			return v.Value
		}
	}
	if best == "" && len(s.sc.Values) > 0 {
		return s.sc.Values[0].Value
	}
	return best
}

// outside tells how far f lies outside a range, as a ratio; 0 is within.
func outside(f, low, high float64) float64 {
	return math.Max(0, math.Max(low/f, f/high)-1)
}

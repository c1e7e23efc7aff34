package virtual

import (
	"fmt"
	"math"
	"sort"
)

// wire is a cable of the wiring table; it is plugged in at both ends or lies
// on the shelf.
type wire struct {
	source  *source
	input   *input
	table   []lossPoint
	pad     float64 // dB
	plugged bool
	relay   *relay // nil: a person plugs it in
	channel int    // of the relay
}

type lossPoint struct{ f, dB float64 }

// string builds the wires and plugs in the first of each source.
func (b *Bench) string(list []WireScenario) error {
	for _, x := range list {
		s, in := b.sourceNamed(x.Source), b.counter.inputNamed(x.Input)
		if s == nil || in == nil {
			return fmt.Errorf("wire from %q to %q: no such source or input", x.Source, x.Input)
		}
		w := &wire{source: s, input: in}
		w.table = tableOf(x.Loss)
		for _, r := range b.relays {
			if r.sc.Name == x.Switch {
				w.relay, w.channel = r, x.Position
			}
		}
		if x.Pad != nil {
			w.pad = x.Pad.Float()
		}
		w.plugged = w.relay == nil && b.wireOf(s) == nil && b.wireAt(in) == nil
		b.wires = append(b.wires, w)
	}
	b.technician()
	return nil
}

// loss is the attenuation in dB at f hertz, linear in √f between and beyond
// the entries of the table (common practice for coaxial cable).
func (w *wire) loss(f float64) float64 {
	return w.pad + lossAt(w.table, f)
}

// tableOf makes a table of a scenario's, rising in frequency.
func tableOf(list []LossScenario) []lossPoint {
	var t []lossPoint
	for _, l := range list {
		t = append(t, lossPoint{l.At.Float(), l.Loss.Float()})
	}
	sort.Slice(t, func(i, j int) bool { return t[i].f < t[j].f })
	return t
}

func lossAt(t []lossPoint, f float64) float64 {
	if len(t) == 0 {
		return 0
	}
	if len(t) == 1 {
		return t[0].dB * math.Sqrt(f/t[0].f)
	}
	i := sort.Search(len(t)-2, func(i int) bool { return f < t[i+1].f })
	a, z := t[i], t[i+1]
	share := (math.Sqrt(f) - math.Sqrt(a.f)) / (math.Sqrt(z.f) - math.Sqrt(a.f))
	return math.Max(0, a.dB+share*(z.dB-a.dB))
}

// wireOf returns the wire plugged into a source, or nil.
func (b *Bench) wireOf(s *source) *wire {
	for _, w := range b.wires {
		if w.plugged && w.source == s {
			return w
		}
	}
	return nil
}

// wireAt returns the wire plugged into an input, or nil.
func (b *Bench) wireAt(in *input) *wire {
	for _, w := range b.wires {
		if w.plugged && w.input == in {
			return w
		}
	}
	return nil
}

// Connect moves the cable of a source to an input of the counter, over the
// wire that the scenario's wiring table gives for the two. What was plugged in
// at either end is taken off. With RF on it is a hot move, which is noted.
func (b *Bench) Connect(source, input string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, w := range b.wires {
		if w.source.sc.Name == source && w.input.sc.Name == input && w.relay == nil {
			b.change(func() { b.plug(w) })
			return nil
		}
	}
	return fmt.Errorf("virtual bench has no wire from source %q to input %q that a hand could plug in", source, input)
}

// Disconnect takes the cable of a source off the counter. A source without a
// cable stays as it is.
func (b *Bench) Disconnect(source string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := b.sourceNamed(source)
	if s == nil {
		return fmt.Errorf("virtual bench has no source %q", source)
	}
	b.change(func() { b.unplug(b.wireOf(s)) })
	return nil
}

func (b *Bench) plug(w *wire) {
	if w.plugged {
		return
	}
	b.unplug(b.wireOf(w.source))
	b.unplug(b.wireAt(w.input))
	if w.source.rf {
		b.note(HotMove, w.source.sc.Name, w.input.sc.Name, "cable of source %s moved to input %s while its RF is on", w.source.sc.Name, w.input.sc.Name)
	}
	w.plugged = true
}

func (b *Bench) unplug(w *wire) {
	if w == nil {
		return
	}
	if w.source.rf {
		b.note(HotMove, w.source.sc.Name, w.input.sc.Name, "cable of source %s taken off input %s while its RF is on", w.source.sc.Name, w.input.sc.Name)
	}
	w.plugged = false
}

// technician moves the cable to the selected input where the bench is told to
// follow. Of several sources wired to it the one with RF on is taken, else the
// one that is there already, else the first of the table.
func (b *Bench) technician() {
	if !b.follow {
		return
	}
	selected := b.counter.inputs[b.counter.selected]
	var best *wire
	for _, w := range b.wires {
		if w.input != selected || w.relay != nil {
			continue
		}
		if best == nil || rank(w) > rank(best) {
			best = w
		}
	}
	if best != nil {
		b.plug(best)
	}
}

// prepare lets the technician bring the cable of a source to the selected
// input before its RF is switched on.
func (b *Bench) prepare(s *source) {
	if !b.follow {
		return
	}
	selected := b.counter.inputs[b.counter.selected]
	if there := b.wireAt(selected); there != nil && there.source.rf {
		return
	}
	for _, w := range b.wires {
		if w.source == s && w.input == selected && w.relay == nil {
			b.change(func() { b.plug(w) })
		}
	}
}

func rank(w *wire) int {
	n := 0
	if w.source.rf {
		n += 2
	}
	if w.plugged {
		n++
	}
	return n
}

// stress looks for inputs that see more than they can bear. overshoot is the
// source's transient in dB where one has just switched.
func (b *Bench) stress(overshoot float64) {
	for _, w := range b.wires {
		if !w.plugged || w.input.dead {
			continue
		}
		s := b.signal(w.input)
		if !s.present {
			continue
		}
		if over := s.level + overshoot - w.input.damage; over > 0 {
			w.input.dead = true
			b.note(Damage, w.source.sc.Name, w.input.sc.Name, "input %s destroyed: %.1f dB above its damage level", w.input.sc.Name, over)
		}
	}
}

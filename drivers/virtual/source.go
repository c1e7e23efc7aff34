package virtual

import (
	"fmt"
	"math"
	"time"

	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"
)

const (
	ownReference     = "own"
	counterReference = "counter"

	// strayLow and strayHigh bound how far an unlocked synthesis is off.
	strayLow, strayHigh = 1e-4, 5e-4
	// settlingShare is how much of the last step is left while a source settles.
	settlingShare = 0.1
)

// source is the model of one source and the state of its front panel.
type source struct {
	b        *Bench
	sc       SourceScenario
	status   status
	timebase *timebase

	frequency quantity.Frequency // as set, on the grid of the resolution
	level     quantity.Level     // as set, dBm
	rf        bool

	before     float64   // frequency before the last set, Hz
	settled    time.Time // when the output can be trusted
	settleDue  bool      // the last settling has not been counted as age yet
	tries      map[string]int
	lockEvents bool // lock failure was latched for the present try
}

func newSource(b *Bench, sc SourceScenario) *source {
	s := &source{b: b, sc: sc, timebase: newTimebase(sc.Timebase), tries: map[string]int{}}
	s.status = status{size: sc.Link.ErrorQueue, esr: scpi.PowerOn}
	s.preset()
	s.before, s.settleDue = s.frequency.Float(), false
	return s
}

// preset is the state after *RST: RF off, lowest level, a frequency in range.
func (s *source) preset() {
	s.rf = false
	s.level = s.sc.Level[0]
	s.frequency = s.grid(quantity.Of[quantity.Hertz](10, 6))
	if s.frequency.Cmp(s.sc.Range[0]) < 0 || s.frequency.Cmp(s.sc.Range[1]) > 0 {
		s.frequency = s.grid(s.sc.Range[0])
	}
}

// grid rounds to the resolution.
func (s *source) grid(f quantity.Frequency) quantity.Frequency {
	step := s.sc.Resolution
	n := f.Rat()
	n.Quo(n, step.Rat())
	whole := quantity.FromRat[quantity.One](n, 0)
	v := whole.Rat()
	v.Mul(v, step.Rat())
	return quantity.FromRat[quantity.Hertz](v, decimalsOf(step.Rat()))
}

// setFrequency returns false and changes nothing where f is out of range.
func (s *source) setFrequency(f quantity.Frequency) bool {
	if f.Cmp(s.sc.Range[0]) < 0 || f.Cmp(s.sc.Range[1]) > 0 {
		return false
	}
	s.b.change(func() {
		s.before = s.frequency.Float()
		s.frequency = s.grid(f)
		s.tries[s.frequency.Plain()]++
		s.lockEvents = false
		s.settle()
	})
	s.b.stress(s.overshoot())
	return true
}

// setLevel returns false and changes nothing where the level is out of range.
func (s *source) setLevel(dbm float64) bool {
	step := s.sc.LevelStep.Float()
	r := quantity.Dbm50()
	if !(dbm >= s.sc.Level[0].DBm(r)-1e-9 && dbm <= s.sc.Level[1].DBm(r)+1e-9) {
		return false
	}
	up := dbm > s.level.DBm(r)
	s.b.change(func() {
		s.level = quantity.DBmLevel(math.Round(dbm/step)*step, decimalsOf(s.sc.LevelStep.Rat()))
		s.settle()
	})
	if up {
		s.b.stress(s.overshoot())
	}
	return true
}

func (s *source) setRF(on bool) {
	rises := on && !s.rf
	if rises {
		s.b.prepare(s)
	}
	s.b.change(func() {
		s.rf = on
		s.settle()
	})
	if rises {
		s.b.stress(s.overshoot())
	}
}

func (s *source) settle() {
	s.settled = s.b.clock.Now().Add(s.settleTime())
	s.settleDue = true
}

func (s *source) settleTime() time.Duration {
	return time.Duration(s.sc.Settle.Float() * float64(time.Second))
}

// countSettling lets the commanded settling age the bench, once for each set.
func (s *source) countSettling() {
	if s.settleDue {
		s.settleDue = false
		s.b.pass(s.sc.Settle.Float())
	}
}

func (s *source) overshoot() float64 {
	if s.sc.Transient == nil {
		return 0
	}
	return s.sc.Transient.Float()
}

func (s *source) occasion() occasion {
	text := s.frequency.Plain()
	return occasion{
		instrument: s.sc.Name, f: s.frequency.Float(), powered: s.timebase.powered + s.b.now(), ambient: s.b.ambient,
		draw: newDraw(s.b.seed, s.sc.Name, text, s.tries[text]),
	}
}

// locked tells whether the synthesis locked at the present try.
func (s *source) locked() bool {
	o := s.occasion()
	m := s.b.sourceMods(o)
	try := s.tries[s.frequency.Plain()]
	if m.unlock || try <= m.slow {
		return false
	}
	for i, l := range s.sc.LockFails {
		if o.f < l.Range[0].Float() || o.f > l.Range[1].Float() {
			continue
		}
		switch {
		case l.Probability != nil:
			if o.draw.uniform(fmt.Sprintf("lock %d", i)) < l.Probability.Float() {
				return false
			}
		case l.Tries > 0:
			if try <= l.Tries {
				return false
			}
		default:
			return false
		}
	}
	return true
}

// settling tells whether the last set is not done yet.
func (s *source) settling() bool { return s.b.clock.Now().Before(s.settled) }

// y is the fractional offset of what the source runs from; coherent names it
// where it is a reference, and tracks is true where it is the counter.
func (s *source) y() (y float64, coherent string, tracks bool) {
	switch s.sc.Reference {
	case "", ownReference:
		return s.timebase.y(s.b.now(), s.b.ambient), "", false
	case counterReference:
		return 0, "", true
	}
	return s.b.references[s.sc.Reference], s.sc.Reference, false
}

// trueLevel is what leaves the connector, in dBm into 50 Ω.
func (s *source) trueLevel(m sourceMods) float64 {
	level := s.level.DBm(quantity.Dbm50()) - m.low
	if s.sc.LevelError != nil {
		d := newDraw(s.b.seed, s.sc.Name, s.frequency.Plain(), 0)
		level += s.sc.LevelError.Float() * (2*d.uniform("level") - 1)
	}
	return level
}

// output is the true frequency once settled, without the counter's share where
// the source is locked to the counter.
func (s *source) output(m sourceMods) (f float64, coherent string, tracks bool) {
	y, coherent, tracks := s.y()
	f = s.frequency.Float() * (1 + y)
	if m.y != 0 {
		f, coherent = f*(1+m.y), ""
	}
	if !s.locked() {
		u := s.occasion().draw.uniform("stray")
		f, coherent = f*(1+strayLow+u*(strayHigh-strayLow)), ""
	}
	return f, coherent, tracks
}

// signal is what an input sees now, the cable and its impedance included.
func (b *Bench) signal(in *input) signal {
	w := b.wireAt(in)
	if w == nil {
		return signal{}
	}
	return b.emitted(w.source, in, w.loss)
}

// emitted is what a source makes of an input's signal over a way with a loss.
func (b *Bench) emitted(s *source, in *input, loss func(f float64) float64) signal {
	if !s.rf {
		return signal{}
	}
	m := b.sourceMods(s.occasion())
	if m.noOutput {
		return signal{}
	}
	f, coherent, tracks := s.output(m)
	return signal{
		present: true, f: f, set: s.frequency.Float(), coherent: coherent, tracks: tracks,
		level:   s.trueLevel(m) - loss(f) + in.gain(f),
		setting: s.frequency.Plain() + " Hz " + s.level.String(),
		settled: s.settled, before: s.before,
	}
}

func (b *Bench) sourceNamed(name string) *source {
	for _, s := range b.sources {
		if s.sc.Name == name {
			return s
		}
	}
	return nil
}

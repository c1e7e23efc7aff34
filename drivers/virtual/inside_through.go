package virtual

import "math"

// through is what a stage makes of what arrives.
func (w *walk) through(s *stage, m stageMods, x wave) wave {
	switch s.sc.Kind {
	case kindControl:
		return w.controlLine(s, m)
	case kindOscillator:
		return w.oscillator(s, m, x)
	case kindMultiplier:
		return w.multiplier(s, m, x)
	case kindMixer:
		return w.mixer(s, m, x)
	case kindGate:
		return w.gated(s, m, x)
	case kindGateControl:
		return w.gateControl(m, x)
	case kindChain:
		return w.counted(m, x)
	case kindRegister:
		w.end.mods.digit, w.end.mods.blind = m.digit, m.blind
	case kindSwitch:
		if way := w.way(s); way == "" || m.dead {
			return x.off()
		}
	}
	return passed(s, m, x)
}

// passed is what a stage that leaves the frequency as it is makes of a signal,
// and a divider, which decides first.
func passed(s *stage, m stageMods, x wave) wave {
	if m.dead {
		return x.off()
	}
	x = x.lose(func(f float64) float64 { return m.loss + rollOff(f, m.rollOff) })
	if s.sc.Range != nil && (s.sc.Kind == kindFilter || s.sc.Kind == kindAmplifier) {
		edge := math.Min(s.high, math.Max(s.low, x.nominal))
		x = x.lose(func(f float64) float64 { return passband(f, s.low*(1-m.detune), s.high*(1-m.detune)) })
		x = x.change(passband(edge, s.low, s.high)) // what a good one takes off, too, within its range
	}
	if m.spur > 0 {
		x = x.change(-spurLoss)
		x.spur, x.distorted = spur{m.spur, spurMargin}, true
	}
	if m.noise > 0 {
		x.scatter = math.Hypot(x.scatter, m.noise*math.Pow(10, -math.Max(0, x.margin)/20))
		x.noisy = true
	}
	if s.sc.Kind == kindTrigger || s.sc.Kind == kindDivider || s.sc.Limiting {
		x = x.decide()
	}
	x = x.pulses(m)
	if p := float64(s.sc.Ratio); s.sc.Kind == kindDivider && p > 0 {
		x.nominal, x.shift = x.nominal/p, x.shift/p
		if m.ratio > 0 {
			x.factor *= p / float64(m.ratio)
		}
	}
	return x
}

// pulses get lost or come twice.
func (w wave) pulses(m stageMods) wave {
	if m.missing > 0 || m.double > 0 {
		w.factor *= (1 - m.missing) * (1 + m.double)
		w.distorted = true
	}
	return w
}

func (w *walk) controlLine(s *stage, m stageMods) wave {
	x := wave{on: true, factor: 1, state: w.value(s)}
	switch {
	case m.stuck != "":
		x.state = m.stuck
	case m.rest && len(s.sc.Values) > 0:
		x.state = s.sc.Values[0].Value
	}
	return x
}

// oscillator is the timebase, where nothing feeds it, or one that is locked to
// what does. An oscillator that has lost its reference gives nothing.
func (w *walk) oscillator(s *stage, m stageMods, x wave) wave {
	f := s.sc.Frequency.Float()
	if len(s.fedBy) == 0 {
		off := m.y + m.pull/f
		out := w.reference(w.c.timebase.y(w.c.b.now(), w.c.b.ambient) + off)
		if out.noisy = m.wanders; m.dead {
			return out.off()
		}
		if !w.external {
			w.end.y = off
		}
		return out
	}
	x = x.decide()
	if m.dead || !x.on {
		return x.off()
	}
	lost := x.frequency() - x.nominal // pulses that the reference lacks
	x.nominal, x.shift, x.factor = f*x.nominal/w.c.timebase.frequency, f*(m.y+lost/w.c.timebase.frequency)+m.pull, 1
	x.noisy = x.noisy || m.wanders
	return x
}

// multiplier makes the harmonic that the unit wants.
func (w *walk) multiplier(s *stage, m stageMods, x wave) wave {
	if m.dead || !x.on {
		return x.off()
	}
	x.base = x.nominal + x.shift
	if h := s.harmonics; h != nil && h.sc.Oscillator != nil {
		f := h.sc.Range[0].Float()
		if seen := w.sees(h); seen.present {
			f = seen.set
		}
		n := math.Max(1, h.harmonic(f))
		x.nominal, x.shift = x.nominal*n, x.shift*n
	}
	return x.lose(func(f float64) float64 { return m.loss + rollOff(f, m.rollOff) })
}

// mixer gives the difference to the local oscillator.
func (w *walk) mixer(s *stage, m stageMods, x wave) wave {
	var lo wave
	if s.oscillator >= 0 {
		lo = w.waves[s.oscillator]
	}
	if m.dead || !lo.on {
		return x.off()
	}
	at := lo.nominal + lo.shift
	nominal := math.Abs(x.nominal - lo.nominal)
	x.nominal, x.shift = nominal, math.Abs(x.nominal+x.shift-at)-nominal
	if x.spur.f > 0 {
		x.spur.f = math.Abs(x.spur.f - at)
	}
	x = x.change(lo.level - m.loss)
	x.spur.margin += lo.level - m.loss
	if m.leak > 0 {
		x.spur, x.distorted = spur{first64(lo.base, at), m.leak}, true
	}
	x.noisy = x.noisy || lo.noisy
	return x
}

func first64(a, b float64) float64 {
	if a != 0 {
		return a
	}
	return b
}

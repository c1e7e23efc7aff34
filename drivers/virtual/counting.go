package virtual

import (
	"math"
	"math/big"
)

// shot is all that one gate depends on.
type shot struct {
	f        float64  // true frequency at the input, averaged over the gate, Hz
	set      float64  // frequency as set, Hz; used where the phase is frozen
	coherent bool     // source and counter share one reference
	gate     *big.Rat // as set, s
	y        float64  // fractional offset of what the counter runs from
	lost     float64  // share of the cycles that the input misses
	draw     draw
	frozen   draw // drawn once for the setting
	mods     gateMods
}

// shown is what the counter makes of a shot.
type shown struct {
	value    *big.Rat // Hz
	decimals int
}

// seconds returns how long the gate of this input really is, on the counter's
// own scale: a reciprocal count takes whole periods, and at least one.
func (in *input) seconds(gate, f float64) float64 {
	switch in.sc.Kind {
	case Prescaled:
		if in.sc.GateLengthened {
			return gate * float64(in.sc.Prescale)
		}
	case Reciprocal:
		if f > 0 {
			return math.Max(1, math.Ceil(gate*f-1e-9)) / f
		}
	}
	return gate
}

// count is the model of the counting itself.
func (in *input) count(s shot) shown {
	switch in.sc.Kind {
	case Reciprocal:
		return in.reciprocal(s)
	case DownConverted:
		return in.downConverted(s)
	case Prescaled:
		return in.prescaled(s)
	}
	n := s.cycles(s.f, s.set, 1)
	value := new(big.Rat).Quo(new(big.Rat).SetInt(n), s.gate)
	return shown{value, decimalsOf(new(big.Rat).Inv(s.gate))}
}

func (in *input) prescaled(s shot) shown {
	p := int64(in.sc.Prescale)
	q := new(big.Rat).Quo(big.NewRat(p, 1), s.gate)
	lengthen := 1.0
	if in.sc.GateLengthened {
		lengthen = float64(p)
		q = new(big.Rat).Inv(s.gate)
	}
	n := s.cycles(s.f/float64(p), s.set/float64(p), lengthen)
	return shown{new(big.Rat).Mul(new(big.Rat).SetInt(n), q), decimalsOf(q)}
}

// downConverted mixes with the harmonic of the local oscillator that leaves an
// intermediate frequency, and counts that.
func (in *input) downConverted(s shot) shown {
	lo := in.sc.Oscillator.Float()
	harmonic := in.harmonic(s.set)
	offset := s.y
	if in.sc.OwnOscillator != nil {
		offset = in.sc.OwnOscillator.Float()
	}
	mixed := s.f - harmonic*lo*(1+offset)
	if in.sc.OwnOscillator != nil {
		s.coherent = false
	}
	n := s.cycles(mixed, s.set-harmonic*lo, 1)
	value := new(big.Rat).Quo(new(big.Rat).SetInt(n), s.gate)
	nominal := new(big.Rat).Mul(in.sc.Oscillator.Rat(), new(big.Rat).SetFloat64(harmonic))
	return shown{value.Add(value, nominal), decimalsOf(new(big.Rat).Inv(s.gate))}
}

// harmonic is the highest that leaves at least the lowest intermediate frequency.
func (in *input) harmonic(f float64) float64 {
	lowest := 0.0
	if in.sc.LowestIF != nil {
		lowest = in.sc.LowestIF.Float()
	}
	return math.Max(0, math.Floor((f-lowest)/in.sc.Oscillator.Float()))
}

// reciprocal times whole periods with a clock that the timebase drives.
func (in *input) reciprocal(s shot) shown {
	gate, _ := s.gate.Float64()
	res := in.sc.TimeResolution.Float()
	f := s.f * s.cycleFactor()
	if s.mods.stray > 0 {
		f = s.mods.stray
	}
	periods := math.Max(1, math.Ceil(gate*f*(1-s.mods.short)-1e-9))
	ticks := periods / f * (1 + s.y) / res
	ticks = math.Floor(ticks+s.phase()) + math.Round(s.mods.scatter*s.draw.normal("scatter"))
	taken := math.Max(1, ticks) * res
	q := f * res / (periods / f)
	value := new(big.Rat).SetFloat64(periods / taken)
	return shown{value, max(0, int(-math.Floor(math.Log10(q)+1e-3)))}
}

// cycleFactor is how many of the cycles reach the register.
func (s shot) cycleFactor() float64 {
	return (1 - s.lost) * (1 - s.mods.missing) * (1 + s.mods.double) * orOne(s.mods.pulses)
}

// cycles is an asynchronous count: the whole cycles of f in the true length of
// the gate, one more or not as the phase falls. Where source and gate share
// one reference and the gate holds whole cycles, the phase is frozen (common
// practice, no source).
func (s shot) cycles(f, set, lengthen float64) *big.Int {
	gate, _ := s.gate.Float64()
	gate *= lengthen * (1 - s.mods.short)
	f += s.mods.mixed
	if s.mods.stray > 0 {
		f, set, s.coherent = s.mods.stray, s.mods.stray, false
	}
	x := f * gate / (1 + s.y)
	phase := s.phase()
	if whole := math.Round(set * gate); s.coherent && math.Abs(set*gate-whole) < 1e-6 {
		// Both ends of the ratio move alike: only what is not the reference's
		// (a source that is off frequency) is left of the difference.
		if off := x - whole; math.Abs(off) < 1e-4 {
			x, phase = whole, s.frozen.uniform("phase")
		}
	}
	n := math.Floor(x*s.cycleFactor()+phase) + math.Round(s.mods.scatter*s.draw.normal("scatter"))
	out, _ := new(big.Float).SetFloat64(math.Max(0, n)).Int(nil)
	if d := s.mods.decade; d != nil {
		out.SetString(stick(out.String(), d.n, d.m), 10)
	}
	return out
}

func (s shot) phase() float64 { return s.draw.uniform("phase") }

// decimalsOf is how many decimals a display needs to show steps of q hertz.
func decimalsOf(q *big.Rat) int {
	scaled := new(big.Rat).Set(q)
	for d := range 13 {
		if scaled.IsInt() {
			return d
		}
		scaled.Mul(scaled, big.NewRat(10, 1))
	}
	f, _ := q.Float64()
	return min(12, max(0, 1-int(math.Floor(math.Log10(f)))))
}

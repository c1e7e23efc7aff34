package virtual

import "math"

// wave is what there is at the output of a stage. Its frequency is that of a
// good unit with the same signal, shifted, and then times a factor.
type wave struct {
	on      bool
	nominal float64 // Hz, of a good unit whose timebase is as it is
	shift   float64 // Hz
	factor  float64 // pulses over what they should be, by wrong division, loss or doubling
	level   float64 // dB over a good unit's
	margin  float64 // dB over what the next stage that decides needs
	window  float64 // dB below that, in which pulses get lost before there are none
	scatter float64 // counts, standard deviation
	spur    spur    // beside the signal

	noisy     bool
	distorted bool
	origin    string  // name of an input, or one of those below
	logic     bool    // a stage has decided: the level is that of pulses
	deaf      float64 // dB by which the first stage that decides saw too little
	base      float64 // Hz, fundamental that a multiplier was fed with
	state     string  // of a control line its value, of a gate "open"
	length    float64 // s, of a gate's pulse
}

// spur is a signal that nobody asked for.
type spur struct{ f, margin float64 }

// Where a wave can come from besides an input.
const (
	fromReference = "\x00reference" // no input has such a name
	fromSpur      = "\x00spur"
)

const (
	logicMargin = 6.0   // dB by which pulses may be too low
	logicWindow = 3.0   // dB
	leastSeen   = -60.0 // dB; less is nothing
	spurMargin  = 20.0  // dB above the least level, of a stage that oscillates
	spurLoss    = 6.0   // dB that such a stage amplifies less
	mostLoss    = 200.0 // dB that one stage takes off
	steepness   = 12    // exponent of a roll-off: 36 dB an octave
)

func (w wave) frequency() float64 { return (w.nominal + w.shift) * w.factor }

// seen tells whether a probe finds the wave itself.
func (w wave) seen() bool { return w.on && w.level > leastSeen }

// change adds to the level.
func (w wave) change(dB float64) wave {
	w.level += dB
	w.margin += dB
	return w
}

// off is what is left where nothing is; spurs are gone too.
func (w wave) off() wave { return wave{factor: 1, nominal: w.nominal, origin: w.origin} }

// decide is what a stage makes that gives pulses of one height: the stronger
// of signal and spur, if either is strong enough.
func (w wave) decide() wave {
	if w.spur.f > 0 && (!w.on || w.margin < w.spur.margin) {
		w = wave{on: true, nominal: w.spur.f, factor: 1, margin: w.spur.margin, window: logicWindow, origin: fromSpur, distorted: true}
	}
	w.spur = spur{}
	switch {
	case !w.on || w.margin <= -w.window:
		return w.off()
	case w.margin < 0:
		w.distorted = true
		if w.logic || w.origin == fromSpur { // the input's own window is part of how it counts
			w.factor *= 1 + w.margin/w.window
		}
	}
	if !w.logic && w.origin != fromSpur {
		w.deaf = -w.level
	}
	w.level, w.margin, w.window, w.logic = 0, logicMargin, logicWindow, true
	return w
}

// rollOff is the loss in dB at f of a stage with a corner, 0 for no corner.
func rollOff(f, corner float64) float64 {
	if corner <= 0 {
		return 0
	}
	return math.Min(mostLoss, 10*math.Log10(1+math.Pow(f/corner, steepness)))
}

// passband is the loss in dB at f of a filter from low to high.
func passband(f, low, high float64) float64 {
	return rollOff(f, high) + rollOff(low, f)
}

// lose takes from signal and spur what a stage takes at their frequencies.
func (w wave) lose(at func(f float64) float64) wave {
	w = w.change(-at(math.Abs(w.nominal + w.shift)))
	w.spur.margin -= at(w.spur.f)
	return w
}

package virtual

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"bandproof/procedures/quantity"
)

// stageMods is what faults do to one stage. Zero is healthy.
type stageMods struct {
	dead    bool
	loss    float64 // dB
	rollOff float64 // Hz, corner above which the stage loses level; 0 is nowhere
	detune  float64 // share by which a passband lies too low
	noise   float64 // counts of scatter at the least level
	spur    float64 // Hz of a spurious oscillation; 0 is none
	missing float64 // share of the pulses that get lost
	double  float64 // share of the pulses that come twice
	ratio   int     // of a divider, 0 is as it should be
	stuck   string  // value that a switch or a control line stays at
	deadWay string  // value at which a switch has no contact
	rest    bool    // a control line falls back to its first value
	y       float64 // of an oscillator, fractional
	wanders bool    // it scatters from gate to gate
	pull    float64 // of an oscillator, Hz
	leak    float64 // dB above the least level of the oscillator behind a mixer; 0 is none
	open    bool    // a gate that never closes
	short   float64 // share of the gate that is missing
	length  float64 // true over right length of the gate, 0 is 1
	jitter  float64 // of the gate's length, s
	most    float64 // the gate is never longer, s; 0 is as long as set
	slow    float64 // Hz above which nothing is counted; 0 is nowhere
	decade  *amount // a decade that stays
	digit   *amount // a digit of the display that stays
	blind   *amount // a digit of the display that never takes one value
}

// stageMode is a StageMode with what it does.
type stageMode struct {
	StageMode
	unit   amountUnit
	chance bool // the amount is the share of the gates at which it shows
	do     func(m *stageMods, a amount, d draw, purpose string)
}

func mode(name, about string, u amountUnit, normal string, do func(m *stageMods, a amount)) stageMode {
	return stageMode{StageMode{name, about, u.what, normal}, u, false, func(m *stageMods, a amount, _ draw, _ string) { do(m, a) }}
}

// rollOffAt is where a roll-off begins unless stated, over the top of a stage's
// range, and oscillatesAt where a stage oscillates by itself.
const (
	rollOffAt    = 0.65
	oscillatesAt = 0.8
)

var (
	inPositive = unitOf[quantity.Hertz]("a frequency above zero", 1e-3, 1e12)
	inWhole    = amountUnit{"a whole number", func(text string) (amount, error) {
		n, err := strconv.Atoi(strings.TrimSpace(text))
		if err == nil && (n < 1 || n > 1e6) {
			err = fmt.Errorf("it must lie between 1 and 1000000")
		}
		return amount{x: float64(n), n: n}, err
	}}
)

func inOneOf(values []string) amountUnit {
	return amountUnit{"one of " + strings.Join(values, ", "), func(text string) (amount, error) {
		if !slices.Contains(values, text) {
			return amount{}, fmt.Errorf("there is no such value")
		}
		return amount{text: text}, nil
	}}
}

func dies(about string) stageMode {
	return mode("dead", about, amountUnit{}, "", func(m *stageMods, _ amount) { m.dead = true })
}

func loses(name, about, normal string) stageMode {
	return mode(name, about, inDecibel, normal, func(m *stageMods, a amount) { m.loss += a.x })
}

func comesAndGoes(about string, do func(m *stageMods, a amount)) stageMode {
	x := mode("intermittent", about, inShare, "30 %", do)
	x.chance = true
	return x
}

func rollsOff(s *stage) stageMode {
	f := rollOffAt * s.high
	if f < s.low {
		f = math.Sqrt(s.low * s.high)
	}
	return mode("rolls-off", "It loses level above this frequency, 36 dB an octave.", inPositive, hertzText(f),
		func(m *stageMods, a amount) { m.rollOff = lower(m.rollOff, a.x) })
}

func noisy(about string) stageMode {
	return mode("noisy", about, inCounts, "100", func(m *stageMods, a amount) { m.noise += a.x })
}

// lower is the lower of two corners, of which 0 is none.
func lower(a, b float64) float64 {
	if a == 0 {
		return b
	}
	return math.Min(a, b)
}

// modesOf lists the ways in which a stage fails; what feeds it is known.
func modesOf(n *inside, s *stage) []stageMode {
	switch s.sc.Kind {
	case kindLimiter, kindAttenuator, kindAmplifier, kindFilter, kindTrigger, kindDivider, kindBuffer:
		return signalModes(s)
	case kindSwitch, kindControl:
		return switchModes(n, s)
	case kindOscillator, kindMultiplier, kindMixer:
		return conversionModes(n, s)
	}
	return countingModes(s)
}

package isolate

import (
	"math"

	"bandproof/runner/symptom"
)

// Leak is the probability that what is seen has nothing to do with what is
// supposed: a slip of the person, a fault of a kind that the table does not know.
// It is spread evenly over all that can be seen.
const Leak = 0.01

// Places of symptom.Kinds in a distribution.
const (
	sGood = iota
	sNone
	sIntermittent
	sNoisy
	sTooFew
	sDouble
	sHalf
	sRatio
	sConstant
	sOff
	sWeak
	sDistorted
	sOther
	symptoms
)

// distribution is the probability of each symptom; it sums to 1.
type distribution [symptoms]float64

func place(k symptom.Kind) int {
	for i, x := range symptom.Kinds() {
		if x == k {
			return i
		}
	}
	return -1
}

var certain = distribution{sGood: 1}

// leaky lets everything happen at times.
func (d distribution) leaky() distribution {
	for k := range d {
		d[k] = (1-Leak)*d[k] + Leak/symptoms
	}
	return d
}

// normal is the probability that a normal deviate lies below z.
func normal(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// What an input usually has in hand over its specification, dB, and how far that
// varies. Common practice, no source.
const (
	inHand       = 5.0
	inHandSpread = 2.5
	usualMargin  = 6.0 // of a sweep over the specified sensitivity, where it is not known
)

// lacking splits what a unit shows whose signal is too weak for it.
func lacking(p float64) distribution {
	return distribution{sGood: 1 - p, sNone: 0.6 * p, sTooFew: 0.25 * p, sIntermittent: 0.1 * p, sNoisy: 0.05 * p}
}

// effect is what a look shows where the fault has its effect in full. This is
// the table P(symptom | mode, what the stage is to the place); common practice,
// no source. at is true for a look at a test point, false for a reading.
func effect(m Mode, r role, at bool) distribution {
	switch m {
	case Dead, FailsWarm:
		switch {
		case at:
			return distribution{sNone: 0.95, sWeak: 0.05}
		case r&asSignal != 0:
			return distribution{sNone: 0.95, sNoisy: 0.02, sOther: 0.03}
		case r&(asClock|asOscillator) != 0:
			return distribution{sNone: 0.92, sOther: 0.08}
		}
		return distribution{sNone: 0.8, sOther: 0.2}
	case RollsOff, CutsOff:
		if at {
			return distribution{sNone: 0.55, sWeak: 0.45}
		}
		return distribution{sNone: 0.8, sTooFew: 0.1, sIntermittent: 0.05, sNoisy: 0.05}
	case StaysOneWay, DeadOneWay:
		if at {
			return distribution{sNone: 0.9, sWeak: 0.05, sOther: 0.05}
		}
		return distribution{sNone: 0.9, sOther: 0.1}
	case Scatters, Unstable:
		return scattering(m, r, at)
	case Doubles:
		if at {
			return distribution{sDistorted: 0.6, sDouble: 0.2, sNoisy: 0.05, sGood: 0.15}
		}
		return distribution{sDouble: 0.55, sNoisy: 0.1, sRatio: 0.1, sOther: 0.1, sGood: 0.15}
	case Misses:
		if at {
			return distribution{sIntermittent: 0.3, sTooFew: 0.3, sDistorted: 0.2, sGood: 0.2}
		}
		return distribution{sTooFew: 0.65, sIntermittent: 0.08, sNoisy: 0.12, sOff: 0.05, sGood: 0.1}
	}
	return wrong(m, r, at)
}

func scattering(m Mode, r role, at bool) distribution {
	switch {
	case m == Unstable && r&asSignal != 0 && r&asClock != 0:
		return certain // what counts and what is counted move alike
	case at:
		return distribution{sNoisy: 0.75, sDistorted: 0.05, sGood: 0.2}
	case m == Unstable && r&asClock != 0:
		return distribution{sNoisy: 0.7, sOff: 0.15, sGood: 0.15}
	}
	return distribution{sNoisy: 0.6, sTooFew: 0.1, sIntermittent: 0.1, sGood: 0.2}
}

// wrong is for modes that give another number.
func wrong(m Mode, r role, at bool) distribution {
	switch {
	case m == WrongRatio:
		return distribution{sRatio: 0.6, sHalf: 0.12, sDouble: 0.12, sOther: 0.1, sOff: 0.06}
	case m == WrongTime:
		return distribution{sOff: 0.4, sRatio: 0.2, sOther: 0.2, sTooFew: 0.1, sDouble: 0.05, sHalf: 0.05}
	case m == WrongDigits:
		return distribution{sOther: 0.35, sConstant: 0.3, sGood: 0.25, sOff: 0.05, sTooFew: 0.05}
	case r&asSignal != 0 && r&asClock != 0 && !at:
		return certain // of OffFrequency, as above
	case at:
		return distribution{sOff: 0.6, sRatio: 0.15, sOther: 0.15, sGood: 0.1}
	case r&asClock != 0:
		return distribution{sOff: 0.92, sConstant: 0.04, sOther: 0.04}
	}
	return distribution{sOff: 0.5, sConstant: 0.35, sRatio: 0.05, sOther: 0.05, sGood: 0.05}
}

// weak is what a stage that gives so many dB too little makes of a look.
func weak(dB float64, c standing) distribution {
	margin := c.margin
	if math.IsNaN(margin) {
		margin = usualMargin
	}
	switch {
	case c.place != atReading && dB < 20:
		p := normal((dB - 4) / 2)
		return distribution{sGood: 1 - p, sWeak: 0.95 * p, sNone: 0.05 * p}
	case c.place != atReading:
		return distribution{sWeak: 0.65, sNone: 0.35}
	case c.sensitivity:
		p := normal((dB - inHand) / inHandSpread)
		return distribution{sGood: 1 - p, sWeak: 0.9 * p, sNone: 0.1 * p}
	case c.role&asSignal == 0:
		return lacking(normal((dB - 10) / 3)) // clocks and oscillators have more in hand
	}
	return lacking(normal((dB - margin - inHand) / inHandSpread))
}

// comesAndGoes is what is seen of a fault that is there in a share of all readings.
func comesAndGoes(q float64, c standing) distribution {
	if c.place != atReading { // one looks for a while
		return distribution{sIntermittent: 0.8, sNone: 0.2 * q, sGood: 0.2 * (1 - q)}
	}
	n := float64(max(1, c.readings))
	none, good := math.Pow(q, n), math.Pow(1-q, n)
	rest := 1 - none - good
	return distribution{sNone: none, sGood: good, sIntermittent: 0.8 * rest, sTooFew: 0.1 * rest, sNoisy: 0.1 * rest}
}

// ofSelfTest is what of all that a self-test sees of it: good or not.
func ofSelfTest(d distribution) distribution {
	const sees = 0.9
	fails := sees * (1 - d[sGood])
	return distribution{sGood: 1 - fails, sOther: fails}
}

// asSensitivity is what the search for the least level shows: a signal that
// never counts shows nothing, one that scatters needs too much, or seems to.
func asSensitivity(d distribution) distribution {
	d[sWeak] += d[sTooFew] + d[sIntermittent]
	d[sTooFew], d[sIntermittent] = 0, 0
	return d
}

// both is what two faults show together: nothing beats everything, good is
// beaten by everything, the same stays, and two that differ look like either
// or like neither.
func both(a, b distribution) distribution {
	var out distribution
	out[sGood] = a[sGood] * b[sGood]
	out[sNone] = a[sNone] + b[sNone] - a[sNone]*b[sNone]
	sa, sb := max(0, 1-a[sGood]-a[sNone]), max(0, 1-b[sGood]-b[sNone])
	same := 0.0
	for s := range out {
		if s == sGood || s == sNone {
			continue
		}
		out[s] = a[s]*b[sGood] + a[sGood]*b[s] + a[s]*b[s] + 0.25*(a[s]*max(0, sb-b[s])+b[s]*max(0, sa-a[s]))
		same += a[s] * b[s]
	}
	out[sOther] += 0.5 * max(0, sa*sb-same) // of which rounding may leave a trace below 0
	return out
}

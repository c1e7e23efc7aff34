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

// What an input does that gets too little is one or the other, and the same at
// all its points: it shows nothing, or it counts what it can.
const (
	stops = iota
	miscounts
)

// lacking splits what a unit shows whose signal is too weak for it.
func lacking(p float64, manner int) distribution {
	if manner == miscounts {
		return distribution{sGood: 1 - p, sNone: 0.35 * p, sTooFew: 0.45 * p, sIntermittent: 0.08 * p, sNoisy: 0.08 * p, sOther: 0.04 * p}
	}
	return distribution{sGood: 1 - p, sNone: 0.94 * p, sTooFew: 0.02 * p, sIntermittent: 0.02 * p, sNoisy: 0.02 * p}
}

// misses is the probability with which a person who looks at the right place,
// with the signal that reads wrong, sees nothing of a fault that is there.
const misses = 0.05

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
		return distribution{sNone: 0.9, sTooFew: 0.02, sNoisy: 0.02, sOther: 0.06}
	case Scatters, Unstable:
		return scattering(m, r, at)
	case Doubles:
		if at {
			return distribution{sDistorted: 0.6, sDouble: 0.3, sNoisy: 0.1 - misses, sGood: misses}
		}
		return distribution{sDouble: 0.55, sNoisy: 0.1, sRatio: 0.1, sOther: 0.1, sGood: 0.15}
	case ShortGates:
		switch {
		case at && r&asSignal == 0: // what goes through the gate has the right frequency
			return distribution{sGood: 0.75, sIntermittent: 0.1, sNone: 0.1, sOther: 0.05}
		case at:
			return distribution{sRatio: 0.6, sHalf: 0.1, sOther: 0.3 - misses, sGood: misses}
		}
		return distribution{sNoisy: 0.25, sNone: 0.1, sConstant: 0.03, sOther: 0.02, sGood: 0.6} // coarser, which what is promised may hide; less than one count
	case Strays:
		if at {
			return distribution{sDistorted: 0.65, sOther: 0.2, sNoisy: 0.05, sWeak: 0.1 - misses, sGood: misses}
		}
		return distribution{sConstant: 0.5, sOther: 0.4, sNone: 0.05, sDouble: 0.02, sGood: 0.03}
	case Misses:
		if at {
			return distribution{sIntermittent: 0.2, sTooFew: 0.45, sDistorted: 0.3 - misses, sOff: 0.05, sGood: misses}
		}
		return distribution{sTooFew: 0.75, sIntermittent: 0.05, sNoisy: 0.1, sGood: 0.1}
	}
	return wrong(m, r, at)
}

// beside is what is seen of a signal that a wrong way passes, since it lies near
// the range of that.
func beside(at, sensitivity bool) distribution {
	switch {
	case at:
		return distribution{sGood: 0.6, sWeak: 0.35, sNone: 0.05}
	case sensitivity:
		return distribution{sGood: 0.5, sWeak: 0.45, sNone: 0.05}
	}
	return distribution{sGood: 0.85, sTooFew: 0.05, sIntermittent: 0.02, sNoisy: 0.02, sNone: 0.06}
}

// slope is what is seen a little above, or below, where a stage begins to give less.
func slope(at, sensitivity bool) distribution {
	switch {
	case at: // with a signal that reads wrong
		return distribution{sWeak: 0.68, sNone: 0.3, sGood: 0.02}
	case sensitivity:
		return distribution{sWeak: 0.6, sNone: 0.2, sGood: 0.2}
	}
	return distribution{sNone: 0.4, sTooFew: 0.2, sIntermittent: 0.05, sNoisy: 0.05, sGood: 0.3}
}

// ofTheTest is what is seen where a switch stays with the signal of the self-test.
func ofTheTest(at bool) distribution {
	if at {
		return distribution{sOther: 0.75, sRatio: 0.1, sDistorted: 0.05, sNone: 0.1 - misses, sGood: misses}
	}
	return distribution{sOther: 0.45, sConstant: 0.4, sRatio: 0.05, sNone: 0.1}
}

func scattering(m Mode, r role, at bool) distribution {
	switch {
	case m == Unstable && r&asSignal != 0 && r&asClock != 0:
		return certain // what counts and what is counted move alike
	case at:
		return distribution{sNoisy: 0.9, sDistorted: 0.1 - misses, sGood: misses}
	case m == Unstable && r&asClock != 0:
		return distribution{sNoisy: 0.65, sOff: 0.1, sGood: 0.25}
	}
	return distribution{sNoisy: 0.6, sTooFew: 0.08, sIntermittent: 0.07, sGood: 0.25}
}

// gateTime is what is seen of a gate time that is wrong. source is true for a look
// at what makes it: its pulse can be measured there. Behind the gate the signal is
// as it should be while it is there.
func gateTime(manner int, at, source bool) distribution {
	const byShare, byRatio, toHalf, toDouble, sometimes, neverEnds = 0, 1, 2, 3, 4, 5
	var d distribution
	switch {
	case at && source && (manner == byRatio || manner == toHalf || manner == toDouble):
		d = ratios(manner - byRatio) // of the pulse's length
	case at && source:
		d = distribution{sOff: 0.5, sRatio: 0.1, sOther: 0.4 - misses, sGood: misses}
	case at && manner == neverEnds:
		d = distribution{sOther: 0.6, sGood: 0.4}
	case at:
		d = distribution{sOff: 0.2, sRatio: 0.1, sOther: 0.15, sGood: 0.55}
	case manner == neverEnds:
		d = distribution{sNone: 0.92, sOther: 0.08}
	case manner == byRatio || manner == toHalf || manner == toDouble:
		d = ratios(manner - byRatio)
	default:
		d = distribution{sOff: 0.8, sTooFew: 0.05, sOther: 0.08, sConstant: 0.02, sNone: 0.02, sGood: 0.03}
	}
	if manner == sometimes {
		return partly(d)
	}
	return d
}

// ratios is what a wrong ratio shows at all points alike: some ratio, half, double.
func ratios(manner int) distribution {
	d := distribution{sRatio: 0.05, sHalf: 0.02, sDouble: 0.02, sOther: 0.07, sOff: 0.04, sNone: 0.02, sGood: 0.03}
	d[[]int{sRatio, sHalf, sDouble}[manner]] += 0.75
	return d
}

// wrong is for modes that give another number.
func wrong(m Mode, r role, at bool) distribution {
	switch {
	case m == WrongRatio:
		return ratios(0)
	case m == WrongDigits && at:
		return distribution{sOther: 0.7, sDistorted: 0.3 - misses, sGood: misses}
	case m == WrongDigits:
		return distribution{sOther: 0.33, sConstant: 0.27, sNoisy: 0.1, sOff: 0.1, sIntermittent: 0.03, sTooFew: 0.02, sGood: 0.15}
	case r&asSignal != 0 && r&asClock != 0 && !at:
		return certain // of OffFrequency, as above
	case at:
		return distribution{sOff: 0.65, sRatio: 0.1, sOther: 0.25 - misses, sGood: misses}
	case r&asClock != 0: // too little to be seen where few digits are
		return distribution{sOff: 0.8, sConstant: 0.02, sOther: 0.03, sGood: 0.15}
	}
	return distribution{sConstant: 0.5, sOther: 0.3, sOff: 0.1, sRatio: 0.02, sGood: 0.08}
}

// mixedDown is what a number that is wrong in proportion shows where only what
// the mixer gives is counted: the error is a share of the intermediate
// frequency, and so no share, and no ratio, of that at the input. It is the same
// number of Hz at all points that give the same intermediate frequency.
func mixedDown(d distribution) distribution {
	p := d[sOff] + d[sRatio] + d[sDouble] + d[sHalf]
	d[sOff], d[sRatio], d[sDouble], d[sHalf] = 0.2*p, 0, 0, 0
	d[sConstant] += 0.45 * p
	d[sOther] += 0.35 * p
	return d
}

// partly is what shows at some points only.
func partly(d distribution) distribution {
	const good = 0.75
	for k := range d {
		d[k] *= 1 - good
	}
	d[sGood] += good
	return d
}

// manners of a mode at a reading are told apart where what is seen hangs together:
// a fault shows the same way at all points of a unit. Each has its probability.
func (m Mode) manners() []float64 {
	switch m {
	case Weak:
		return []float64{0.5, 0.5} // stops, miscounts
	case WrongTime:
		return []float64{0.35, 0.15, 0.07, 0.03, 0.3, 0.1} // by a share, a ratio, to half, to double, at some settings, never ends
	case WrongRatio:
		return []float64{0.6, 0.2, 0.2} // some ratio, half, double
	case Misses:
		return []float64{0.6, 0.4} // now and then, every so many
	case Strays, Scatters:
		return []float64{0.5, 0.5} // at all points, at some
	case WrongDigits:
		return []float64{0.2, 0.2, 0.3, 0.3} // the same, and those that do not show at the pin of a chain
	case OffFrequency:
		return []float64{0.6, 0.4} // of an oscillator that is mixed with: a constant, a share
	}
	return []float64{1}
}

// inManner is what effect says, in one of the manners of the mode.
func inManner(m Mode, manner int, r role, at bool) distribution {
	d := effect(m, r, at)
	switch {
	case m == WrongRatio:
		return ratios(manner)
	case m == WrongDigits && at && manner >= 2: // one pin tells little of the digits that a chain holds
		return certain
	case at || manner == 0:
		return d
	case m == WrongDigits && manner == 2:
		return d
	case m == Misses:
		return distribution{sOff: 0.8, sTooFew: 0.08, sOther: 0.07, sGood: 0.05}
	case m == Strays || m == WrongDigits || m == Scatters:
		return partly(d)
	case m == OffFrequency && r&(asSignal|asClock) == 0:
		return distribution{sOff: 0.65, sConstant: 0.12, sOther: 0.15, sGood: 0.08}
	}
	return d
}

// weak is what a stage that gives so many dB too little makes of a look.
func weak(dB float64, c standing) distribution {
	margin := c.margin
	if math.IsNaN(margin) {
		margin = usualMargin
	}
	switch at := c.place != atReading; {
	case at && c.levels && dB < 20:
		p := normal((dB - 4) / 2)
		return distribution{sGood: 1 - p, sWeak: 0.95 * p, sNone: 0.05 * p}
	case at && c.levels:
		return distribution{sWeak: 0.65, sNone: 0.35}
	case c.sensitivity && c.raw:
		p := normal((dB - inHand) / inHandSpread)
		return distribution{sGood: 1 - p, sWeak: 0.9 * p, sNone: 0.1 * p}
	case !c.raw: // pulses and clocks have more in hand; it does or does not do at all points alike
		const enough = 10
		if dB < enough {
			return lacking(0.03, c.manner)
		}
		return lacking(0.97, c.manner).lookedAt(c.place != atReading)
	}
	return lacking(normal((dB-margin-inHand)/inHandSpread), c.manner).lookedAt(c.place != atReading)
}

// lookedAt is what of a lack of signal is seen at a test point behind the stage
// that lacks it: pulses that are missing, now and then, are a bad form.
func (d distribution) lookedAt(at bool) distribution {
	if at {
		part := 0.5 * (d[sTooFew] + d[sNoisy] + d[sOther])
		d[sTooFew], d[sNoisy], d[sOther] = d[sTooFew]/2, d[sNoisy]/2, d[sOther]/2
		d[sDistorted] += part
	}
	return d
}

// longLook is how many readings a look at a test point is worth for what comes
// and goes.
const longLook = 20

// comesAndGoes is what is seen of a fault that is there in a share of all readings.
func comesAndGoes(q float64, c standing) distribution {
	if c.place != atReading {
		none, good := math.Pow(q, longLook), math.Pow(1-q, longLook)
		return distribution{sNone: none, sGood: good, sIntermittent: 1 - none - good}
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
// never counts shows nothing; one that counts wrong now and then seems to need
// too much, since some level is met at which it happens to count right.
func asSensitivity(d distribution) distribution {
	d[sWeak] += 0.6 * (d[sTooFew] + d[sIntermittent] + d[sNoisy])
	d[sTooFew], d[sIntermittent] = 0.4*d[sTooFew], 0.4*d[sIntermittent]
	d[sNoisy] *= 0.4
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

// behind is what of a level too low is seen at a test point behind a stage that
// makes pulses, or nothing.
func (d distribution) behind(at bool) distribution {
	if at {
		d[sNone], d[sTooFew], d[sDistorted], d[sWeak] = d[sNone]+0.6*d[sWeak], d[sTooFew]+0.2*d[sWeak], d[sDistorted]+0.2*d[sWeak], 0
	}
	return d
}

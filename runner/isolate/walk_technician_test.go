package isolate_test

import (
	"math"

	"bandproof/drivers/virtual"
	"bandproof/runner/symptom"
)

// A technician compares what is at a test point with what the manual of the unit
// says of a good one, and has a word for it. The limits are those of common
// practice, no source; they come from nothing in this package.
const (
	lowBy     = 4.0  // dB: less than a good unit has, beyond what probes and units vary by
	reference = 1e-6 // relative error that a timebase may have
)

// answer puts into a word what was found, beside what a good unit has there with
// a signal of f Hz at its input.
func answer(found, good virtual.Probed, f float64) symptom.Kind {
	switch {
	case !found.Present:
		return symptom.None
	case found.Share.Float() < 1:
		return symptom.Intermittent
	case found.State != good.State:
		return symptom.Other
	}
	if word := number(found.Length.Float(), good.Length.Float(), 1e-4, found.Distorted); word != symptom.Good {
		return word
	}
	// A mixed signal is off by what the oscillator is off, which is up to the
	// signal at the input times what the timebase is.
	share := reference * math.Max(1, f/good.Frequency.Float())
	if word := number(found.Frequency.Float(), good.Frequency.Float(), share, found.Distorted); word != symptom.Good {
		return word
	}
	switch {
	case found.Distorted:
		return symptom.Distorted
	case found.Level.Float() < -lowBy:
		return symptom.Weak
	case found.Noisy:
		return symptom.Noisy
	}
	return symptom.Good
}

// number compares a frequency, or a time, with what it should be.
func number(found, want, share float64, distorted bool) symptom.Kind {
	if want == 0 || math.Abs(found/want-1) <= share {
		return symptom.Good
	}
	ratio := found / want
	for q := 1.0; q <= 50; q++ {
		p := math.Round(ratio * q)
		if p < 1 || p > 50 || math.Abs(p/q/ratio-1) > share {
			continue
		}
		switch p / q {
		case 2:
			return symptom.Double
		case 0.5:
			return symptom.Half
		}
		return symptom.Ratio
	}
	switch {
	case distorted && ratio > 0.95 && ratio < 1:
		return symptom.TooFew // gaps between the pulses
	case math.Abs(ratio-1) < 0.02:
		return symptom.Off
	}
	return symptom.Other
}

package symptom

import (
	"math/big"
	"time"
)

// Kind is what one point, one measurement or one look at a test point shows.
type Kind string

// Kinds, from good to worse. Every one but Good is a fault's.
const (
	Good         Kind = "good"                 // within tolerance; at a test point: as expected
	None         Kind = "nothing"              // no count; at a test point: no signal
	Intermittent Kind = "comes and goes"       // some readings right, others missing or far off
	Noisy        Kind = "scatters"             // beyond ±1 count and what the source explains
	TooFew       Kind = "too few"              // cycles lost: low, and differently at each reading
	Double       Kind = "twice"                // exactly twice the frequency
	Half         Kind = "half"                 // exactly half
	Ratio        Kind = "another ratio"        // p/q of the frequency
	Constant     Kind = "off by a constant"    // the same number of Hz over a range
	Off          Kind = "off by a small share" // the same relative error over a range, as of a timebase
	Weak         Kind = "needs too much level" // counts only, or shows at a test point only, at a higher level than it should
	Distorted    Kind = "distorted"            // at a test point: the frequency is there, the form is not
	Other        Kind = "wrong in another way"
)

// Kinds lists them all.
func Kinds() []Kind {
	return []Kind{Good, None, Intermittent, Noisy, TooFew, Double, Half, Ratio, Constant, Off, Weak, Distorted, Other}
}

// Seen is what one point showed. Frequencies and errors are float64: they are
// compared with what a fault would do, never judged again.
type Seen struct {
	Point string // id of the point or task, such as "B-007"
	Input string // "" for a self-test
	// Sensitivity: what was looked for is the level that the input needs.
	Sensitivity bool
	Readings    int     // of the unit, of which Share was wrong; 0 where a finding rests on no point's readings
	SelfTest    bool    // not a point but what the unit says of itself
	Frequency   float64 // at the input, Hz; 0 where there is none
	// Level at the input, as planned or measured, dBm, of an input of high
	// impedance as its voltage gives across 50 Ω; NaN where none is known. Margin
	// is how far it lies above the specified sensitivity, dB; NaN where none is
	// specified. Of a search in level both are those of the least level that counts.
	Level   float64
	Margin  float64
	At      time.Time // of the first reading
	Powered float64   // s that the unit had been on, as far as the record says
	Gate    float64   // s; 0 where that is not known
	Order   int       // in which the points were taken, from 0

	Kind  Kind
	Share float64  // of the readings that were wrong; 0 where each was right and they only scatter too much
	Shown float64  // mean of what was shown, Hz; 0 where nothing was
	Error float64  // Shown − reference, Hz
	PPM   float64  // relative error
	Limit float64  // Hz
	Ratio *big.Rat // of shown to true where Kind is Double, Half or Ratio
	Says  string   // in words
}

package runner

import (
	"time"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// Try is one turn of a trimmer, from the note before it to its own: what the
// unit read before and after.
type Try struct {
	Began  time.Time `json:"began"`
	Ended  time.Time `json:"ended"`
	Before *Settled  `json:"before,omitempty"` // nil where nothing good was read
	After  *Settled  `json:"after,omitempty"`
	Note   string    `json:"note,omitempty"`
}

// Settled is the mean of the last readings up to a moment.
type Settled struct {
	Error    quantity.Exact `json:"error_hz"`
	PPM      float64        `json:"relative_error_ppm"`
	Readings int            `json:"readings"`
}

// settledOver is how many readings a value before or after a try is the mean of.
const settledOver = 3

// SettledAt is what was read last at a moment, of readings that began after
// since; nil where none was good.
func SettledAt(read []HeldReading, expected quantity.Exact, since, at time.Time) *Settled {
	sum, n := quantity.Exact{}, int64(0)
	for k := len(read) - 1; k >= 0 && n < settledOver; k-- {
		if x := read[k]; x.Good && !x.At.After(at) && x.At.After(since) {
			sum, n = sum.Add(x.Error), n+1
		}
	}
	if n == 0 {
		return nil
	}
	mean := sum.Quo(quantity.ExactInt(n))
	return &Settled{mean, procedures.PPM(mean, expected), int(n)}
}

// FirstSettled is the mean of the first readings.
func FirstSettled(read []HeldReading, expected quantity.Exact) *Settled {
	var first []HeldReading
	for _, x := range read {
		if x.Good && len(first) < settledOver {
			first = append(first, x)
		}
	}
	if len(first) == 0 {
		return nil
	}
	return SettledAt(first, expected, time.Time{}, first[len(first)-1].At)
}

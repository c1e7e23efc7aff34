package virtual

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"bandproof/procedures/quantity"
)

// amount is how much of a fault there is, in the unit of its kind.
type amount struct {
	x    float64 // dB, ratio, Hz, counts, seconds
	n, m int     // two whole numbers: a ratio p/q, a digit and its value
	text string  // one of a list of values
}

func (a amount) duration() time.Duration { return time.Duration(a.x * float64(time.Second)) }

// amountUnit is a way to write an amount. The zero value is none at all.
type amountUnit struct {
	what string // for people
	from func(text string) (amount, error)
}

func (u amountUnit) read(text string) (amount, error) {
	if u.what == "" {
		return amount{}, nil
	}
	a, err := u.from(text)
	if err != nil {
		return a, fmt.Errorf("amount %q is not %s: %w", text, u.what, err)
	}
	return a, nil
}

func unitOf[D quantity.Dimension](what string, low, high float64) amountUnit {
	return amountUnit{what, func(text string) (amount, error) {
		v, err := quantity.Parse[D](text)
		if err != nil {
			return amount{}, err
		}
		if x := v.Float(); x < low || x > high {
			return amount{}, fmt.Errorf("it must lie between %v and %v", low, high)
		}
		return amount{x: v.Float()}, nil
	}}
}

var (
	inDecibel = unitOf[quantity.Decibel]("a number of dB", 0, 200)
	inRatio   = unitOf[quantity.One]("a ratio", -0.5, 0.5)
	inShare   = unitOf[quantity.One]("a share", 0, 1)
	inHertz   = unitOf[quantity.Hertz]("a frequency", -1e12, 1e12)
	inTime    = unitOf[quantity.Second]("a time", 0, 3600)
	inCounts  = amountUnit{"a number of counts", func(text string) (amount, error) {
		n, err := strconv.Atoi(strings.TrimSpace(text))
		if err == nil && (n < 0 || n > 1e6) {
			err = fmt.Errorf("it must lie between 0 and 1000000")
		}
		return amount{x: float64(n), n: n}, err
	}}
	inRational = amountUnit{"a ratio of whole numbers such as 32/31", func(text string) (amount, error) {
		a, err := pair(text, "/", 1, 1e6)
		if err == nil {
			a.x = float64(a.n) / float64(a.m)
		}
		return a, err
	}}
	inDigit = amountUnit{"a place and a digit such as 1:7, where place 0 is the last", func(text string) (amount, error) {
		a, err := pair(text, ":", 0, 20)
		if err == nil && a.m > 9 {
			err = fmt.Errorf("%d is not a digit", a.m)
		}
		return a, err
	}}
)

func pair(text, separator string, low, high int) (amount, error) {
	p, q, ok := strings.Cut(text, separator)
	n, err1 := strconv.Atoi(strings.TrimSpace(p))
	m, err2 := strconv.Atoi(strings.TrimSpace(q))
	if !ok || err1 != nil || err2 != nil || min(n, m) < low || max(n, m) > high {
		return amount{}, fmt.Errorf("expected two whole numbers between %d and %d with %q between", low, high, separator)
	}
	return amount{n: n, m: m}, nil
}

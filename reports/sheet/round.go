package sheet

import (
	"math"
	"math/big"
	"strconv"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// none stands where a point has no value.
const none = "—"

// mostPlaces bounds decimal places in print; an uncertainty below leastU is
// beyond any bench and printed as less than that.
const (
	mostPlaces = 15
	leastU     = 1e-12
)

// fixed writes x in the sheet's style, rounded half to even to the given decimal
// places; negative places round to tens, hundreds, …
func (w *words) fixed(x quantity.Exact, places int) string {
	return w.number(quantity.Group(fixedPlain(x, places)))
}

func fixedPlain(x quantity.Exact, places int) string {
	return uncertainty.Decimal(x, min(places, mostPlaces))
}

// twoDigits returns the decimal place of the second significant digit of u
// after rounding to two digits; ok is false where u is not above zero and finite.
func twoDigits(u float64) (places int, ok bool) {
	if !(u > 0) || math.IsInf(u, 0) {
		return 0, false
	}
	_, e, _ := strings.Cut(strconv.FormatFloat(u, 'e', 1, 64), "e")
	exponent, err := strconv.Atoi(e)
	if err != nil {
		return 0, false
	}
	return max(-mostPlaces, min(1-exponent, mostPlaces)), true
}

// rounded is one point's error with its limit and uncertainty for print.
type rounded struct{ Error, Limit, U string }

// roundResult rounds U to two significant digits and the error to the same
// place (JCGM 100:2008 7.2.6); the limit keeps at least two digits. Where that
// would make the printed error seem to lie on the other side of the printed
// limit than the unrounded one does, more digits are printed until it doesn't.
// fallback is the decimal place where there is no uncertainty.
func (w *words) roundResult(e, limit quantity.Exact, u float64, fallback int) rounded {
	places, known := twoDigits(u)
	r := rounded{U: none}
	switch {
	case known && u < leastU:
		r.U, places = "< 1e\u221212", fallback
	case known:
		r.U = w.fixed(quantity.ExactFloat(u), places)
	default:
		places = fallback
	}
	within := e.Abs().Cmp(limit) <= 0
	least, _ := twoDigits(limit.Float())
	for ; ; places++ {
		found, most := fixedPlain(e, places), fixedPlain(limit, max(places, least))
		if places >= mostPlaces || parse(found).Abs().Cmp(parse(most)) <= 0 == within {
			r.Error, r.Limit = w.number(quantity.Group(found)), w.number(quantity.Group(most))
			return r
		}
	}
}

func parse(s string) quantity.Exact {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return quantity.Exact{}
	}
	return quantity.ExactOf(r)
}

// uncertain writes an uncertainty to two significant digits, those before the
// decimal mark too (JCGM 100:2008 7.2.6): 324 471 Hz is 320 000 Hz.
func (w *words) uncertain(u float64) string {
	places, ok := twoDigits(u)
	if !ok {
		return w.significant(u, 2)
	}
	return w.fixed(quantity.ExactFloat(u), places)
}

// significant writes x with n significant digits, or all before the decimal mark
// where those are more, grouped, without exponent.
func (w *words) significant(x float64, n int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return none
	}
	if x == 0 {
		return "0"
	}
	_, e, _ := strings.Cut(strconv.FormatFloat(math.Abs(x), 'e', n-1, 64), "e")
	exponent, _ := strconv.Atoi(e) // FormatFloat always writes one
	return w.fixed(quantity.ExactFloat(x), max(n-1-exponent, 0))
}

// ratio writes a TUR; far above what matters it says so.
func (w *words) ratio(tur *float64) string {
	switch {
	case tur == nil:
		return w.say("not limited")
	case *tur >= 1000:
		return "> 1000"
	}
	// Downwards, so that 3.999 never reads as 4.
	scale, places := 10.0, 1
	if *tur < 10 {
		scale, places = 100, 2
	}
	x := math.Floor(*tur*scale) / scale
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return none
	}
	return w.number(strconv.FormatFloat(x, 'f', places, 64))
}

// share writes a coverage in %, downwards so that only all of it is 100 %.
func (w *words) share(s float64, complete bool) string {
	if complete {
		return "100"
	}
	if !(s >= 0) || s > 1 {
		return none
	}
	return w.number(strconv.FormatFloat(min(math.Floor(s*1000)/10, 99.9), 'f', 1, 64))
}

// whole writes a count.
func (w *words) whole(n int) string { return w.number(quantity.Group(strconv.Itoa(n))) }

// percent writes a probability downwards. No verdict is ever certain, though a
// float may be: what would be 100 % is said to be above 99.9 %, and likewise below.
func (w *words) percent(p *float64) string {
	switch {
	case p == nil || !(*p >= 0) || *p > 1:
		return none
	case *p > 0.999:
		return "> " + w.number("99.9")
	case *p < 0.001:
		return "< " + w.number("0.1")
	}
	return w.number(strconv.FormatFloat(math.Floor(*p*1000+1e-9)/10, 'f', 1, 64))
}

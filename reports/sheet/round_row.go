package sheet

import (
	"math"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// shownRow is one finding for print.
type shownRow struct{ Found, Limit, U, Margin, Band string }

// sideSigns stand before a limit.
var sideSigns = map[runner.Side]string{runner.AtMost: "≤ ", runner.AtLeast: "≥ ", runner.Within: "± "}

// power is the power of ten that the numbers of a line are written in: 0, or a
// multiple of three where all of them are very small.
func (l *findingLine) power() int {
	most := 0.0
	for _, x := range l.of {
		if x == nil {
			continue
		}
		for _, v := range []*quantity.Exact{x.Found, x.Limit} {
			if v != nil {
				most = max(most, math.Abs(v.Float()))
			}
		}
	}
	return smallPower(most)
}

// smallPower is the multiple of three whose power of ten leaves numbers up to
// most between 1 and 1000; 0 where they need none.
func smallPower(most float64) int {
	if !(most > 0) || most >= 1e-3 || math.IsInf(most, 0) {
		return 0
	}
	return 3 * int(math.Floor(math.Log10(most)/3))
}

// unitText writes the unit of a line with the power of ten of its numbers.
func unitText(unit string, power int) string {
	if power == 0 {
		return unit
	}
	p := powerText(power)
	switch {
	case unit == "" || unit == "1":
		return p
	case strings.HasPrefix(unit, "1/"):
		return p + unit[1:]
	}
	return p + " " + unit
}

func powerText(power int) string {
	return "1e" + strings.Replace(quantity.ExactInt(int64(power)).String(), "-", "\u2212", 1)
}

// showRow rounds U to two significant digits and what was found to the same
// place (JCGM 100:2008 7.2.6); the limit keeps its own digits, or at least two.
// Where that would print what was found on the other side of its limit than it
// is, more digits are printed until it doesn't.
func (w *words) showRow(x runner.Row, power int) shownRow {
	scale := quantity.ExactInt(10)
	factor := quantity.ExactInt(1)
	for range -power {
		factor = factor.Mul(scale)
	}
	s := shownRow{none, none, none, none, none}
	if x.Limit != nil {
		s.Limit = sideSigns[x.Side] + w.fixed(x.Limit.Mul(factor), limitPlaces(x.Limit.Mul(factor), 0))
	}
	if x.Uncertainty != nil && x.Uncertainty.Expanded > 0 {
		s.U = w.uncertain(x.Uncertainty.Expanded * factor.Float())
	}
	if x.GuardBand != nil {
		s.Band = w.uncertain(x.GuardBand.Mul(factor).Float())
	}
	if x.Found == nil {
		return s
	}
	found := x.Found.Mul(factor)
	places := ownPlaces(found)
	if x.Uncertainty != nil {
		if p, ok := twoDigits(x.Uncertainty.Expanded * factor.Float()); ok {
			places = p
		}
	}
	if x.Limit == nil || x.Margin == nil {
		s.Found = w.fixed(found, places)
		return s
	}
	limit, margin := x.Limit.Mul(factor), x.Margin.Mul(factor)
	for ; ; places++ {
		l := limitPlaces(limit, places)
		if places >= mostPlaces || sameSide(found, limit, margin, x.Side, places, l) {
			s.Found, s.Limit, s.Margin = w.fixed(found, places), sideSigns[x.Side]+w.fixed(limit, l), w.fixed(margin, places)
			return s
		}
	}
}

// sameSide tells whether the printed numbers say what the unrounded ones do.
func sameSide(found, limit, margin quantity.Exact, side runner.Side, places, limitPlaces int) bool {
	f, l := parse(fixedPlain(found, places)), parse(fixedPlain(limit, limitPlaces))
	m := l.Sub(f)
	switch side {
	case runner.AtLeast:
		m = m.Neg()
	case runner.Within:
		m = l.Sub(f.Abs())
	}
	return (m.Sign() < 0) == (margin.Sign() < 0) && (parse(fixedPlain(margin, places)).Sign() < 0) == (margin.Sign() < 0)
}

// mostDigits bounds the digits of a number that has no uncertainty to round it by.
const mostDigits = 6

// ownPlaces are the decimal places of a number as it is written, bounded where
// its decimal form is long or does not end.
func ownPlaces(x quantity.Exact) int {
	_, part, _ := strings.Cut(x.String(), ".")
	if strings.Contains(x.String(), "/") {
		part = strings.Repeat("0", mostPlaces)
	}
	size := 0
	if a := math.Abs(x.Float()); a > 0 {
		size = int(math.Floor(math.Log10(a))) + 1
	}
	return max(0, min(len(part), mostDigits-size, mostPlaces))
}

// limitPlaces are the places of a limit beside a number with so many.
func limitPlaces(limit quantity.Exact, places int) int {
	least, _ := twoDigits(math.Abs(limit.Float()))
	return max(places, ownPlaces(limit), least)
}

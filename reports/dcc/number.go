package dcc

import (
	"math"
	"math/big"
	"strconv"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// real is a D-SI quantity (si:real); expanded its uncertainty as D-SI 2.1,
// which DCC 3.1.2 rests on, spells it. D-SI 2.2 still reads it.
type real struct {
	Value    string    `xml:"si:value"`
	Unit     unit      `xml:"si:unit"`
	Time     string    `xml:"si:dateTime,omitempty"`
	Expanded *expanded `xml:"si:expandedUnc"`
}

type expanded struct {
	U            string `xml:"si:uncertainty"`
	K            string `xml:"si:coverageFactor"`
	P            string `xml:"si:coverageProbability"`
	Distribution string `xml:"si:distribution,omitempty"`
}

// realList is a column of quantities of one unit.
type realList struct {
	Values string `xml:"si:valueXMLList"`
	Unit   unit   `xml:"si:unitXMLList"`
}

// unit is a unit in the notation of D-SI: SI units by their names, each led by
// a backslash.
type unit string

const (
	hertz     unit = `\hertz`
	second    unit = `\second`
	perSecond unit = `\second\tothe{-1}`
	one       unit = `\one`
	volt      unit = `\volt`
	watt      unit = `\watt`
	kelvin    unit = `\kelvin`
)

// Digits of what has no finite decimal form: to a millionth of its uncertainty,
// to finestPlaces at least, and to mostPlaces where no uncertainty is known.
const (
	finestPlaces = 12
	mostPlaces   = 30 // and never more
)

// number writes x exactly where it has a finite decimal form, else rounded so
// that what is lost is less than a millionth of u.
func number(x quantity.Exact, u float64) string {
	s := x.String()
	if !strings.Contains(s, "/") {
		return s
	}
	places := mostPlaces
	if u > 0 {
		places = max(finestPlaces, int(math.Ceil(6-math.Log10(u))))
	}
	return x.Fixed(min(places, mostPlaces))
}

// digits is a number of statistics as an exact one, with the fewest digits that
// read back as the same; zero for what is no number.
func digits(f float64) quantity.Exact {
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(f, 'e', -1, 64))
	if !ok {
		return quantity.Exact{}
	}
	return quantity.ExactOf(r)
}

// float writes a number of statistics with the fewest digits that read back as
// the same; ok is false where it is none.
func float(f float64) (text string, ok bool) {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return "", false
	}
	return strconv.FormatFloat(f, 'f', -1, 64), true
}

// significant writes a computed number with n significant digits.
func significant(f float64, n int) string {
	x, err := strconv.ParseFloat(strconv.FormatFloat(f, 'e', n-1, 64), 64)
	if err != nil { // beyond what a float holds
		return "NaN"
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// coverage is the probability that k stands for, as uncertainties are combined.
var coverage = strconv.FormatFloat(uncertainty.Coverage, 'f', 4, 64)

// expandedOf is an uncertainty as the record holds it; nil where there is none:
// D-SI knows no coverage factor below 1.
func expandedOf(r uncertainty.Result) *expanded {
	u, ok := float(r.Expanded)
	k, known := float(r.CoverageFactor)
	if !ok || !known || r.Expanded < 0 || r.CoverageFactor < 1 {
		return nil
	}
	e := &expanded{U: u, K: k, P: coverage, Distribution: "normal"}
	if r.DegreesOfFreedom > 0 {
		e.Distribution = "studentT"
	}
	return e
}

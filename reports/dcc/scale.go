package dcc

import (
	"fmt"
	"math"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// scale turns the numbers of a record into SI units.
type scale struct {
	unit unit
	// factor of a linear unit; nil for decibels.
	factor *quantity.Exact
	// Decibels: the value is base·10^(x/per).
	base, per float64
	says      string // what the unit is, where it is none of the SI
}

func linear(u unit, numerator, denominator int64, says string) scale {
	f := quantity.ExactInt(numerator).Quo(quantity.ExactInt(denominator))
	return scale{unit: u, factor: &f, says: says}
}

// scales by the names of units in findings and curves of a record.
var scales = map[string]scale{
	"Hz":  linear(hertz, 1, 1, ""),
	"MHz": linear(hertz, 1_000_000, 1, "1 MHz = 1000000 Hz"),
	"s":   linear(second, 1, 1, ""),
	"min": linear(second, 60, 1, "1 min = 60 s"),
	"h":   linear(second, 3600, 1, "1 h = 3600 s"),
	"d":   linear(second, 86400, 1, "1 d = 86400 s"),
	"µs":  linear(second, 1, 1_000_000, "1 µs = 0.000001 s"),
	"1":   linear(one, 1, 1, ""),
	"ppm": linear(one, 1, 1_000_000, "1 ppm = 0.000001"),
	"1/d": linear(perSecond, 1, 86400, "1/d = 1/(86400 s)"),
	"V":   linear(volt, 1, 1, ""),
	"dBm": {unit: watt, base: 1e-3, per: 10, says: "0 dBm = 1 mW"},
	"dBV": {unit: volt, base: 1, per: 20, says: "0 dBV = 1 V rms"},
	"dB":  {unit: one, base: 1, per: 10, says: "ratio of powers, 0 dB = 1"},
}

// logarithmDigits is how many digits a level has that was computed from decibels:
// as many as twelve digits of dBm or dBV are good for.
const logarithmDigits = 10

// real returns x with its uncertainty. Of an uncertainty in decibels it takes
// the side above the level, which is the larger one.
func (s scale) real(x quantity.Exact, u *uncertainty.Result) *real {
	r := &real{Unit: s.unit}
	var e *expanded
	if u != nil {
		e = expandedOf(*u)
	}
	if s.factor != nil {
		scaled := 0.0
		if e != nil {
			scaled = u.Expanded * s.factor.Float()
			e.U = number(digits(u.Expanded).Mul(*s.factor), scaled)
		}
		r.Value, r.Expanded = number(x.Mul(*s.factor), scaled), e
		return r
	}
	level := s.base * math.Pow(10, x.Float()/s.per)
	r.Value = significant(level, logarithmDigits)
	if e != nil {
		e.U = significant(level*(math.Pow(10, u.Expanded/s.per)-1), logarithmDigits)
		r.Expanded = e
	}
	return r
}

// asStated keeps what the record says in a unit outside the SI, as metadata.
func (s scale) asStated(name string, x quantity.Exact, u *uncertainty.Result) []statement {
	if s.says == "" {
		return nil
	}
	text := number(x, 0) + " " + name
	if u != nil && u.Expanded > 0 {
		of := name
		if name == "dBm" || name == "dBV" {
			of = "dB"
		}
		text += fmt.Sprintf(" ± %s %s (k = %.4g)", significant(u.Expanded, 4), of, u.CoverageFactor)
	}
	return []statement{{NonSI: word(text + "; " + s.says), NonSIUnit: name}}
}

// scaled is a quantity in a unit that a record names; in a unit that is not
// known here it is a text.
func scaled(ref, name string, x quantity.Exact, in string, u *uncertainty.Result) value {
	s, ok := scales[in]
	if !ok {
		return value{RefType: ref, Name: *english(name), None: say(join(" ", number(x, 0), in))}
	}
	return value{RefType: ref, Name: *english(name), Real: s.real(x, u), MetaData: s.asStated(in, x, u)}
}

// plain is a quantity in an SI unit without an uncertainty.
func plain(ref, name string, x quantity.Exact, in unit) value {
	return value{RefType: ref, Name: *english(name), Real: &real{Value: number(x, 0), Unit: in}}
}

// none is a quantity that has no value, and why.
func none(ref, name, why string) value {
	return value{RefType: ref, Name: *english(name), None: say(stated(why))}
}

// level is the level at an input with its uncertainty in dB (k = 2); zero for
// none known.
func level(name string, l quantity.Level, db float64) value {
	var u *uncertainty.Result
	if db > 0 {
		u = &uncertainty.Result{Standard: db / 2, CoverageFactor: 2, Expanded: db}
	}
	if !l.IsVoltage() {
		return scaled(refLevel, name, l.Exact(), "dBm", u)
	}
	v := plain(refLevel, name, l.Exact(), volt)
	if u != nil {
		e := expandedOf(*u)
		e.U = significant(l.Exact().Float()*(math.Pow(10, db/20)-1), logarithmDigits)
		v.Real.Expanded = e
		v.MetaData = []statement{{NonSI: fmt.Sprintf("uncertainty %s dB (k = 2)", significant(db, 4)), NonSIUnit: "dB"}}
	}
	return v
}

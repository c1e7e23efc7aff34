package imported

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/quantity/tomlfile"
	"bandproof/runner"
)

// Columns that a file may have, in any order.
var Columns = []string{"date", "asset", "serial", "run", "input", "frequency", "level", "unit_reference",
	"error", "reading", "reference", "uncertainty", "k", "limit", "verdict", "laboratory", "certificate"}

// numbers are the columns that may hold a decimal comma.
var numbers = []string{"frequency", "level", "error", "reading", "reference", "uncertainty", "k", "limit"}

var verdicts = []decision.Word{decision.Pass, decision.ConditionalPass, decision.ConditionalFail, decision.Fail, decision.NotJudged}

var runs = []runner.Kind{runner.AsFound, runner.AfterRepair, runner.AsLeft}

// read makes results of the rows.
func (f *File) read(rows []row, o Options) error {
	if len(rows) < 2 {
		return f.wrong(1, "", "holds no result; expected a line with the names of the columns (%s), and a line for each result", strings.Join(Columns, ", "))
	}
	at, err := f.header(rows[0])
	if err != nil {
		return err
	}
	if err := f.decimal(rows[1:], at, o); err != nil {
		return err
	}
	var mistakes []error
	seen := map[string]int{}
	for _, r := range rows[1:] {
		l := &lineOf{f: f, row: r, at: at}
		got := l.result(o.Today)
		if len(l.mistakes) == 0 {
			if first, twice := seen[got.place()]; twice {
				l.wrong("", "the same result as in line %d stands once more", first)
			}
			seen[got.place()] = r.line
		}
		mistakes = append(mistakes, l.mistakes...)
		if len(mistakes) >= mostMistakes {
			return errors.Join(append(mistakes[:mostMistakes], f.wrong(r.line, "", "more mistakes are not told"))...)
		}
		f.Results = append(f.Results, got)
	}
	return errors.Join(mistakes...)
}

// header finds the columns.
func (f *File) header(r row) (map[string]int, error) {
	at := map[string]int{}
	for k, name := range r.fields {
		if !slices.Contains(Columns, name) {
			return nil, f.wrong(r.line, strconv.Quote(name), "is none that is known; expected %s", strings.Join(Columns, ", "))
		}
		if _, twice := at[name]; twice {
			return nil, f.wrong(r.line, name, "stands twice")
		}
		at[name] = k
	}
	has := func(names ...string) bool {
		return !slices.ContainsFunc(names, func(name string) bool { _, ok := at[name]; return !ok })
	}
	switch {
	case !has("date"), !has("run"), !has("unit_reference"):
		return nil, f.wrong(r.line, "", "the columns date, run and unit_reference must be there")
	case !has("serial") && !has("asset"):
		return nil, f.wrong(r.line, "", "neither a column serial nor asset says which unit it was")
	case !has("error") && !has("reading", "reference"):
		return nil, f.wrong(r.line, "", "neither a column error nor the two reading and reference say what was found")
	case has("uncertainty") && !has("k"):
		return nil, f.wrong(r.line, "", "an uncertainty needs a column k with its coverage factor")
	}
	return at, nil
}

// place is what must differ between two lines.
func (r Result) place() string {
	frequency, level := "", ""
	if r.Frequency != nil {
		frequency = r.Frequency.Exact().String()
	}
	if r.Level != nil {
		level = r.Level.String()
	}
	return fmt.Sprintf("%q", []string{r.Date.String(), r.Asset, r.Serial, string(r.Run), r.Input, frequency, level, r.UnitReference, r.Laboratory, r.Certificate})
}

// lineOf is one line being read.
type lineOf struct {
	f        *File
	row      row
	at       map[string]int
	mistakes []error
}

func (l *lineOf) wrong(column, format string, args ...any) {
	l.mistakes = append(l.mistakes, l.f.wrong(l.row.line, column, format, args...))
}

// field is the text of a column without spaces around it, "" where there is none.
func (l *lineOf) field(name string) string {
	k, ok := l.at[name]
	if !ok {
		return ""
	}
	text := strings.TrimSpace(l.row.fields[k])
	if what := tomlfile.NotPlain(text); what != "" {
		l.wrong(name, "%s", what)
		return ""
	}
	if l.f.Decimal == "comma" && slices.Contains(numbers, name) {
		if strings.Contains(text, ".") || strings.Count(text, ",") > 1 {
			l.wrong(name, "%q has a mark of thousands, or no decimal comma", text)
			return ""
		}
		text = strings.Replace(text, ",", ".", 1)
	}
	return text
}

func (l *lineOf) result(today time.Time) Result {
	r := Result{Line: l.row.line, Asset: l.field("asset"), Serial: l.field("serial"), Input: l.field("input"), Laboratory: l.field("laboratory"), Certificate: l.field("certificate")}
	if err := r.Date.UnmarshalText([]byte(l.field("date"))); err != nil {
		l.wrong("date", "%v", err)
	} else if r.Date.Year() < 1950 || r.Date.After(today) {
		l.wrong("date", "is %q; expected a day from 1950 up to today", r.Date.String())
	}
	if r.Asset == "" && r.Serial == "" {
		l.wrong("serial", "is empty, and so is asset; one of them must say which unit it was")
	}
	r.Run = oneOf(l, "run", runs, false)
	r.Verdict = oneOf(l, "verdict", verdicts, true)
	r.UnitReference = oneOf(l, "unit_reference", []string{Own, External}, false)
	l.point(&r)
	l.found(&r)
	return r
}

// oneOf reads a word.
func oneOf[W ~string](l *lineOf, column string, words []W, empty bool) W {
	w := W(l.field(column))
	if w == "" && empty || slices.Contains(words, w) {
		return w
	}
	list := make([]string, len(words))
	for k, x := range words {
		list[k] = string(x)
	}
	l.wrong(column, "is %q; expected %s", w, strings.Join(list, ", "))
	return ""
}

// point reads where the result was found.
func (l *lineOf) point(r *Result) {
	r.Unit = "Hz"
	if text := l.field("frequency"); text != "" {
		f, err := quantity.Parse[quantity.Hertz](text)
		if err != nil {
			l.wrong("frequency", "%v", err)
		} else if f.Sign() <= 0 {
			l.wrong("frequency", "is %s; expected one above zero", f)
		}
		r.Frequency = &f
	}
	if text := l.field("level"); text != "" {
		v, err := quantity.ParseLevel(text)
		if err != nil {
			l.wrong("level", "%v", err)
		}
		r.Level = &v
	}
	switch {
	case r.Frequency != nil && r.Input == "":
		l.wrong("input", "is empty; expected the input that frequency belongs to (both empty: the offset of the timebase itself)")
	case r.Frequency == nil && (r.Input != "" || r.Level != nil):
		l.wrong("frequency", "is empty; expected the frequency of the point (input, frequency and level all empty: the offset of the timebase itself)")
	case r.Frequency == nil && r.UnitReference == External:
		l.wrong("unit_reference", "is external; the offset of the timebase is told only where the unit runs from its own")
	case r.Frequency == nil:
		r.Unit = "1"
	}
}

// found reads what was found, with uncertainty and limit.
func (l *lineOf) found(r *Result) {
	scale := quantity.ExactInt(1) // of a relative error
	if r.Frequency != nil {
		scale = r.Frequency.Exact()
	}
	e, reading, reference := l.field("error"), l.field("reading"), l.field("reference")
	switch {
	case e != "" && (reading != "" || reference != ""):
		l.wrong("error", "stands beside a reading or reference; give one or the other")
	case e != "":
		r.Error = l.number("error", e, scale, r.Unit)
	case reading == "" || reference == "":
		l.wrong("error", "is empty, and reading and reference are not both there")
	case r.Unit == "1":
		l.wrong("reading", "goes with a frequency; the offset of the timebase is an error such as 0.2 ppm")
	default:
		a, errA := quantity.Parse[quantity.Hertz](reading)
		b, errB := quantity.Parse[quantity.Hertz](reference)
		if errA != nil {
			l.wrong("reading", "%v", errA)
		}
		if errB != nil {
			l.wrong("reference", "%v", errB)
		}
		r.Error = a.Sub(b).Exact()
	}
	if text := l.field("uncertainty"); text != "" {
		u := l.number("uncertainty", text, scale, r.Unit)
		if u.Sign() <= 0 && len(l.mistakes) == 0 {
			l.wrong("uncertainty", "is %q; expected one above zero", text)
		}
		r.Uncertainty = &u
		k, err := strconv.ParseFloat(l.field("k"), 64)
		if err != nil || !(k >= 1 && k <= 100) || math.IsNaN(k) {
			l.wrong("k", "is %q; expected the coverage factor of the uncertainty, such as 2", l.field("k"))
		}
		r.K = k
	}
	if text := l.field("limit"); text != "" {
		limit := l.number("limit", text, scale, r.Unit).Abs()
		r.Limit = &limit
	}
}

// number reads an error, an uncertainty or a limit: a frequency, or a part of
// the frequency of the point.
func (l *lineOf) number(column, text string, scale quantity.Exact, unit string) quantity.Exact {
	text = strings.TrimSpace(strings.TrimPrefix(text, "±"))
	ratio, err := quantity.Parse[quantity.One](text)
	if err == nil && unit == "Hz" && strings.IndexFunc(text, isUnit) < 0 {
		l.wrong(column, "%q has no unit; expected such as \"12 Hz\" or \"0.2 ppm\"", text)
		return quantity.Exact{}
	}
	if err == nil {
		return ratio.Exact().Mul(scale)
	}
	if unit == "Hz" {
		if hz, e := quantity.Parse[quantity.Hertz](text); e == nil {
			return hz.Exact()
		} else if strings.Contains(text, "Hz") {
			err = e
		}
	}
	l.wrong(column, "%v", err)
	return quantity.Exact{}
}

func isUnit(c rune) bool { return c == '%' || c == 'p' }

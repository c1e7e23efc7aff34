package symptom

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// Symptom is a fixed word for what a run as a whole shows.
type Symptom string

// Symptoms. More than one may be named of a run.
const (
	SameShare   Symptom = "same relative error"
	SameHertz   Symptom = "constant error in hertz"
	WrongRatio  Symptom = "wrong ratio"
	Dead        Symptom = "dead input"
	DeadAbove   Symptom = "dead above a frequency"
	DeadBelow   Symptom = "dead below a frequency"
	DeadBetween Symptom = "dead between two frequencies"
	DeadHere    Symptom = "no count at some frequencies"
	NeedsLevel  Symptom = "needs too much level"
	Scatters    Symptom = "scatters beyond the count"
	LosesCycles Symptom = "loses cycles"
	Changes     Symptom = "worse the longer it is on"
	Drifts      Symptom = "drifts during the run"
	ComesGoes   Symptom = "comes and goes"
	Digits      Symptom = "a digit is stuck or missing"
	SelfTest    Symptom = "self-test fails"
	NoReadings  Symptom = "no readings at all"
	Unexplained Symptom = "not explained"
	Nothing     Symptom = "nothing wrong"
	NoEvidence  Symptom = "nothing judged"
)

// Finding is one symptom of the run as a whole, with what it rests on. It names
// what the readings look like; what in the unit does that is not known to it.
type Finding struct {
	Symptom Symptom `json:"symptom"`
	Says    string  `json:"says"` // in a sentence
	// Where: the inputs, and the lowest and highest frequency at which it shows, Hz.
	Inputs []string `json:"inputs,omitempty"`
	From   float64  `json:"from_hz,omitempty"`
	To     float64  `json:"to_hz,omitempty"`
	// Points that show it, by id.
	Points  []string `json:"points,omitempty"`
	Figures []Figure `json:"figures,omitempty"`
	// Suggests is where such a symptom usually comes from (see the package's table).
	Suggests string   `json:"points_to,omitempty"`
	Evidence []string `json:"evidence,omitempty"`
	Against  []string `json:"speaks_against,omitempty"`
	Open     []string `json:"can_not_tell,omitempty"`
	Confirm  []string `json:"would_confirm,omitempty"`

	of []*look
}

// Figure is a number that follows from the readings if the symptom is what it
// looks like. Numbers are statistics, for people and comparisons.
type Figure struct {
	What  string  `json:"what"`
	Value float64 `json:"value"`
	// U is the expanded uncertainty (k = 2) of Value; 0 of a figure that is exact, as
	// a ratio or a count is.
	U    float64 `json:"expanded_uncertainty,omitempty"`
	Unit string  `json:"unit"`            // "Hz", "ppm", "dB", "counts", "%", "s", "1"
	Text string  `json:"exact,omitempty"` // of a ratio: "32/31"
}

// String writes a figure with its uncertainty.
func (f Figure) String() string {
	switch {
	case f.Text != "":
		return f.What + " " + f.Text
	case f.Unit == "Hz" && f.U > 0:
		return f.What + " " + aboutHertz(f.Value, f.U)
	case f.Unit == "Hz":
		return f.What + " " + digits(f.Value, 6)
	case f.U > 0:
		return f.What + " " + about(f.Value, f.U, f.Unit)
	case f.Unit == "1":
		return fmt.Sprintf("%s %.6g", f.What, f.Value)
	}
	return fmt.Sprintf("%s %.4g %s", f.What, f.Value, f.Unit)
}

// about writes a value and its expanded uncertainty (JCGM 100:2008 7.2.6).
func about(v, u float64, unit string) string {
	y, expanded, ok := uncertainty.Report(quantity.ExactDecimal(v), quantity.ExactDecimal(u))
	switch {
	case ok && unit == "1":
		return fmt.Sprintf("%s ± %s", y, expanded)
	case ok:
		return fmt.Sprintf("(%s ± %s) %s", y, expanded, unit)
	}
	return fmt.Sprintf("%.6g %s", v, unit)
}

// plus sets a sign before a value above zero.
func plus(v float64, text string) string {
	if inner, ok := strings.CutPrefix(text, "("); ok && v > 0 {
		return "(+" + inner
	}
	return text
}

// aboutHertz is about with the prefix that fits the value.
func aboutHertz(f, u float64) string {
	for _, p := range []struct {
		by   float64
		name string
	}{{1e9, "GHz"}, {1e6, "MHz"}, {1e3, "kHz"}} {
		if math.Abs(f) >= p.by {
			return about(f/p.by, u/p.by, p.name)
		}
	}
	return about(f, u, "Hz")
}

// String is the finding in a sentence: what, where, and its figures.
func (f Finding) String() string {
	text := string(f.Symptom)
	if where := f.where(); where != "" {
		text += ", " + where
	}
	if f.Says != "" {
		text += ": " + f.Says
	}
	return text
}

// where is inputs and range.
func (f Finding) where() string {
	if len(f.Inputs) == 0 {
		return ""
	}
	text := inputWords(f.Inputs)
	switch {
	case f.From <= 0:
	case f.From == f.To:
		text += " at " + digits(f.From, 6)
	default:
		text += fmt.Sprintf(", %s to %s", digits(f.From, 6), digits(f.To, 6))
	}
	return text
}

// Text lays a finding out for a terminal of that many columns: the sentence, then
// figures, evidence, what speaks against it, what can't be told, what would confirm.
func (f Finding) Text(columns int) string {
	columns = max(columns, 40)
	var b strings.Builder
	wrap(&b, f.String(), "", "  ", columns)
	part := func(name string, lines ...string) {
		for _, l := range lines {
			if l != "" {
				wrap(&b, l, "  "+name+strings.Repeat(" ", 16-utf8.RuneCountInString(name)), strings.Repeat(" ", 18), columns)
				name = ""
			}
		}
	}
	for k, x := range f.Figures {
		part([]string{"figures", ""}[min(k, 1)], x.String())
	}
	part("points to", f.Suggests)
	part("evidence", f.Evidence...)
	part("speaks against", f.Against...)
	part("can't tell", f.Open...)
	part("would confirm", f.Confirm...)
	return b.String()
}

// wrap writes a text in lines of at most so many columns where words allow.
func wrap(b *strings.Builder, text, first, rest string, columns int) {
	line, begun := first, false
	for _, word := range strings.Fields(text) {
		if begun && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > columns {
			b.WriteString(line + "\n")
			line, begun = rest, false
		}
		if begun {
			line += " "
		}
		line, begun = line+word, true
	}
	b.WriteString(line + "\n")
}

// finding begins a finding of points.
func finding(s Symptom, of []*look) Finding {
	f := Finding{Symptom: s, of: of}
	for _, l := range of {
		if l.Input != "" && !slices.Contains(f.Inputs, l.Input) {
			f.Inputs = append(f.Inputs, l.Input)
		}
		if !slices.Contains(f.Points, l.Point) {
			f.Points = append(f.Points, l.Point)
		}
		if l.Frequency > 0 && (f.From == 0 || l.Frequency < f.From) {
			f.From = l.Frequency
		}
		f.To = math.Max(f.To, l.Frequency)
	}
	slices.Sort(f.Inputs)
	return f
}

// figure adds a figure; one that is no number is left out.
func (f *Finding) figure(what string, v, u float64, unit string) {
	if !finiteNumber(v) || !finiteNumber(u) {
		return
	}
	f.Figures = append(f.Figures, Figure{What: what, Value: v, U: u, Unit: unit})
}

func finiteNumber(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func (f *Finding) evidence(format string, args ...any) {
	f.Evidence = append(f.Evidence, fmt.Sprintf(format, args...))
}

func (f *Finding) against(format string, args ...any) {
	f.Against = append(f.Against, fmt.Sprintf(format, args...))
}

func (f *Finding) open(format string, args ...any) {
	f.Open = append(f.Open, fmt.Sprintf(format, args...))
}

// without says what was taken off errors beforehand.
func (f *Finding) without(of []*look) {
	if of[0].base != 0 {
		f.evidence("the relative error of %s that others show as well is taken off first", share(of[0].base*1e6))
	}
}

// inputWords writes "input B" or "inputs A, B and C".
func inputWords(names []string) string {
	if len(names) == 1 {
		return "input " + names[0]
	}
	return "inputs " + listed(names)
}

// listed writes "A, B and C".
func listed(names []string) string {
	if k := len(names) - 1; k > 0 {
		return strings.Join(names[:k], ", ") + " and " + names[k]
	}
	return strings.Join(names, "")
}

// mostListed is how many points are listed by name in a sentence.
const mostListed = 6

// pointWords lists points by id, no more than a few.
func pointWords(list []*look) string {
	var ids []string
	for _, l := range list {
		if !slices.Contains(ids, l.Point) {
			ids = append(ids, l.Point)
		}
	}
	if n := len(ids); n > mostListed {
		return fmt.Sprintf("%s and %d more", strings.Join(ids[:mostListed-1], ", "), n-mostListed+1)
	}
	return listed(ids)
}

// count writes "1 point" or "3 points".
func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

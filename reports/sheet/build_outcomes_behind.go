package sheet

import (
	"cmp"
	"fmt"
	"strings"

	"bandproof/drivers"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
)

// behindOthers shows what the findings of other measurements rest on: the
// uncertainty by its parts, and every setting with its readings.
func (s *Sheet) behindOthers() []block {
	var b []block
	for _, r := range s.runs {
		for _, t := range []*table{r.budgets(), r.settings()} {
			if t != nil {
				b = append(b, t)
			}
		}
	}
	if len(b) == 0 {
		return nil
	}
	return append([]block{&heading{Level: 1, Text: "Behind the other measurements"},
		&paragraph{Text: "Every part of an uncertainty is a standard uncertainty in the unit of the finding. Settings are listed in the order taken; " +
			"a reading stands as the unit sent it. A setting at which the unit did not count right is no failure of its own where a measurement searches for the place where counting ends."}}, b...)
}

// budgets lists what the uncertainty of each finding is made of; nil where none
// has one.
func (r run) budgets() *table {
	t := &table{Title: "Uncertainty of the findings, " + strings.ToLower(r.label) + " (record " + stated(r.ID) + ")",
		Columns: []column{{Head: "Input"}, {Head: "Measurement"}, {Head: "What"}, {Head: "Frequency", Align: right}, {Head: "Unit"}, {Head: "Made of"},
			{Head: "Combined", Align: point}, {Head: "ν", Align: right}, {Head: "k", Align: point}, {Head: "U", Align: point}, {Head: "Standards"}}}
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			if x.Uncertainty == nil {
				continue
			}
			l := findingLine{row: x, of: []*runner.Row{&x}}
			power := l.power()
			scale := pow10(-power)
			f := ""
			if x.At != nil {
				f = x.At.Grouped()
			}
			u := x.Uncertainty
			freedom := "∞"
			if u.DegreesOfFreedom > 0 {
				freedom = significant(u.DegreesOfFreedom, 2)
			}
			t.Rows = append(t.Rows, []cell{{Text: cmp.Or(o.Task.Input, none)}, {Text: titleOf(o)}, {Text: x.What}, {Text: f}, {Text: unitText(x.Unit, power)},
				{Text: stated(parts(x.Budget, scale))}, {Text: significant(u.Standard*scale, 2)}, {Text: freedom}, {Text: significant(u.CoverageFactor, 3)},
				{Text: significant(u.Expanded*scale, 2)}, {Text: strings.Join(o.Standards, ", ")}})
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return t
}

func parts(b uncertainty.Budget, scale float64) string {
	var list []string
	for _, c := range b {
		if c.Standard != 0 {
			list = append(list, c.Name+" "+significant(c.Standard*scale, 2))
		}
	}
	return strings.Join(list, ", ")
}

// pow10 is ten to the power n, exactly where that can be.
func pow10(n int) float64 {
	f := 1.0
	for range n {
		f *= 10
	}
	return f
}

// settings lists every setting of the other measurements; nil where there is
// none. Many that differ in frequency alone, and at all of which the unit counted
// right, share a line.
func (r run) settings() *table {
	t := &table{Title: "Settings and readings, " + strings.ToLower(r.label) + " (record " + stated(r.ID) + ")",
		Columns: []column{{Head: "Setting"}, {Head: "Frequency", Align: right}, {Head: "Level at input", Align: right}, {Head: "Gate", Align: right},
			{Head: "Path"}, {Head: "Locked"}, {Head: "Readings, Hz"}, {Head: "Error, Hz", Align: point}, {Head: "Limit ±, Hz", Align: point}, {Head: "Counted"}}}
	for _, o := range r.Run.Outcomes {
		for k := 0; k < len(o.Shots); {
			n := r.alike(o.Shots[k:])
			t.Rows = append(t.Rows, r.setting(o.Shots[k:k+n]))
			k += n
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return t
}

// leastAlike is how many settings of a kind share a line.
const leastAlike = 5

// alike counts the settings from the first on that can share a line.
func (r run) alike(list []runner.PointResult) int {
	key := func(p *runner.PointResult) string {
		return fmt.Sprintf("%q", []string{r.levelAt(p), p.Point.Gate.String(), p.Point.Path, p.Setting.Locked, countedRight(p)})
	}
	n := 1
	for n < len(list) && list[n].Verdict.Good() && key(&list[n]) == key(&list[0]) {
		n++
	}
	if n < leastAlike {
		return 1
	}
	return n
}

func (r run) levelAt(p *runner.PointResult) string {
	in, _ := r.input(p.Point.Input)
	return levelOf(in.Input, p.Point)
}

// setting is the line of one setting, or of several that are alike.
func (r run) setting(list []runner.PointResult) []cell {
	p, last := &list[0], &list[len(list)-1]
	e, limit, readings, id, f := none, none, readingsOf(p), p.Point.ID, p.Point.Frequency.Grouped()
	if p.Counted > 0 {
		x := roundResult(p.Error, p.Limit.Total, p.Reported.Expanded, readingPlaces(p))
		e, limit = x.Error, x.Limit
	}
	if len(list) > 1 {
		low, high, n := p, p, 0
		for k := range list {
			q := &list[k]
			n += len(q.Readings)
			if q.Error.Cmp(low.Error) < 0 {
				low = q
			}
			if q.Error.Cmp(high.Error) > 0 {
				high = q
			}
		}
		places := readingPlaces(p)
		e = fixed(low.Error, places) + " to " + fixed(high.Error, places)
		readings = fmt.Sprintf("%d settings, %d readings, all in record and CSV", len(list), n)
		id += " to " + last.Point.ID
		f = spanOf(list)
	}
	return []cell{{Text: id}, {Text: f}, {Text: r.levelAt(p)}, {Text: p.Point.Gate.Grouped()},
		{Text: oneCell(p.Point.Path)}, {Text: stated(p.Setting.Locked)}, {Text: readings}, {Text: e}, {Text: limit}, {Text: countedRight(p)}}
}

// oneCell keeps a short name in one line, so that rows stay low.
func oneCell(s string) string {
	if len(s) > 24 {
		return s
	}
	return strings.ReplaceAll(s, " ", "\u00a0")
}

// spanOf is the frequency of settings, or from the lowest to the highest.
func spanOf(list []runner.PointResult) string {
	low, high := list[0].Point.Frequency, list[0].Point.Frequency
	for _, p := range list[1:] {
		if f := p.Point.Frequency; f.Cmp(low) < 0 {
			low = f
		} else if f.Cmp(high) > 0 {
			high = f
		}
	}
	if low.Cmp(high) == 0 {
		return low.Grouped()
	}
	return low.Grouped() + " to " + high.Grouped()
}

// mostReadings is how many readings of a setting are printed.
const mostReadings = 6

// readingsOf writes the readings of a setting as the unit sent them.
func readingsOf(p *runner.PointResult) string {
	var list []string
	other := 0
	for _, x := range p.Readings {
		if x.Use != runner.Counted {
			other++
			continue
		}
		text := x.Text
		if x.Mark != drivers.None {
			text += " (" + string(x.Mark) + ")"
		}
		list = append(list, text)
	}
	n := len(list)
	if n > mostReadings {
		list = append(list[:mostReadings-1:mostReadings-1], fmt.Sprintf("… %d readings, all in record and CSV", n))
	}
	text := strings.Join(list, "; ")
	if other > 0 {
		text = join("; ", text, fmt.Sprintf("%d not used", other))
	}
	return stated(text)
}

// countedRight says whether the unit counted right at a setting, else why not.
func countedRight(p *runner.PointResult) string {
	if p.Verdict.Good() {
		return "right"
	}
	return join(": ", string(p.Verdict.Word), join(", ", string(p.Verdict.Reason), p.Symptom))
}

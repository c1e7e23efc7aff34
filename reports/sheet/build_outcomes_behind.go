package sheet

import (
	"cmp"
	"fmt"
	"strings"

	"bandproof/drivers"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
)

// behindOthersTitle heads what the other measurements rest on.
const behindOthersTitle key = "Behind the other measurements"

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
	return append([]block{&heading{Level: 1, Text: s.say(behindOthersTitle)},
		&paragraph{Text: s.say("Every part of an uncertainty is a standard uncertainty in the unit of the finding. Settings are listed in the order taken; " +
			"a reading stands as the unit sent it. A setting at which the unit did not count right is no failure of its own where a measurement searches for the place where counting ends.")}}, b...)
}

// budgets lists what the uncertainty of each finding is made of; nil where none
// has one.
func (r run) budgets() *table {
	t := &table{Title: r.ofRecord(r.say("Uncertainty of the findings, %s", r.inline)),
		Columns: []column{{Head: r.say("Input")}, {Head: r.say("Measurement")}, {Head: r.say("What")}, {Head: r.say("Frequency"), Align: right}, {Head: r.say("Unit")}, {Head: r.say("Made of")},
			{Head: r.say("Combined"), Align: point}, {Head: "ν", Align: right}, {Head: "k", Align: point}, {Head: "U", Align: point}, {Head: r.say("Standards")}}}
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			if x.Uncertainty == nil {
				continue
			}
			l := findingLine{words: r.words, row: x, of: []*runner.Row{&x}}
			power := l.power()
			scale := pow10(-power)
			f := ""
			if x.At != nil {
				f = r.q(x.At)
			}
			u := x.Uncertainty
			freedom := "∞"
			if u.DegreesOfFreedom > 0 {
				freedom = r.significant(u.DegreesOfFreedom, 2)
			}
			t.Rows = append(t.Rows, []cell{{Text: cmp.Or(o.Task.Input, none)}, {Text: r.word(r.titleOf(o))}, {Text: r.word(x.What)}, {Text: f}, {Text: unitText(x.Unit, power)},
				{Text: r.stated(r.parts(x.Budget, scale))}, {Text: r.uncertain(u.Standard * scale)}, {Text: freedom}, {Text: r.significant(u.CoverageFactor, 3)},
				{Text: r.uncertain(u.Expanded * scale)}, {Text: strings.Join(o.Standards, ", ")}})
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return t
}

func (w *words) parts(b uncertainty.Budget, scale float64) string {
	var list []string
	for _, c := range b {
		if c.Standard != 0 {
			list = append(list, w.word(c.Name)+" "+w.uncertain(c.Standard*scale))
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
	t := &table{Title: r.ofRecord(r.say("Settings and readings, %s", r.inline)),
		Columns: []column{{Head: r.say("Setting")}, {Head: r.say("Frequency"), Align: right}, {Head: r.say("Level at input"), Align: right}, {Head: r.say("Gate"), Align: right},
			{Head: r.say("Path")}, {Head: r.say("Locked")}, {Head: r.say("Readings, Hz")}, {Head: r.say("Error, Hz"), Align: point}, {Head: r.say("Limit ±, Hz"), Align: point}, {Head: r.say("Counted")}}}
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
		return fmt.Sprintf("%q", []string{r.levelAt(p), p.Point.Gate.String(), p.Point.Path, p.Setting.Locked, r.countedRight(p)})
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
	return r.q(levelOf(in.Input, p.Point))
}

// setting is the line of one setting, or of several that are alike.
func (r run) setting(list []runner.PointResult) []cell {
	p, last := &list[0], &list[len(list)-1]
	e, limit, readings, id, f := none, none, r.readingsOf(p), p.Point.ID, r.q(p.Point.Frequency)
	if p.Counted > 0 {
		x := r.roundResult(p.Error, p.Limit.Total, p.Reported.Expanded, readingPlaces(p))
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
		e = r.to(r.fixed(low.Error, places), r.fixed(high.Error, places))
		readings = r.say("%[1]s settings, %[2]s readings, all in record and CSV", r.whole(len(list)), r.whole(n))
		id = r.to(id, last.Point.ID)
		f = r.spanOf(list)
	}
	return []cell{{Text: id}, {Text: f}, {Text: r.levelAt(p)}, {Text: r.q(p.Point.Gate)},
		{Text: oneCell(p.Point.Path)}, {Text: r.stated(r.word(p.Setting.Locked))}, {Text: readings}, {Text: e}, {Text: limit}, {Text: r.countedRight(p)}}
}

// oneCell keeps a short name in one line, so that rows stay low.
func oneCell(s string) string {
	if len(s) > 24 {
		return s
	}
	return strings.ReplaceAll(s, " ", "\u00a0")
}

// spanOf is the frequency of settings, or from the lowest to the highest.
func (w *words) spanOf(list []runner.PointResult) string {
	low, high := list[0].Point.Frequency, list[0].Point.Frequency
	for _, p := range list[1:] {
		if f := p.Point.Frequency; f.Cmp(low) < 0 {
			low = f
		} else if f.Cmp(high) > 0 {
			high = f
		}
	}
	if low.Cmp(high) == 0 {
		return w.q(low)
	}
	return w.to(w.q(low), w.q(high))
}

// mostReadings is how many readings of a setting are printed.
const mostReadings = 6

// readingsOf writes the readings of a setting as the unit sent them.
func (w *words) readingsOf(p *runner.PointResult) string {
	var list []string
	other := 0
	for _, x := range p.Readings {
		if x.Use != runner.Counted {
			other++
			continue
		}
		text := x.Text
		if x.Mark != drivers.None {
			text += " (" + w.word(string(x.Mark)) + ")"
		}
		list = append(list, text)
	}
	n := len(list)
	if n > mostReadings {
		list = append(list[:mostReadings-1:mostReadings-1], w.say("… %s readings, all in record and CSV", w.whole(n)))
	}
	text := strings.Join(list, "; ")
	if other > 0 {
		text = join("; ", text, w.say("%s not used", w.whole(other)))
	}
	return w.stated(text)
}

// countedRight says whether the unit counted right at a setting, else why not.
func (w *words) countedRight(p *runner.PointResult) string {
	if p.Verdict.Good() {
		return w.say("right")
	}
	return w.colon(w.word(string(p.Verdict.Word)), join(", ", w.word(string(p.Verdict.Reason)), w.word(p.Symptom)))
}

package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"

	"bandproof/procedures/decision"
	"bandproof/runner"
)

// unitTitle heads the measurements that concern the unit rather than an input.
const unitTitle key = "The unit as a whole"

// ofUnit shows the warm-up and the measurements that belong to no input.
func (s *Sheet) ofUnit() []block {
	b := append(s.warmUps(), s.measurements("")...)
	if len(b) == 0 {
		return nil
	}
	return append([]block{&heading{Level: 1, Text: s.say(unitTitle), Apart: true}}, b...)
}

// measurements shows what other kinds of measurement than the band sweep found
// at an input, title by title: drawn against frequency, in a table, as courses.
func (s *Sheet) measurements(input string) []block {
	var b []block
	for _, title := range s.measureTitles(input) {
		b = append(b, &heading{Level: 2, Text: s.kindAndTitle(input, title)})
		drawn := false
		for _, runs := range s.sideBySide() {
			list := s.found(input, title, runs)
			_, first := append(list, nil)[0].(*graph)
			drawn = drawn || first
			b = append(b, list...)
		}
		for _, r := range s.runs {
			b = append(b, r.curves(input, title, drawn)...)
		}
	}
	return b
}

func (w *words) found(input, title string, runs []run) []block {
	list := findingLines(input, title, runs)
	if len(list) == 0 {
		return nil
	}
	var b []block
	for _, g := range w.findingGraphs(input, runs, list) {
		b = append(b, g)
	}
	b = append(b, w.findingTable(runs, list))
	if n := w.findingNotes(input, title, runs, list); len(n) > 0 {
		b = append(b, &notes{Title: w.say("Notes"), Lines: n})
	}
	return b
}

// kindAndTitle heads a measurement: its title, and its kind where that does not
// say it already.
func (s *Sheet) kindAndTitle(input, title string) string {
	kind := ""
	for _, r := range s.runs {
		for _, o := range r.outcomes(input, title) {
			kind = o.Task.Kind
		}
	}
	text := capital(s.word(title))
	if strings.Contains(strings.ToLower(title), strings.ToLower(kind)) {
		return text
	}
	return text + " (" + s.word(kind) + ")"
}

// capital begins a text with a capital letter.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if r == utf8.RuneError {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// measureTitles are the titles of the measurements at an input, in order.
func (s *Sheet) measureTitles(input string) []string {
	var list []string
	for _, r := range s.runs {
		for _, o := range r.Run.Outcomes {
			if t := s.titleOf(o); o.Task.Input == input && !slices.Contains(list, t) {
				list = append(list, t)
			}
		}
	}
	return list
}

func (w *words) titleOf(o runner.Outcome) string { return w.stated(o.Task.Measure) }

func (r run) outcomes(input, title string) []runner.Outcome {
	var list []runner.Outcome
	for _, o := range r.Run.Outcomes {
		if o.Task.Input == input && r.titleOf(o) == title {
			list = append(list, o)
		}
	}
	return list
}

// findingLine is one line of a table of findings: what each run found, nil
// where a run lacks it.
type findingLine struct {
	*words
	row runner.Row // what, where and in which unit
	of  []*runner.Row
}

// findingLines matches the rows of several runs by what, frequency and unit; what
// a run found twice has two lines. What is alike stands together, by rising
// frequency.
func findingLines(input, title string, runs []run) []*findingLine {
	var list []*findingLine
	var order []string
	at := map[string][]*findingLine{}
	for k, r := range runs {
		for _, o := range r.outcomes(input, title) {
			for n := range o.Rows {
				x := &o.Rows[n]
				key := fmt.Sprintf("%q %s", x.What, hertz(x))
				i := slices.IndexFunc(at[key], func(l *findingLine) bool {
					return l.of[k] == nil && (l.row.Unit == x.Unit || l.row.Unit == "" || x.Unit == "") // what was not judged has no unit
				})
				if i < 0 {
					i = len(at[key])
					at[key] = append(at[key], &findingLine{words: r.words, row: *x, of: make([]*runner.Row, len(runs))})
					list = append(list, at[key][i])
				}
				at[key][i].of[k] = x
				at[key][i].row.Unit = cmp.Or(at[key][i].row.Unit, x.Unit)
				if !slices.Contains(order, x.What) {
					order = append(order, x.What)
				}
			}
		}
	}
	sort.SliceStable(list, func(a, b int) bool {
		if p, q := slices.Index(order, list[a].row.What), slices.Index(order, list[b].row.What); p != q {
			return p < q
		}
		f, g := list[a].row.At, list[b].row.At
		return f != nil && (g != nil && f.Cmp(*g) < 0) || f == nil && g != nil
	})
	return list
}

func hertz(x *runner.Row) string {
	if x.At == nil {
		return ""
	}
	return x.At.Rat().RatString()
}

// numeric tells whether any line has a number.
func numeric(list []*findingLine) bool {
	return slices.ContainsFunc(list, func(l *findingLine) bool {
		return slices.ContainsFunc(l.of, func(x *runner.Row) bool { return x != nil && (x.Found != nil || x.Limit != nil) })
	})
}

// saysInTable tells whether findings in words have a column of their own: where
// there is room for it, or nothing else to show.
func saysInTable(runs []run, list []*findingLine) bool {
	if numeric(list) && len(runs) > 1 {
		return false
	}
	return slices.ContainsFunc(list, func(l *findingLine) bool {
		return slices.ContainsFunc(l.of, func(x *runner.Row) bool { return x != nil && x.Says != "" })
	})
}

// findingTable has a line a finding and a group of columns a run.
func (w *words) findingTable(runs []run, list []*findingLine) *table {
	numbers, says := numeric(list), saysInTable(runs, list)
	placed := slices.ContainsFunc(list, func(l *findingLine) bool { return l.row.At != nil })
	bare := (&Sheet{runs: runs}).isBare()
	t := &table{Columns: []column{{Head: w.say("What")}}, Legend: w.say(verdictLegend)}
	if bare {
		t.Legend = w.say("— no value.")
	}
	if placed {
		t.Columns = append(t.Columns, column{Head: w.say("Frequency"), Align: right})
	}
	if numbers {
		t.Columns = append(t.Columns, column{Head: w.say("Unit")})
		if bare {
			t.Legend += "   " + w.say("U is the expanded uncertainty of what was found.")
		} else {
			t.Legend += "   " + w.say("U is the expanded uncertainty of what was found; margin is how far that lies on the good side of its limit, w the guard band of the decision rule. Numbers are rounded for print, verdicts are not.")
		}
	}
	var labels []string
	for k, r := range runs {
		labels = append(labels, r.inline)
		heads := []column{{Head: ""}}
		if numbers {
			heads = append(heads, column{Head: w.say("Found"), Align: point}, column{Head: w.say("Limit"), Align: point}, column{Head: w.factorHead(k, list), Align: point}, column{Head: w.say("Margin"), Align: point}, column{Head: "w", Align: point})
		}
		if says {
			heads = append(heads, column{Head: w.say("In words")})
		}
		for _, c := range append(heads, column{Head: w.say("Verdict")}) {
			c.Group = r.label
			t.Columns = append(t.Columns, c)
		}
	}
	t.Title = w.say("What was found, %s", w.and(labels))
	for _, l := range list {
		t.Rows = append(t.Rows, l.cells(placed, numbers, says))
	}
	return t
}

// verdictLegend explains the flags.
const verdictLegend key = "■ fail   ▲ conditional   ? not judged   (no sign) pass, or nothing promised   — no value."

// factorHead heads the column of U with its coverage factor where one holds for
// all of a run.
func (w *words) factorHead(k int, list []*findingLine) string {
	for _, l := range list {
		if x := l.of[k]; x != nil && x.Uncertainty != nil && x.Uncertainty.CoverageFactor != 2 {
			return w.say("U (k in notes)")
		}
	}
	return w.say("U (k = 2)")
}

func (l *findingLine) cells(placed, numbers, says bool) []cell {
	row := []cell{{Text: l.stated(l.word(l.row.What))}}
	if placed {
		f := ""
		if l.row.At != nil {
			f = l.q(l.row.At)
		}
		row = append(row, cell{Text: f})
	}
	power := l.power()
	if numbers {
		row = append(row, cell{Text: unitText(l.row.Unit, power)})
	}
	for _, x := range l.of {
		row = append(row, l.foundCells(x, power, numbers, says)...)
	}
	return row
}

// foundCells are the cells of one run.
func (w *words) foundCells(x *runner.Row, power int, numbers, says bool) []cell {
	texts := []string{""}
	m := plain
	shown := shownRow{none, none, none, none, none}
	said, verdict := "", w.say("not taken")
	if x != nil {
		m, said, verdict = markOfRow(*x), w.word(x.Says), w.verdictOf(x.Verdict)
		shown = w.showRow(*x, power)
		if verdict == "" {
			verdict = w.say("reported only")
		}
	}
	texts[0] = m.flag()
	if numbers {
		texts = append(texts, shown.Found, shown.Limit, shown.U, shown.Margin, shown.Band)
	}
	if says {
		texts = append(texts, said)
	}
	var cells []cell
	for _, text := range append(texts, verdict) {
		cells = append(cells, cell{text, m})
	}
	return cells
}

// verdictOf writes the verdict on a finding, which need not be an error.
func (w *words) verdictOf(v decision.Verdict) string {
	if v.Reason == decision.OutsideLimit {
		return w.say("%s: outside the limit", w.word(string(v.Word)))
	}
	return w.verdict(v)
}

// markOfRow is how the verdict of a finding is set apart; one without a verdict
// is plain.
func markOfRow(x runner.Row) mark {
	switch {
	case x.Verdict.Word == decision.Fail:
		return failed
	case x.Verdict.Word == decision.Pass, x.Verdict.Word == "":
		return plain
	case x.Judged():
		return conditional
	}
	return notJudged
}

// findingNotes says what the table has no column for.
func (w *words) findingNotes(input, title string, runs []run, list []*findingLine) []string {
	var m merged
	for k, r := range runs {
		n, of := noteList{points: map[string][]string{}}, map[string]int{}
		note := func(text, place string, among int) {
			n.add(text, place)
			of[text] = among
		}
		uncertain := 0
		for _, l := range list {
			if x := l.of[k]; x != nil && x.Uncertainty != nil {
				uncertain++
			}
		}
		for _, l := range list {
			x := l.of[k]
			if x == nil {
				continue
			}
			if u := x.Uncertainty; u != nil && u.CoverageFactor != 2 && u.CoverageFactor > 0 {
				note(w.say("coverage factor k = %s", w.significant(u.CoverageFactor, 3)), w.placeOf(*x), uncertain)
			}
			if x.Says != "" && !saysInTable(runs, list) {
				note(w.word(x.Says), w.placeOf(*x), len(list))
			}
		}
		tasks := r.outcomes(input, title)
		for _, o := range tasks {
			for _, text := range o.Notes {
				note(w.word(text), w.taskPlace(o), len(tasks))
			}
		}
		for _, text := range n.order {
			where := strings.Join(slices.Compact(n.points[text]), ", ")
			if len(n.points[text]) == of[text] {
				where = ""
				if of[text] > 1 {
					where = w.say("throughout")
				}
			}
			m.add(r, w.colon(text, where))
		}
	}
	return m.lines(w)
}

// placeOf names a finding within its table.
func (w *words) placeOf(x runner.Row) string {
	if x.At == nil {
		return w.word(x.What)
	}
	return w.say("%[1]s at %[2]s", w.word(x.What), w.q(x.At))
}

// taskPlace names a task within its table: its frequency where all its findings
// share one, else its id; "" where it is the only one of its kind.
func (w *words) taskPlace(o runner.Outcome) string {
	for _, x := range o.Rows {
		if x.At == nil || x.At.Cmp(*o.Rows[0].At) != 0 {
			return o.Task.ID
		}
	}
	if len(o.Rows) == 0 {
		return o.Task.ID
	}
	return w.q(o.Rows[0].At)
}

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
const unitTitle = "The unit as a whole"

// whole shows the warm-up and the measurements that belong to no input.
func (s *Sheet) whole() []block {
	b := append(s.warmUps(), s.measurements("")...)
	if len(b) == 0 {
		return nil
	}
	return append([]block{&heading{Level: 1, Text: unitTitle}}, b...)
}

// measurements shows what other kinds of measurement than the band sweep found
// at an input, title by title: drawn against frequency, in a table, as courses.
func (s *Sheet) measurements(input string) []block {
	var b []block
	for _, title := range s.measureTitles(input) {
		b = append(b, &heading{Level: 2, Text: s.kindAndTitle(input, title)})
		drawn := false
		for _, runs := range s.sideBySide() {
			list := findings(input, title, runs)
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

func findings(input, title string, runs []run) []block {
	list := findingLines(input, title, runs)
	if len(list) == 0 {
		return nil
	}
	var b []block
	for _, g := range findingGraphs(input, runs, list) {
		b = append(b, g)
	}
	b = append(b, findingTable(runs, list))
	if n := findingNotes(input, title, runs, list); len(n) > 0 {
		b = append(b, &notes{Title: "Notes", Lines: n})
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
	text := capital(title)
	if strings.Contains(strings.ToLower(title), strings.ToLower(kind)) {
		return text
	}
	return text + " (" + kind + ")"
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
			if t := titleOf(o); o.Task.Input == input && !slices.Contains(list, t) {
				list = append(list, t)
			}
		}
	}
	return list
}

func titleOf(o runner.Outcome) string { return stated(o.Task.Measure) }

func (r run) outcomes(input, title string) []runner.Outcome {
	var list []runner.Outcome
	for _, o := range r.Run.Outcomes {
		if o.Task.Input == input && titleOf(o) == title {
			list = append(list, o)
		}
	}
	return list
}

// findingLine is one line of a table of findings: what each run found, nil
// where a run lacks it.
type findingLine struct {
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
					at[key] = append(at[key], &findingLine{row: *x, of: make([]*runner.Row, len(runs))})
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
func findingTable(runs []run, list []*findingLine) *table {
	numbers, says := numeric(list), saysInTable(runs, list)
	placed := slices.ContainsFunc(list, func(l *findingLine) bool { return l.row.At != nil })
	t := &table{Columns: []column{{Head: "What"}}, Legend: verdictLegend}
	if placed {
		t.Columns = append(t.Columns, column{Head: "Frequency", Align: right})
	}
	if numbers {
		t.Columns = append(t.Columns, column{Head: "Unit"})
		t.Legend += "   U is the expanded uncertainty of what was found; margin is how far that lies on the good side of its limit, w the guard band of the decision rule. Numbers are rounded for print, verdicts are not."
	}
	var labels []string
	for k, r := range runs {
		labels = append(labels, strings.ToLower(r.label))
		heads := []column{{Head: ""}}
		if numbers {
			heads = append(heads, column{Head: "Found", Align: point}, column{Head: "Limit", Align: point}, column{Head: factorHead(k, list), Align: point}, column{Head: "Margin", Align: point}, column{Head: "w", Align: point})
		}
		if says {
			heads = append(heads, column{Head: "In words"})
		}
		for _, c := range append(heads, column{Head: "Verdict"}) {
			c.Group = r.label
			t.Columns = append(t.Columns, c)
		}
	}
	t.Title = "What was found, " + strings.Join(labels, " and ")
	for _, l := range list {
		t.Rows = append(t.Rows, l.cells(placed, numbers, says))
	}
	return t
}

// verdictLegend explains the flags.
const verdictLegend = "■ fail   ▲ conditional   ? not judged   (no sign) pass, or nothing promised   " + none + " no value."

// factorHead heads the column of U with its coverage factor where one holds for
// all of a run.
func factorHead(k int, list []*findingLine) string {
	for _, l := range list {
		if x := l.of[k]; x != nil && x.Uncertainty != nil && x.Uncertainty.CoverageFactor != 2 {
			return "U (k in notes)"
		}
	}
	return "U (k = 2)"
}

func (l *findingLine) cells(placed, numbers, says bool) []cell {
	row := []cell{{Text: stated(l.row.What)}}
	if placed {
		f := ""
		if l.row.At != nil {
			f = l.row.At.Grouped()
		}
		row = append(row, cell{Text: f})
	}
	power := l.power()
	if numbers {
		row = append(row, cell{Text: unitText(l.row.Unit, power)})
	}
	for _, x := range l.of {
		row = append(row, foundCells(x, power, numbers, says)...)
	}
	return row
}

// foundCells are the cells of one run.
func foundCells(x *runner.Row, power int, numbers, says bool) []cell {
	texts := []string{""}
	m := plain
	shown := shownRow{none, none, none, none, none}
	words, verdict := "", "not taken"
	if x != nil {
		m, words, verdict = markOfRow(*x), x.Says, verdictOf(x.Verdict)
		shown = showRow(*x, power)
		if verdict == "" {
			verdict = "reported only"
		}
	}
	texts[0] = m.flag()
	if numbers {
		texts = append(texts, shown.Found, shown.Limit, shown.U, shown.Margin, shown.Band)
	}
	if says {
		texts = append(texts, words)
	}
	var cells []cell
	for _, text := range append(texts, verdict) {
		cells = append(cells, cell{text, m})
	}
	return cells
}

// verdictOf writes the verdict on a finding, which need not be an error.
func verdictOf(v decision.Verdict) string {
	if v.Reason == decision.OutsideLimit {
		return string(v.Word) + ": outside the limit"
	}
	return v.String()
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
func findingNotes(input, title string, runs []run, list []*findingLine) []string {
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
				note("coverage factor k = "+significant(u.CoverageFactor, 3), placeOf(*x), uncertain)
			}
			if x.Says != "" && !saysInTable(runs, list) {
				note(x.Says, placeOf(*x), len(list))
			}
		}
		tasks := r.outcomes(input, title)
		for _, o := range tasks {
			for _, text := range o.Notes {
				note(text, taskPlace(o), len(tasks))
			}
		}
		for _, text := range n.order {
			where := strings.Join(slices.Compact(n.points[text]), ", ")
			if len(n.points[text]) == of[text] {
				where = ""
				if of[text] > 1 {
					where = "throughout"
				}
			}
			m.add(r.label, text+prefixed(": ", where))
		}
	}
	return m.lines()
}

// placeOf names a finding within its table.
func placeOf(x runner.Row) string {
	if x.At == nil {
		return x.What
	}
	return x.What + " at " + x.At.Grouped()
}

// taskPlace names a task within its table: its frequency where all its findings
// share one, else its id; "" where it is the only one of its kind.
func taskPlace(o runner.Outcome) string {
	for _, x := range o.Rows {
		if x.At == nil || x.At.Cmp(*o.Rows[0].At) != 0 {
			return o.Task.ID
		}
	}
	if len(o.Rows) == 0 {
		return o.Task.ID
	}
	return o.Rows[0].At.Grouped()
}

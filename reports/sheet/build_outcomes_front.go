package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/decision"
	"bandproof/runner"
)

// otherCounts says how many findings of other measurements have which verdict;
// "" where none was planned.
func (r run) otherCounts() string {
	if r.Run.PlannedTasks == 0 && len(r.Run.Outcomes) == 0 {
		return ""
	}
	n, free := map[decision.Word]int{}, 0
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			if x.Verdict.Word == "" {
				free++
			}
			n[x.Verdict.Word]++
		}
	}
	text := fmt.Sprintf("Other measurements: %d %s planned, with %d pass, %d conditional pass, %d conditional fail, %d fail, %d not judged",
		r.Run.PlannedTasks, plural(r.Run.PlannedTasks, "task", "tasks"), n[decision.Pass], n[decision.ConditionalPass], n[decision.ConditionalFail], n[decision.Fail], n[decision.NotJudged])
	if free > 0 {
		text += fmt.Sprintf(", %d reported without a limit", free)
	}
	if left := r.Run.PlannedTasks - len(r.Run.Outcomes); left > 0 {
		text += fmt.Sprintf("; %d %s not taken", left, plural(left, "task", "tasks"))
	}
	return text + "."
}

// rowGroup is what several findings of one measurement have in common.
type rowGroup struct {
	input, title string
	what         string
	verdict      decision.Verdict
	rows         []runner.Row
}

// rowGroups groups the findings that want picks by input, measurement, what was
// found and verdict, fails before conditional verdicts.
func (r run) rowGroups(want func(runner.Row) bool) []*rowGroup {
	var list []*rowGroup
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			if !want(x) {
				continue
			}
			n := slices.IndexFunc(list, func(g *rowGroup) bool {
				return g.input == o.Task.Input && g.title == titleOf(o) && g.what == x.What && g.verdict == x.Verdict
			})
			if n < 0 {
				n = len(list)
				list = append(list, &rowGroup{input: o.Task.Input, title: titleOf(o), what: x.What, verdict: x.Verdict})
			}
			list[n].rows = append(list[n].rows, x)
		}
	}
	rank := func(g *rowGroup) int {
		return slices.Index([]decision.Word{decision.Fail, decision.ConditionalFail, decision.ConditionalPass}, g.verdict.Word)
	}
	slices.SortStableFunc(list, func(a, b *rowGroup) int { return cmp.Compare(rank(a), rank(b)) })
	return list
}

// otherFailures are lines on what failed or passed on condition only among the
// other measurements.
func (r run) otherFailures(most int) []string {
	var lines []string
	list := r.rowGroups(func(x runner.Row) bool { return x.Verdict.Bad() || x.Verdict.Word == decision.ConditionalPass })
	for k, g := range list {
		if k == most {
			return append(lines, fmt.Sprintf("and %d more, see the tables of the other measurements.", len(list)-k))
		}
		lines = append(lines, g.line())
	}
	return lines
}

// line names the finding, or the worst of several.
func (g *rowGroup) line() string {
	worst := g.rows[0]
	for _, x := range g.rows[1:] {
		if x.Margin != nil && (worst.Margin == nil || x.Margin.Cmp(*worst.Margin) < 0) {
			worst = x
		}
	}
	verdict := verdictOf(g.verdict)
	if len(g.rows) > 1 {
		verdict += fmt.Sprintf(" (%d findings), worst", len(g.rows))
	} else if worst.At == nil {
		verdict += ","
	}
	text := fmt.Sprintf("%s: %s: %s%s", g.place(), short(g.what), verdict, prefixed(" ", short(join(", ", at(worst), numbersOf(worst), worst.Says))))
	return strings.TrimRight(text, ",. ") + "."
}

// place is the input with the measurement; what concerns the unit has no input.
func (g *rowGroup) place() string {
	if g.input == "" {
		return "Unit, " + short(g.title)
	}
	return "Input " + short(g.input) + ", " + short(g.title)
}

func at(x runner.Row) string {
	if x.At == nil {
		return ""
	}
	return "at " + x.At.Grouped()
}

// numbersOf writes what was found with its limit; "" where there is no number.
func numbersOf(x runner.Row) string {
	if x.Found == nil {
		return ""
	}
	l := findingLine{row: x, of: []*runner.Row{&x}}
	s, unit := showRow(x, l.power()), prefixed("\u00a0", axisUnit(x.Unit, l.power()))
	text := "found " + s.Found + unit
	if x.Limit != nil {
		text += ", limit " + s.Limit + unit
	}
	return text
}

// otherMeasurements sums each measurement up in a line.
func (s *Sheet) otherMeasurements() []block {
	t := &table{Title: "Other measurements", Columns: []column{{Head: "Input"}, {Head: "Measurement"}}}
	for _, r := range s.runs {
		for _, h := range []string{"Pass", "Conditional", "Fail", "Not judged", "No limit"} {
			t.Columns = append(t.Columns, column{Group: r.label, Head: h, Align: right})
		}
	}
	for _, input := range append([]string{""}, s.inputNames()...) {
		for _, title := range s.measureTitles(input) {
			row := []cell{{Text: cmp.Or(input, none)}, {Text: title}}
			for _, r := range s.runs {
				row = append(row, r.otherSummary(input, title)...)
			}
			t.Rows = append(t.Rows, row)
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return []block{t}
}

func (r run) otherSummary(input, title string) []cell {
	n := map[mark]int{}
	passed, free := 0, 0
	for _, o := range r.outcomes(input, title) {
		for _, x := range o.Rows {
			n[markOfRow(x)]++
			switch x.Verdict.Word {
			case decision.Pass:
				passed++
			case "":
				free++
			}
		}
	}
	count := func(k int, m mark) cell {
		if k == 0 {
			m = plain
		}
		return cell{fmt.Sprint(k), m}
	}
	return []cell{count(passed, plain), count(n[conditional], conditional), count(n[failed], failed), count(n[notJudged], notJudged), count(free, plain)}
}

// openRows are the lines on other measurements in the list of what was not
// judged.
func (r run) openRows() [][]cell {
	var rows [][]cell
	for _, g := range r.rowGroups(func(x runner.Row) bool { return x.Open() }) {
		var where, says []string
		for _, x := range g.rows {
			if x.At != nil && len(where) < mostStretches {
				where = append(where, x.At.Grouped())
			}
			if x.Says != "" && !slices.Contains(says, x.Says) {
				says = append(says, x.Says)
			}
		}
		what := g.title
		if g.what != g.title {
			what += ": " + g.what
		}
		if len(g.rows) > 1 {
			where = append(where, fmt.Sprintf("(%d findings)", len(g.rows)))
		}
		rows = append(rows, []cell{{Text: r.label, Mark: notJudged}, {Text: cmp.Or(g.input, none)}, {Text: stated(join(": ", string(g.verdict.Reason), short(strings.Join(says, "; "))))},
			{Text: what + prefixed(" at ", strings.Join(where, ", "))}})
	}
	return rows
}

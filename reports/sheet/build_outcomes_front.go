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
	text := r.say("Other measurements: %[1]s tasks planned, with %[2]s pass, %[3]s conditional pass, %[4]s conditional fail, %[5]s fail, %[6]s not judged",
		r.count(r.Run.PlannedTasks), r.whole(n[decision.Pass]), r.whole(n[decision.ConditionalPass]), r.whole(n[decision.ConditionalFail]), r.whole(n[decision.Fail]), r.whole(n[decision.NotJudged]))
	if free > 0 {
		text += ", " + r.say("%s reported without a limit", r.count(free))
	}
	if left := r.Run.PlannedTasks - len(r.Run.Outcomes); left > 0 {
		text += "; " + r.say("%s tasks not taken", r.count(left))
	}
	return text + "."
}

// rowGroup is what several findings of one measurement have in common.
type rowGroup struct {
	*words
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
				return g.input == o.Task.Input && g.title == r.titleOf(o) && g.what == x.What && g.verdict == x.Verdict
			})
			if n < 0 {
				n = len(list)
				list = append(list, &rowGroup{words: r.words, input: o.Task.Input, title: r.titleOf(o), what: x.What, verdict: x.Verdict})
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
			return append(lines, r.say("and %s more, see the tables of the other measurements.", r.count(len(list)-k)))
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
	verdict, comma := g.verdictOf(g.verdict), ""
	if len(g.rows) > 1 {
		verdict = g.say("%[2]s (%[1]s findings), worst", g.count(len(g.rows)), verdict)
	} else if worst.At == nil {
		comma = ","
	}
	text := fmt.Sprintf("%s%s%s", g.colon(g.place(), g.colon(g.short(g.word(g.what)), verdict)), comma, prefixed(" ", g.short(join(", ", g.at(worst), g.numbersOf(worst), g.word(worst.Says)))))
	return strings.TrimRight(text, ",. ") + "."
}

// place is the input with the measurement; what concerns the unit has no input.
func (g *rowGroup) place() string {
	if g.input == "" {
		return g.say("Unit, %s", g.short(g.word(g.title)))
	}
	return g.say("Input %[1]s, %[2]s", g.short(g.input), g.short(g.word(g.title)))
}

func (w *words) at(x runner.Row) string {
	if x.At == nil {
		return ""
	}
	return w.say("at %s", w.q(x.At))
}

// numbersOf writes what was found with its limit; "" where there is no number.
func (w *words) numbersOf(x runner.Row) string {
	if x.Found == nil {
		return ""
	}
	l := findingLine{words: w, row: x, of: []*runner.Row{&x}}
	s, unit := w.showRow(x, l.power()), prefixed("\u00a0", axisUnit(x.Unit, l.power()))
	if x.Limit != nil {
		return w.say("found %[1]s, limit %[2]s", s.Found+unit, s.Limit+unit)
	}
	return w.say("found %s", s.Found+unit)
}

// otherMeasurements sums each measurement up in a line.
func (s *Sheet) otherMeasurements() []block {
	t := &table{Title: s.say("Other measurements"), Columns: []column{{Head: s.say("Input")}, {Head: s.say("Measurement")}}}
	for _, r := range s.runs {
		for _, h := range []key{"Pass", "Conditional", "Fail", "Not judged", "No limit"} {
			t.Columns = append(t.Columns, column{Group: r.label, Head: s.say(h), Align: right})
		}
	}
	for _, input := range append([]string{""}, s.inputNames()...) {
		for _, title := range s.measureTitles(input) {
			row := []cell{{Text: cmp.Or(input, none)}, {Text: s.word(title)}}
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
		return cell{r.whole(k), m}
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
				where = append(where, r.q(x.At))
			}
			if x.Says != "" && !slices.Contains(says, r.word(x.Says)) {
				says = append(says, r.word(x.Says))
			}
		}
		what := r.word(g.title)
		if g.what != g.title {
			what = r.colon(what, r.word(g.what))
		}
		if len(where) > 0 {
			what = r.say("%[1]s at %[2]s", what, strings.Join(where, ", "))
		}
		if len(g.rows) > 1 {
			what = r.say("%[2]s (%[1]s findings)", r.count(len(g.rows)), what)
		}
		rows = append(rows, []cell{{Text: r.label, Mark: notJudged}, {Text: cmp.Or(g.input, none)}, {Text: r.stated(r.colon(r.word(string(g.verdict.Reason)), r.short(strings.Join(says, "; "))))},
			{Text: what}})
	}
	return rows
}

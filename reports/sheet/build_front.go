package sheet

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// front is what a reader wants first: whose unit, which, what was found.
func (s *Sheet) front() []block {
	var b []block
	b = append(b, s.alerts()...)
	if n := s.trust(); len(n.Lines) > 0 {
		b = append(b, n)
	}
	b = append(b, s.identity(), &paragraph{Text: s.method()})
	b = append(b, &heading{Level: 1, Text: "Statement of conformity"})
	for _, r := range s.runs {
		b = append(b, r.statement())
	}
	if missing := s.missing(); missing != "" {
		b = append(b, &paragraph{Text: missing})
	}
	b = append(b, s.specification(), &paragraph{Text: "Results concern only the unit named above, as it was at the time of each run."})
	if len(s.inputNames()) > 0 {
		b = append(b, s.byInput())
	}
	b = append(b, s.otherMeasurements()...)
	b = append(b, s.notShown()...)
	b = append(b, s.notJudged()...)
	b = append(b, s.conditions(), s.standards())
	b = append(b, s.statements()...)
	b = append(b, &signatures{Lines: s.signers()})
	return b
}

func (s *Sheet) method() string {
	text := "Method: direct comparison. The source sets each frequency at a stated level at the input; the mean of the unit's readings, taken after settling, is compared with the reference value."
	if s.hasOthers() {
		text += " How the other measurements were taken stands with what they found."
	}
	return text
}

// hasOthers tells whether any run has other measurements than the band sweep.
func (s *Sheet) hasOthers() bool {
	return slices.ContainsFunc(s.runs, func(r run) bool { return len(r.Run.Outcomes) > 0 })
}

// alerts say what is wrong with a run as a whole.
func (s *Sheet) alerts() []block {
	var b []block
	for _, r := range s.runs {
		if r.Run.Statement == runner.NotObtainable {
			b = append(b, &notice{Alert: true, Title: r.label + ": not obtainable",
				Lines: []string{"The unit gives no readings at all; this counts as outside tolerance. Symptom: " + stated(r.Run.Symptom) + "."}})
		}
		if len(r.Run.Changes) > 0 {
			b = append(b, r.changed())
		}
		if !r.Run.Complete {
			b = append(b, &notice{Alert: true, Title: r.label + ": run incomplete",
				Lines: []string{fmt.Sprintf("The run ended before its plan did: %s. %s.", stated(r.Run.Ended), r.taken())}})
		}
	}
	return b
}

// taken says how much of the plan was taken.
func (r run) taken() string {
	points := fmt.Sprintf("Of %d planned points %d were taken", r.Run.Planned, len(r.Run.Points))
	tasks := fmt.Sprintf("of %d planned %s of other measurements %d", r.Run.PlannedTasks, plural(r.Run.PlannedTasks, "task", "tasks"), len(r.Run.Outcomes))
	switch {
	case r.Run.PlannedTasks == 0:
		return points
	case r.Run.Planned == 0:
		return "O" + tasks[1:] + " were taken"
	}
	return points + ", " + tasks
}

func (s *Sheet) identity() block {
	l := s.last()
	lab := l.Laboratory
	var performed []string
	for _, r := range s.runs {
		performed = append(performed, strings.ToLower(r.label)+" "+days(r.Run.Started, r.Run.Finished))
	}
	return &grid{Columns: 4, Items: []item{
		{"Laboratory", join("\n", s.stated(lab.Name), strings.Join(lab.Address, ", "), lab.Contact, prefixed("work done at: ", lab.Place))},
		{"Customer", join("\n", s.stated(l.Job.Customer), l.Job.Contact)},
		{"Record", strings.Join(s.labelled(func(r run) string { return s.stated(r.ID) }), "\n")},
		{"Unit: maker", s.stated(l.Maker)},
		{"Unit: model", s.stated(l.Model)},
		{"Unit: serial number", s.stated(l.Job.Serial)},
		{"Asset number (as the customer states)", s.stated(l.Job.Asset)},
		{"Options (as the customer states)", s.stated(l.Job.Options)},
		{"What the unit states of itself", strings.Join(s.labelled(unitStates), "\n")},
		{"Condition on receipt", s.stated(s.runs[0].Job.Condition)},
		{"Received", s.stated(l.Job.Received.String())},
		{"Performed", strings.Join(performed, "\n")},
		{"Issued", day(l.Created)},
		{"Order", s.stated(l.Job.Number)},
		{"Performed by", strings.Join(s.labelled(func(r run) string { return s.stated(r.Job.Technician) }), "\n")},
		{"Procedure", s.stated(l.Record.Procedure.Name) + ", revision " + s.stated(l.Record.Procedure.Revision)},
	}}
}

// merged gathers lines of several runs: equal ones once, led by the labels of
// all the runs that say them.
type merged struct {
	order  []string
	labels map[string][]string
}

func (m *merged) add(label, text string) {
	if m.labels == nil {
		m.labels = map[string][]string{}
	}
	if _, seen := m.labels[text]; !seen {
		m.order = append(m.order, text)
	}
	if !slices.Contains(m.labels[text], label) {
		m.labels[text] = append(m.labels[text], label)
	}
}

func (m *merged) lines() []string {
	var list []string
	for _, text := range m.order {
		l := strings.ToLower(strings.Join(m.labels[text], ", "))
		list = append(list, strings.ToUpper(l[:1])+l[1:]+": "+text)
	}
	return list
}

// missing says which status of the unit this sheet does not state.
func (s *Sheet) missing() string {
	has := func(k runner.Kind) bool {
		return slices.ContainsFunc(s.runs, func(r run) bool { return r.Run.Kind == k })
	}
	switch {
	case !has(runner.AsFound):
		return "This sheet holds no as-found run: it does not say how the unit was received."
	case !has(runner.AsLeft):
		return "This sheet holds no as-left run: it says how the unit was released only if nothing was altered since."
	}
	return ""
}

// labelled gives one line for each run, led by its label, or a single line
// where all runs say the same.
func (s *Sheet) labelled(f func(run) string) []string {
	same := true
	var list []string
	for _, r := range s.runs {
		same = same && f(r) == f(s.runs[0])
		list = append(list, r.label+": "+f(r))
	}
	if same {
		return []string{f(s.runs[0])}
	}
	return list
}

func unitStates(r run) string {
	u := r.Run.Unit
	if !u.Stated {
		return "nothing (it has no way to tell)"
	}
	text := stated(join(", ", u.Maker, u.Model, prefixed("serial number ", u.Serial), prefixed("firmware ", u.Firmware)))
	for _, other := range r.otherIdentity() {
		text += "\n" + failed.flag() + " not as expected: " + other
	}
	return text
}

// statement is the conformity of one run, on its own: runs are never merged.
func (r run) statement() block {
	word := string(r.Run.Statement)
	if word == "" {
		word = "no statement"
	}
	n := map[decision.Word]int{}
	for _, p := range r.Run.Points {
		n[p.Verdict.Word]++
	}
	counts := fmt.Sprintf("Of %d planned points: %d pass, %d conditional pass, %d conditional fail, %d fail, %d not judged",
		r.Run.Planned, n[decision.Pass], n[decision.ConditionalPass], n[decision.ConditionalFail], n[decision.Fail], n[decision.NotJudged])
	if left := r.Run.Planned - len(r.Run.Points); left > 0 {
		counts += fmt.Sprintf(", %d not taken", left)
	}
	lines := []string{counts + "."}
	others := r.otherCounts()
	if others != "" && r.Run.Planned == 0 && len(r.Run.Points) == 0 {
		lines[0] = others
	} else if others != "" {
		lines = append(lines, others)
	}
	if only := r.Run.Only; len(only) > 0 {
		lines = append(lines, fmt.Sprintf("Added run of single points and measurements: only %s were taken. It says nothing of the rest of the specified range, and does not take the place of a run of the whole procedure.", strings.Join(only, ", ")))
	}
	if r.Run.Statement == runner.WithinShown || r.Run.Statement == runner.WithinPoints {
		lines[0] += " What was not shown stands below and is no part of the statement."
	}
	if n[decision.NotJudged] > 0 {
		lines[0] += " Why points were not judged stands below."
	}
	if len(r.Run.Changes) > 0 {
		lines[0] += " What passed did so before the unit changed within the run, see above."
	}
	return &notice{Title: r.label + ": " + word, Lines: slices.Concat(lines, r.course(), r.allFailures())}
}

// allFailures leaves room for the statements of all runs on the first page.
func (r run) allFailures() []string {
	points, others := r.failures(mostFindings), r.otherFailures(mostFindings)
	if len(points) > 0 && len(others) > 0 {
		points, others = r.failures(mostOfEach), r.otherFailures(mostOfEach)
	}
	return append(points, others...)
}

func (s *Sheet) specification() block {
	l := s.last()
	return &paragraph{Label: "Specification and decision rule", Text: fmt.Sprintf(
		"The statement refers to the specification laid down in procedure %q, revision %s. Timebase as specified: %s. Decision rule: %s. "+
			"Verdicts compare unrounded values; a point passes only if the mean error passes by the rule and no single reading lies outside the limit.%s",
		l.Record.Procedure.Name, stated(l.Record.Procedure.Revision), strings.Join(s.labelled(func(r run) string { return stated(r.Run.Timebase) }), "; "),
		strings.Join(s.labelled(func(r run) string { return r.Run.Rule.String() }), "; "), s.shortened())}
}

// shortened says how gates and numbers of readings were chosen, where they were.
func (s *Sheet) shortened() string {
	chosen, stopped := false, false
	for _, r := range s.runs {
		for _, p := range r.Run.Points {
			chosen, stopped = chosen || p.Point.Longest != nil, stopped || p.StoppedEarly != ""
		}
	}
	text := ""
	if chosen {
		text += " Gates were chosen within the bounds of the procedure: the shortest at which the limit is at least four times what bench and scatter of the unit add up to, or nine tenths of what the longest gives."
	}
	if stopped {
		text += " Readings that would not have changed the verdict were left out as the procedure allows; each such point has a note."
	}
	return text
}

// coveredHead heads a coverage, which counts points that failed as well.
const coveredHead = "Range covered by judged points"

// byInput sums each input up in a line.
func (s *Sheet) byInput() block {
	t := &table{Title: "Results by input",
		Legend:  "Range covered by judged points: share of the logarithm of the frequency range that lies between points with a verdict, passed or failed. It says how much was looked at, not how good the unit is.",
		Columns: []column{{Head: "Input"}, {Head: "Range"}}}
	for _, r := range s.runs {
		for _, h := range []string{coveredHead + ", %", "Pass", "Conditional", "Fail", "Not judged"} {
			t.Columns = append(t.Columns, column{Group: r.label, Head: h, Align: right})
		}
	}
	for _, name := range s.inputNames() {
		row := []cell{{Text: name}, {Text: s.rangeOf(name)}}
		for _, r := range s.runs {
			row = append(row, r.summary(name)...)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func (r run) summary(name string) []cell {
	in, ok := r.input(name)
	n := map[decision.Word]int{}
	for _, p := range r.points(name) {
		n[p.Verdict.Word]++
	}
	covered := none
	if ok {
		covered = share(in.Coverage.Share, in.Coverage.Complete)
	}
	count := func(k int, m mark) cell {
		if k == 0 {
			m = plain
		}
		return cell{fmt.Sprint(k), m}
	}
	return []cell{{Text: covered}, count(n[decision.Pass], plain), count(n[decision.ConditionalPass]+n[decision.ConditionalFail], conditional),
		count(n[decision.Fail], failed), count(n[decision.NotJudged], notJudged)}
}

// notShown lists what was planned out, once where all runs agree.
func (s *Sheet) notShown() []block {
	t := &table{Title: "Not shown: planned out, because the bench can't show it",
		Columns: []column{{Head: "Input"}, {Head: "Sweep"}, {Head: "From", Align: right}, {Head: "To", Align: right}, {Head: "Reason"}, {Head: "Run"}}}
	at := map[string]int{}
	for _, r := range s.runs {
		for _, in := range r.Run.Inputs {
			for _, x := range in.NotShown {
				key := fmt.Sprintf("%q", []string{x.Input, x.Sweep, x.From.Plain(), x.To.Plain(), x.Reason})
				if k, seen := at[key]; seen {
					t.Rows[k][5].Text += ", " + strings.ToLower(r.label)
					continue
				}
				at[key] = len(t.Rows)
				t.Rows = append(t.Rows, []cell{{Text: x.Input}, {Text: stated(x.Sweep)}, {Text: x.From.Grouped()}, {Text: x.To.Grouped()}, {Text: stated(x.Reason)}, {Text: r.label}})
			}
		}
	}
	if len(t.Rows) == 0 {
		return []block{&paragraph{Label: "Not shown", Text: "Nothing was planned out."}}
	}
	return []block{t}
}

// notJudged lists what has no verdict on the unit, by reason.
func (s *Sheet) notJudged() []block {
	t := &table{Title: "Not judged: no verdict on the unit, for the reason given (bench, link, operator, void readings)",
		Columns: []column{{Head: "Run"}, {Head: "Input"}, {Head: "Reason"}, {Head: "Where"}}}
	for _, r := range s.runs {
		for _, f := range r.findings(func(p *runner.PointResult) bool { return !p.Judged() }) {
			t.Rows = append(t.Rows, []cell{{Text: r.label, Mark: notJudged}, {Text: f.input}, {Text: stated(join(", ", string(f.verdict.Reason), f.symptom))}, {Text: f.where()}})
		}
		t.Rows = append(t.Rows, r.openRows()...)
	}
	if len(t.Rows) == 0 {
		for _, r := range s.runs {
			if len(r.Run.Points)+len(r.Run.Outcomes) == 0 {
				return nil
			}
		}
		return []block{&paragraph{Label: "Not judged", Text: s.allJudged()}}
	}
	return []block{t}
}

func (s *Sheet) allJudged() string {
	if s.hasOthers() {
		return "Every point that was taken, and every finding of another measurement that has a limit, has a verdict."
	}
	return "Every point that was taken has a verdict."
}

// conditions is one column a run: what may differ between runs.
func (s *Sheet) conditions() block {
	t := &table{Title: "Runs and conditions", Columns: []column{{Head: ""}}}
	for _, r := range s.runs {
		t.Columns = append(t.Columns, column{Head: r.label})
	}
	for _, line := range []struct {
		name string
		f    func(run) string
	}{
		{"Record", func(r run) string { return stated(r.ID) + prefixed(", follows ", r.Follows) }},
		{"Performed", func(r run) string { return period(r.Run.Started, r.Run.Finished) }},
		{"Ambient temperature", func(r run) string { return conditionOf(r, r.Job.Temperature) }},
		{"Relative humidity", func(r run) string { return conditionOf(r, r.Job.Humidity) }},
		{"Ambient temperature, measured", func(r run) string {
			return measured(r, func(a runner.Ambient) *quantity.Temperature { return a.Temperature })
		}},
		{"Relative humidity, measured", func(r run) string {
			return measured(r, func(a runner.Ambient) *quantity.Ratio { return a.Humidity })
		}},
		{"Mains voltage", func(r run) string { return optional(r.Job.Mains) }},
		{"Unit on, before the first point", func(r run) string { return positive(r.Run.OnFor) }},
		{"Warm-up", func(r run) string { return r.warmUpEnded() }},
		{"Timebase last adjusted", func(r run) string { return stated(r.Job.Adjusted.String()) }},
		{"Work since the earlier run", func(r run) string { return r.Job.Work }},
		{"Remarks", func(r run) string { return r.Job.Remarks }},
		{"Bench", func(r run) string { return stated(r.Bench.Name) + prefixed(", file SHA-256 ", r.Bench.SHA256) }},
		{"Procedure file", func(r run) string {
			return stated(r.Record.Procedure.File) + prefixed(", SHA-256 ", r.Record.Procedure.SHA256)
		}},
		{"Software", func(r run) string {
			return stated(join(" ", r.Program.Name, r.Program.Version)) + prefixed(", built with ", r.Program.Go)
		}},
	} {
		row := []cell{{Text: line.name}}
		empty := true
		for _, r := range s.runs {
			row = append(row, cell{Text: line.f(r)})
			empty = empty && line.f(r) == ""
		}
		if !empty {
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

// conditionOf is a condition as the job states it, in an empty place where a
// thermometer told it instead.
func conditionOf[D quantity.Dimension](r run, v *quantity.Value[D]) string {
	if v == nil && len(r.Run.Ambient) > 0 {
		return ""
	}
	return optional(v)
}

// optional writes a quantity that the job may leave out.
func optional[D quantity.Dimension](v *quantity.Value[D]) string {
	if v == nil {
		return "not stated"
	}
	return v.Grouped()
}

// positive writes a time that zero leaves unstated.
func positive(d quantity.Duration) string {
	if d.Sign() <= 0 {
		return "not stated"
	}
	return d.Grouped()
}

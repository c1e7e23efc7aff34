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
	b = append(b, s.amendments()...)
	b = append(b, s.notReleased()...)
	b = append(b, s.alerts()...)
	if n := s.trust(); len(n.Lines) > 0 {
		b = append(b, n)
	}
	specification, head := s.specification(), s.say("Statement of conformity")
	if s.isBare() {
		specification, head = s.bareSpecification(), s.say("Results")
	}
	b = append(b, s.identity(), &heading{Level: 1, Text: head})
	for _, r := range s.runs {
		if s.isBare() {
			b = append(b, r.bareStatement())
			continue
		}
		b = append(b, r.statement())
	}
	if missing := s.missing(); missing != "" {
		b = append(b, &paragraph{Text: missing})
	}
	b = append(b, s.limited()...)
	specification.Text += " " + s.say("Results concern only the unit named above, as it was at the time of each run.")
	b = append(b, s.basis(), specification,
		&signatures{Lines: s.signers()}, &heading{Level: 1, Text: s.say("Basis of the results")}, &paragraph{Text: s.method()})
	switch {
	case len(s.inputNames()) == 0:
	case s.isBare():
		b = append(b, s.bareByInput())
	default:
		b = append(b, s.byInput())
	}
	if s.isBare() {
		b = append(b, s.notShown()...)
	} else {
		b = append(b, s.otherMeasurements()...)
		b = append(b, s.notShown()...)
		b = append(b, s.notJudged()...)
	}
	b = append(b, s.conditions(), s.standards())
	b = append(b, s.statements()...)
	return b
}

func (s *Sheet) method() string {
	text := s.say("Method: direct comparison. The source sets each frequency at a stated level at the input; the mean of the unit's readings, taken after settling, is compared with the reference value.")
	if s.hasOthers() {
		text += " " + s.say("How the other measurements were taken stands with what they found.")
	}
	text += s.shortened()
	if s.Language != "en" {
		text += " " + s.say("Remarks and symptoms are printed as they were recorded, in the language of the bench; readings and figures within them have a decimal point.")
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
			b = append(b, &notice{Alert: true, Title: s.say("%s: not obtainable", r.label),
				Lines: []string{s.dead(r)}})
		}
		if len(r.Run.Changes) > 0 {
			b = append(b, r.changed())
		}
		if !r.Run.Complete {
			b = append(b, &notice{Alert: true, Title: s.say("%s: run incomplete", r.label),
				Lines: []string{s.say("The run ended before its plan did: %s.", s.stated(s.word(r.Run.Ended))) + " " + r.taken()}})
		}
	}
	return b
}

// dead says what a unit shows that gives no readings.
func (s *Sheet) dead(r run) string {
	symptom := s.stated(s.word(r.Run.Symptom))
	if s.isBare() {
		return s.say("The unit gives no readings at all. Symptom: %s.", symptom)
	}
	return s.say("The unit gives no readings at all; this counts as outside tolerance. Symptom: %s.", symptom)
}

// taken says how much of the plan was taken.
func (r run) taken() string {
	points, taken := r.count(r.Run.Planned), r.count(len(r.Run.Points))
	tasks, done := r.count(r.Run.PlannedTasks), r.count(len(r.Run.Outcomes))
	switch {
	case r.Run.PlannedTasks == 0:
		return r.say("Of %[1]s planned points %[2]s were taken.", points, taken)
	case r.Run.Planned == 0:
		return r.say("Of %[1]s planned tasks of other measurements %[2]s were taken.", tasks, done)
	}
	return r.say("Of %[2]s planned points %[3]s were taken, of %[1]s planned tasks of other measurements %[4]s.", tasks, points, taken, done)
}

func (s *Sheet) identity() block {
	l := s.last()
	var performed []string
	for _, r := range s.runs {
		performed = append(performed, r.inline+" "+r.days(r.Run.Started, r.Run.Finished))
	}
	return &grid{Columns: 4, Items: append(append(s.madeBy(), []item{
		{s.say("Unit (maker, model)"), join(", ", s.stated(l.Maker), s.stated(l.Model))},
		{s.say("Unit: serial number"), s.stated(l.Job.Serial)},
		{s.say("Asset number (as the customer states)"), s.stated(l.Job.Asset)},
		{s.say("Options (as the customer states)"), s.stated(l.Job.Options)},
		{s.say("What the unit states of itself"), strings.Join(s.labelled(run.unitStates), "\n")},
		{s.say("Condition on receipt"), s.stated(s.runs[0].Job.Condition)},
		{s.say("Received"), s.stated(l.Job.Received.String())},
		{s.say("Order"), s.stated(l.Job.Number)},
		{s.say("Customer"), join("\n", s.stated(l.Job.Customer), l.Job.Contact)},
		{s.say("Record"), s.shortIDs()},
		{s.say("Performed"), strings.Join(performed, "\n")},
		{s.say("Issued"), l.day(l.Created)},
		{s.say("Performed by"), strings.Join(s.labelled(func(r run) string { return s.stated(r.Job.Technician) }), "\n")},
		{s.say("Procedure"), s.say("%[1]s, revision %[2]s", s.stated(l.Record.Procedure.Name), s.stated(l.Record.Procedure.Revision))},
	}...), s.dueItem()...)}
}

// shortIDs names the records; each page has their ids in full at its head.
func (s *Sheet) shortIDs() string {
	if len(s.runs) == 1 {
		return s.stated(s.runs[0].ID)
	}
	return strings.Join(s.labelled(func(r run) string { return s.stated(tail(r.ID)) }), "\n")
}

// merged gathers lines of several runs: equal ones once, led by the labels of
// all the runs that say them.
type merged struct {
	order  []string
	labels map[string][]string
}

func (m *merged) add(r run, text string) {
	if m.labels == nil {
		m.labels = map[string][]string{}
	}
	if _, seen := m.labels[text]; !seen {
		m.order = append(m.order, text)
	}
	if !slices.Contains(m.labels[text], r.inline) {
		m.labels[text] = append(m.labels[text], r.inline)
	}
}

func (m *merged) lines(w *words) []string {
	var list []string
	for _, text := range m.order {
		list = append(list, w.colon(capital(strings.Join(m.labels[text], ", ")), text))
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
		return s.say("This sheet holds no as-found run: it does not say how the unit was received.")
	case !has(runner.AsLeft) && s.last().Job.NotReleased != "":
		return "" // the notice says all
	case !has(runner.AsLeft) && s.last().Job.Unaltered && s.asFoundOnly():
		return s.say("Nothing was repaired, adjusted or changed in this job: the as-found results are the as-left results as well.")
	case !has(runner.AsLeft):
		return s.say("This sheet holds no as-left run: it says how the unit was released only if nothing was altered since.")
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
		list = append(list, s.colon(r.label, f(r)))
	}
	if same {
		return []string{f(s.runs[0])}
	}
	return list
}

func (r run) unitStates() string {
	u := r.Run.Unit
	if !u.Stated {
		return r.say("nothing (it has no way to tell)")
	}
	firmware := ""
	if u.Firmware != "" {
		firmware = r.say("firmware %s", u.Firmware)
	}
	text := r.stated(join(", ", u.Maker, u.Model, r.serial(u.Serial), firmware))
	for _, other := range r.otherIdentity() {
		text += "\n" + failed.flag() + " " + r.say("not as expected: %s", other)
	}
	return text
}

// statement is the conformity of one run, on its own: runs are never merged.
func (r run) statement() block {
	word := r.word(string(r.Run.Statement))
	if word == "" {
		word = r.say("no statement")
	}
	n := map[decision.Word]int{}
	for _, p := range r.Run.Points {
		n[p.Verdict.Word]++
	}
	counts := r.say("Of %[1]s planned points: %[2]s pass, %[3]s conditional pass, %[4]s conditional fail, %[5]s fail, %[6]s not judged",
		r.whole(r.Run.Planned), r.whole(n[decision.Pass]), r.whole(n[decision.ConditionalPass]), r.whole(n[decision.ConditionalFail]), r.whole(n[decision.Fail]), r.whole(n[decision.NotJudged]))
	if left := r.Run.Planned - len(r.Run.Points); left > 0 {
		counts += ", " + r.say("%s not taken", r.count(left))
	}
	lines := []string{counts + "."}
	others := r.otherCounts()
	if others != "" && r.Run.Planned == 0 && len(r.Run.Points) == 0 {
		lines[0] = others
	} else if others != "" {
		lines = append(lines, others)
	}
	if only := r.Run.Only; len(only) > 0 {
		lines = append(lines, r.say("Added run of single points and measurements: only %s were taken. It says nothing of the rest of the specified range, and does not take the place of a run of the whole procedure.", strings.Join(only, ", ")))
	}
	if r.Run.Statement == runner.WithinShown || r.Run.Statement == runner.WithinPoints {
		lines[0] += " " + r.say("What was not shown stands below and is no part of the statement.")
	}
	if n[decision.NotJudged] > 0 {
		lines[0] += " " + r.say("Why points were not judged stands below.")
	}
	if len(r.Run.Changes) > 0 {
		lines[0] += " " + r.say("What passed did so before the unit changed within the run, see above.")
	}
	return &notice{Title: r.colon(r.label, word), Lines: slices.Concat(lines, r.course(), r.allFailures())}
}

// allFailures leaves room for the statements of all runs on the first page.
func (r run) allFailures() []string {
	points, others := r.failures(mostFindings), r.otherFailures(mostFindings)
	if len(points) > 0 && len(others) > 0 {
		points, others = r.failures(mostOfEach), r.otherFailures(mostOfEach)
	}
	return append(points, others...)
}

func (s *Sheet) specification() *paragraph {
	l := s.last()
	return &paragraph{Label: s.say("Specification and decision rule"), Text: s.say(
		`The statement refers to the specification laid down in procedure "%[1]s", revision %[2]s. Timebase as specified: %[3]s. Decision rule: %[4]s. `+
			"Verdicts compare unrounded values; a point passes only if the mean error passes by the rule and no single reading lies outside the limit.",
		l.Record.Procedure.Name, s.stated(l.Record.Procedure.Revision), s.semicolons(s.labelled(func(r run) string { return s.stated(s.word(r.Run.Timebase)) })),
		s.semicolons(s.labelled(func(r run) string { return s.word(r.Run.Rule.String()) })))}
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
		text += " " + s.say("Gates were chosen within the bounds of the procedure: the shortest at which the limit is at least four times what bench and scatter of the unit add up to, or nine tenths of what the longest gives.")
	}
	if stopped {
		text += " " + s.say("Readings that would not have changed the verdict were left out as the procedure allows; each such point has a note.")
	}
	return text
}

// coveredHead heads a coverage, which counts points that failed as well.
const coveredHead key = "Range covered by judged points"

// byInput sums each input up in a line.
func (s *Sheet) byInput() block {
	t := &table{Title: s.say("Results by input"),
		Legend:  s.say("Range covered by judged points: share of the logarithm of the frequency range that lies between points with a verdict, passed or failed. It says how much was looked at, not how good the unit is."),
		Columns: []column{{Head: s.say("Input")}, {Head: s.say("Range")}}}
	for _, r := range s.runs {
		for _, h := range []key{coveredHead + ", %%", "Pass", "Conditional", "Fail", "Not judged"} {
			t.Columns = append(t.Columns, column{Group: r.label, Head: s.say(h), Align: right})
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
		covered = r.share(in.Coverage.Share, in.Coverage.Complete)
	}
	count := func(k int, m mark) cell {
		if k == 0 {
			m = plain
		}
		return cell{r.whole(k), m}
	}
	return []cell{{Text: covered}, count(n[decision.Pass], plain), count(n[decision.ConditionalPass]+n[decision.ConditionalFail], conditional),
		count(n[decision.Fail], failed), count(n[decision.NotJudged], notJudged)}
}

// notShown lists what was planned out, once where all runs agree.
func (s *Sheet) notShown() []block {
	t := &table{Title: s.say("Not shown: planned out, because the bench can't show it"),
		Columns: []column{{Head: s.say("Input")}, {Head: s.say("Sweep")}, {Head: s.say("From"), Align: right}, {Head: s.say("To"), Align: right}, {Head: s.say("Reason")}, {Head: s.say("Run")}}}
	at := map[string]int{}
	for _, r := range s.runs {
		for _, in := range r.Run.Inputs {
			for _, x := range in.NotShown {
				key := fmt.Sprintf("%q", []string{x.Input, x.Sweep, x.From.Plain(), x.To.Plain(), x.Reason})
				if k, seen := at[key]; seen {
					t.Rows[k][5].Text += ", " + r.inline
					continue
				}
				at[key] = len(t.Rows)
				t.Rows = append(t.Rows, []cell{{Text: x.Input}, {Text: s.stated(x.Sweep)}, {Text: s.q(x.From)}, {Text: s.q(x.To)}, {Text: s.stated(s.word(x.Reason))}, {Text: r.label}})
			}
		}
	}
	if len(t.Rows) == 0 {
		return []block{&paragraph{Label: s.say("Not shown"), Text: s.say("Nothing was planned out.")}}
	}
	return []block{t}
}

// notJudged lists what has no verdict on the unit, by reason.
func (s *Sheet) notJudged() []block {
	t := &table{Title: s.say("Not judged: no verdict on the unit, for the reason given (bench, link, operator, void readings)"),
		Columns: []column{{Head: s.say("Run")}, {Head: s.say("Input")}, {Head: s.say("Reason")}, {Head: s.say("Where")}}}
	for _, r := range s.runs {
		for _, f := range r.findings(func(p *runner.PointResult) bool { return !p.Judged() }) {
			t.Rows = append(t.Rows, []cell{{Text: r.label, Mark: notJudged}, {Text: f.input}, {Text: s.stated(join(", ", s.word(string(f.verdict.Reason)), s.word(f.symptom)))}, {Text: f.where()}})
		}
		t.Rows = append(t.Rows, r.openRows()...)
	}
	if len(t.Rows) == 0 {
		for _, r := range s.runs {
			if len(r.Run.Points)+len(r.Run.Outcomes) == 0 {
				return nil
			}
		}
		return []block{&paragraph{Label: s.say("Not judged"), Text: s.allJudged()}}
	}
	return []block{t}
}

func (s *Sheet) allJudged() string {
	if s.hasOthers() {
		return s.say("Every point that was taken, and every finding of another measurement that has a limit, has a verdict.")
	}
	return s.say("Every point that was taken has a verdict.")
}

// lastAdjusted is the date, or what the limit supposes where nobody stated one; a
// bare sheet has no limits.
func (r run) lastAdjusted(bare bool) string {
	if at := r.Job.Adjusted.String(); at != "" {
		return at
	}
	if strings.HasPrefix(r.Run.Timebase, "ageing ") && !bare {
		return r.say("not stated; the limit allows the ageing of the whole interval that the procedure states")
	}
	return r.say("not stated")
}

// conditions is one column a run: what may differ between runs.
func (s *Sheet) conditions() block {
	t := &table{Title: s.say("Runs and conditions"), Columns: []column{{Head: ""}}}
	for _, r := range s.runs {
		t.Columns = append(t.Columns, column{Head: r.label})
	}
	for _, line := range []struct {
		name key
		f    func(run) string
	}{
		{"Record", func(r run) string { return s.stated(r.ID) + r.follows() }},
		{"Performed", func(r run) string { return r.period(r.Run.Started, r.Run.Finished) }},
		{"Ambient temperature", func(r run) string { return conditionOf(r, r.Job.Temperature) }},
		{"Relative humidity", func(r run) string { return conditionOf(r, r.Job.Humidity) }},
		{"Ambient temperature, measured", func(r run) string {
			return measured(r, func(a runner.Ambient) *quantity.Temperature { return a.Temperature })
		}},
		{"Relative humidity, measured", func(r run) string {
			return measured(r, func(a runner.Ambient) *quantity.Ratio { return a.Humidity })
		}},
		{"Mains voltage", func(r run) string { return optional(r, r.Job.Mains) }},
		{"Unit on, before the first point", func(r run) string { return r.positive(r.Run.OnFor) }},
		{"Warm-up", func(r run) string { return r.warmUpEnded() }},
		{"Timebase last adjusted", func(r run) string { return r.lastAdjusted(s.isBare()) }},
		{"Work since the earlier run", func(r run) string { return r.Job.Work }},
		{"Remarks", func(r run) string { return r.Job.Remarks }},
		{"Bench", func(r run) string { return s.stated(r.Bench.Name) + r.fileHash(r.Bench.SHA256) }},
		{"Procedure file", func(r run) string {
			return s.stated(r.Record.Procedure.File) + prefixed(", SHA-256 ", r.Record.Procedure.SHA256)
		}},
		{"Software", func(r run) string {
			return s.stated(join(" ", r.Program.Name, r.Program.Version)) + r.builtWith()
		}},
	} {
		row := []cell{{Text: s.say(line.name)}}
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

// follows names the earlier record, where there is one.
func (r run) follows() string {
	if r.Follows == "" {
		return ""
	}
	return r.say(", follows %s", r.Follows)
}

func (r run) fileHash(sha256 string) string {
	if sha256 == "" {
		return ""
	}
	return r.say(", file SHA-256 %s", sha256)
}

func (r run) builtWith() string {
	if r.Program.Go == "" {
		return ""
	}
	return r.say(", built with %s", r.Program.Go)
}

// conditionOf is a condition as the job states it, in an empty place where a
// thermometer told it instead.
func conditionOf[D quantity.Dimension](r run, v *quantity.Value[D]) string {
	if v == nil && len(r.Run.Ambient) > 0 {
		return ""
	}
	return optional(r, v)
}

// optional writes a quantity that the job may leave out.
func optional[D quantity.Dimension](r run, v *quantity.Value[D]) string {
	if v == nil {
		return r.say("not stated")
	}
	return r.q(v)
}

// positive writes a time that zero leaves unstated.
func (r run) positive(d quantity.Duration) string {
	if d.Sign() <= 0 {
		return r.say("not stated")
	}
	return r.q(d)
}

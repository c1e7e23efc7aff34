package sheet

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/runner"
)

// standards lists what the results are traceable to, once where runs agree.
func (s *Sheet) standards() block {
	t := &table{Title: "Standards used", Columns: []column{{Head: "Standard"}, {Head: "Role"}, {Head: "Maker, model, serial number"}, {Head: "Certificate"},
		{Head: "Calibrated"}, {Head: "Due"}, {Head: "Stated uncertainty or accuracy"}, {Head: "Run"}}}
	at := map[string]int{}
	for _, r := range s.runs {
		for _, x := range r.Standards {
			due, m := stated(x.Due.String()), plain
			if x.Overdue {
				due, m = due+" "+failed.flag()+" overdue at the time of the run", failed
			}
			row := []cell{{Text: stated(x.Name)}, {Text: stated(x.Role)}, {Text: stated(join(", ", x.Maker, x.Model, x.Serial))}, {Text: stated(x.Certificate)},
				{Text: stated(x.Calibrated.String())}, {due, m}, {Text: stated(x.Stated)}}
			key := rowKey(row)
			if k, seen := at[key]; seen {
				t.Rows[k][7].Text += ", " + strings.ToLower(r.label)
				continue
			}
			at[key] = len(t.Rows)
			t.Rows = append(t.Rows, append(row, cell{Text: r.label}))
		}
	}
	all := strings.Join(s.labels(), ", ")
	for k := range t.Rows {
		if t.Rows[k][7].Text == all {
			t.Rows[k][7].Text = "all"
		}
	}
	if len(t.Rows) == 0 {
		return &notice{Alert: true, Title: "No standard stated", Lines: []string{"The record names no standard: the results are traceable to nothing."}}
	}
	return t
}

// labels of the runs in a row, as in the middle of a sentence but the first.
func (s *Sheet) labels() []string {
	var list []string
	for k, r := range s.runs {
		l := r.label
		if k > 0 {
			l = strings.ToLower(l)
		}
		list = append(list, l)
	}
	return list
}

// rowKey tells whether two rows say the same.
func rowKey(row []cell) string {
	var list []string
	for _, c := range row {
		list = append(list, c.Text)
	}
	return fmt.Sprintf("%q", list)
}

// statements are what the sheet says about all results alike.
func (s *Sheet) statements() []block {
	b := []block{
		&paragraph{Label: "Reference topology", Text: strings.Join(s.labelled(topology), "\n")},
		&paragraph{Label: "Uncertainty", Text: "The stated U is the expanded uncertainty of the error: the combined standard uncertainty (JCGM 100) times the coverage factor k " +
			"that gives a coverage probability of about 95 % (95.45 %; k = 2 for many effective degrees of freedom, otherwise from Student's t and noted below the table). " +
			"It holds reference, source and path, and the unit's own resolution or, where larger, its repeatability during the run. Repeatability is known only at points with more than one reading " +
			"and enters only where those scatter by more than one count; elsewhere U holds none. U holds no later drift, transport or use." + s.otherU()},
	}
	if w := s.warnings(); len(w) > 0 {
		b = append(b, &notes{Title: "Warnings", Lines: w})
	}
	return append(b, &paragraph{Label: "Integrity", Text: s.integrity()})
}

// otherU says what U is where no error of a frequency is meant.
func (s *Sheet) otherU() string {
	if !s.hasOthers() {
		return ""
	}
	return ` For the other measurements U is that of what was found; its parts stand under "Behind the other measurements".`
}

// integrity says what the record ids are good for, and what this sheet can't
// show.
func (s *Sheet) integrity() string {
	text := "The record id identifies the record, which the store keeps unchanged; "
	if len(s.runs) > 1 {
		text = "Each record id identifies a record, which the store keeps unchanged; "
	}
	if s.chain == nil {
		return text + "whether records were left out can't be told from this sheet alone."
	}
	return text + s.saying(*s.chain)
}

// topology is the sentence on what unit and source run from, by source.
func topology(r run) string {
	var names []string
	for name := range r.Run.Topology {
		names = append(names, name)
	}
	sort.Strings(names)
	var says []string
	by := map[string][]string{}
	for _, name := range names {
		t := r.Run.Topology[name].Says
		if !slices.Contains(says, t) {
			says = append(says, t)
		}
		by[t] = append(by[t], name)
	}
	for k, t := range says {
		says[k] = "Source " + strings.Join(by[t], ", ") + ": " + t
	}
	return stated(strings.Join(says, " "))
}

func (s *Sheet) signers() []item {
	name := join(", ", slices.Compact(names(s.runs))...)
	return []item{{"Performed by", name}, {"Checked by", ""}}
}

func names(runs []run) []string {
	var list []string
	for _, r := range runs {
		list = append(list, r.Job.Technician)
	}
	return list
}

// back holds what people did and must take care of.
func (s *Sheet) back() []block {
	var b []block
	b = append(b, &heading{Level: 1, Text: "Entries, events and cautions"})
	if t := s.journal(); len(t.Rows) > 0 {
		b = append(b, t)
	} else {
		b = append(b, &paragraph{Label: "Entries and events", Text: "None."})
	}
	return append(b, &notes{Title: "Cautions", Lines: s.cautions()})
}

// journal lists entries and events in order of time.
func (s *Sheet) journal() *table {
	t := &table{Title: "Entries by people, and events", Columns: []column{{Head: "Time"}, {Head: "Run"}, {Head: "Who"}, {Head: "Asked, or what happened"}, {Head: "Answer"}}}
	for _, r := range s.runs {
		type line struct {
			at  time.Time
			row []cell
		}
		var lines []line
		for _, e := range r.Run.Entries {
			lines = append(lines, line{e.At, []cell{{Text: moment(e.At)}, {Text: r.label}, {Text: stated(e.Who)}, {Text: asked(e)}, {Text: stated(e.Answer)}}})
		}
		for _, e := range r.Run.Events {
			lines = append(lines, line{e.At, []cell{{Text: moment(e.At)}, {Text: r.label}, {Text: "program"}, {Text: e.Text}, {Text: ""}}})
		}
		sort.SliceStable(lines, func(a, b int) bool { return lines[a].at.Before(lines[b].at) })
		for _, l := range lines {
			t.Rows = append(t.Rows, l.row)
		}
	}
	return t
}

// asked is what was asked, and when, where the answer took its time.
func asked(e runner.Entry) string {
	if e.AskedAt.IsZero() || e.At.Sub(e.AskedAt) < time.Minute {
		return e.Asked
	}
	return e.Asked + " (asked " + moment(e.AskedAt) + ")"
}

// cautions lists the cautions of the records, or the usual ones where they hold
// none. The one on local codes leads, and what says the same as an earlier one
// is left out.
func (s *Sheet) cautions() []string {
	var all []string
	for _, r := range s.runs {
		all = append(all, r.Cautions...)
	}
	if len(all) == 0 {
		all = record.UsualCautions()
	}
	codes := slices.IndexFunc(all, onLocalCodes)
	lead := record.UsualCautions()[0]
	if codes >= 0 {
		lead = all[codes]
	}
	list := []string{lead}
	for _, c := range all {
		if !onLocalCodes(c) && !slices.ContainsFunc(list, func(x string) bool { return sameCaution(x, c) }) {
			list = append(list, c)
		}
	}
	return list
}

// onLocalCodes tells whether a caution says no more than that local codes come
// first: it begins with them and is one sentence.
func onLocalCodes(c string) bool {
	c = strings.TrimSuffix(strings.TrimSpace(c), ".")
	return strings.HasPrefix(strings.ToLower(c), "local codes") && !strings.Contains(c, ". ")
}

func sameCaution(a, b string) bool {
	tidy := func(s string) string {
		return strings.ToLower(strings.TrimSuffix(strings.Join(strings.Fields(s), " "), "."))
	}
	return tidy(a) == tidy(b)
}

// inputNames lists the inputs of all runs in order.
func (s *Sheet) inputNames() []string {
	var list []string
	add := func(name string) {
		if !slices.Contains(list, name) {
			list = append(list, name)
		}
	}
	for _, r := range s.runs {
		for _, name := range r.inputNames() {
			add(name)
		}
	}
	return list
}

// inputNames lists the inputs of one run in order.
func (r run) inputNames() []string {
	var list []string
	seen := map[string]bool{}
	add := func(name string) {
		if !seen[name] {
			seen[name] = true
			list = append(list, name)
		}
	}
	for _, in := range r.Run.Inputs {
		add(in.Input.Name)
	}
	for _, p := range r.Run.Points {
		add(p.Point.Input)
	}
	for _, o := range r.Run.Outcomes {
		if o.Task.Input != "" {
			add(o.Task.Input)
		}
	}
	return list
}

func (s *Sheet) rangeOf(name string) string {
	if in, ok := s.input(name); ok {
		return in.Range[0].Grouped() + " to " + in.Range[1].Grouped()
	}
	return "not stated"
}

func (s *Sheet) input(name string) (procedures.Input, bool) {
	for _, r := range s.runs {
		if in, ok := r.input(name); ok {
			return in.Input, true
		}
	}
	return procedures.Input{}, false
}

func (r run) input(name string) (runner.InputResult, bool) {
	for _, in := range r.Run.Inputs {
		if in.Input.Name == name {
			return in, true
		}
	}
	return runner.InputResult{}, false
}

func (r run) points(input string) []runner.PointResult {
	var list []runner.PointResult
	for _, p := range r.Run.Points {
		if p.Point.Input == input {
			list = append(list, p)
		}
	}
	return list
}

// moment writes date, time of day and zone as recorded.
func moment(t time.Time) string {
	if t.IsZero() {
		return "not stated"
	}
	return strings.Replace(t.Format("2006-01-02 15:04 -07:00"), "+00:00", "UTC", 1)
}

func period(from, to time.Time) string {
	if from.IsZero() && to.IsZero() {
		return "not stated"
	}
	return moment(from) + " to " + moment(to)
}

func day(t time.Time) string {
	if t.IsZero() {
		return "not stated"
	}
	return t.Format(time.DateOnly)
}

// days writes one date, or two where a run went over midnight.
func days(from, to time.Time) string {
	a, b := day(from), day(to)
	if a == b || to.IsZero() {
		return a
	}
	return a + " to " + b
}

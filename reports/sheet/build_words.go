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
	t := &table{Title: s.say("Standards used"), Columns: []column{{Head: s.say("Standard")}, {Head: s.say("Role")}, {Head: s.say("Maker, model, serial number")}, {Head: s.say("Certificate")},
		{Head: s.say("Calibrated")}, {Head: s.say("Due")}, {Head: s.say("Stated uncertainty or accuracy")}, {Head: s.say("Run")}}}
	at := map[string]int{}
	for _, r := range s.runs {
		for _, x := range r.Standards {
			due, m := s.stated(x.Due.String()), plain
			if x.Overdue {
				due, m = due+" "+failed.flag()+" "+s.say("overdue at the time of the run"), failed
			}
			row := []cell{{Text: s.stated(x.Name)}, {Text: s.stated(s.word(x.Role))}, {Text: s.stated(join(", ", x.Maker, x.Model, x.Serial))}, {Text: s.stated(x.Certificate)},
				{Text: s.stated(x.Calibrated.String())}, {due, m}, {Text: s.stated(s.word(x.Stated))}}
			key := rowKey(row)
			if k, seen := at[key]; seen {
				t.Rows[k][7].Text += ", " + r.inline
				continue
			}
			at[key] = len(t.Rows)
			t.Rows = append(t.Rows, append(row, cell{Text: r.label}))
		}
	}
	all := strings.Join(s.labels(), ", ")
	for k := range t.Rows {
		if t.Rows[k][7].Text == all {
			t.Rows[k][7].Text = s.say("all")
		}
	}
	if len(t.Rows) == 0 {
		return &notice{Alert: true, Title: s.say("No standard stated"), Lines: []string{s.say("The record names no standard: the results are traceable to nothing.")}}
	}
	return t
}

// labels of the runs in a row, as in the middle of a sentence but the first.
func (s *Sheet) labels() []string {
	var list []string
	for k, r := range s.runs {
		l := r.label
		if k > 0 {
			l = r.inline
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
		&paragraph{Label: s.say("Uncertainty"), Text: s.say("The stated U is the expanded uncertainty of the error: the combined standard uncertainty (JCGM 100) times the coverage factor k "+
			"that gives a coverage probability of about 95 %% (%[1]s %%; k = 2 for many effective degrees of freedom, otherwise from Student's t and noted below the table). "+
			"It holds reference, source and path, and the unit's own resolution or, where larger, its repeatability during the run. Repeatability is known only at points with more than one reading, "+
			"and enters where it makes U larger than the resolution does; elsewhere U holds none. U holds no later drift, transport or use.", s.number("95.45")) + s.otherU()},
	}
	if w := s.warnings(); len(w) > 0 {
		b = append(b, &notes{Title: s.say(warningsTitle), Lines: w})
	}
	return append(b, &paragraph{Label: s.say("Integrity"), Text: strings.Join(append([]string{s.integrity()}, s.sealTexts()...), "\n")})
}

// otherU says what U is where no error of a frequency is meant.
func (s *Sheet) otherU() string {
	if !s.hasOthers() {
		return ""
	}
	return " " + s.say(`For the other measurements U is that of what was found; its parts stand under "%s".`, s.say(behindOthersTitle))
}

// integrity says what the record ids are good for, and what this sheet can't
// show.
func (s *Sheet) integrity() string {
	rest := s.say("whether records were left out can't be told from this sheet alone.")
	if s.chain != nil {
		rest = s.saying(*s.chain)
	}
	if len(s.runs) > 1 {
		return s.say("Each record id identifies a record, which the store keeps unchanged; %s", rest)
	}
	return s.say("The record id identifies the record, which the store keeps unchanged; %s", rest)
}

// topology is the sentence on what unit and source run from, by source.
func (r run) topology() string {
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
		says[k] = r.say("Source %[1]s: %[2]s", strings.Join(by[t], ", "), r.word(t))
	}
	return r.stated(strings.Join(says, " "))
}

func (s *Sheet) signers() []item {
	name := join(", ", slices.Compact(names(s.runs))...)
	return []item{{s.say("Performed by"), name}, {s.say("Checked and authorised by"), s.last().Job.Authorised}}
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
	b = append(b, &heading{Level: 1, Text: s.say("Entries, events and cautions"), Apart: true})
	if t := s.journal(); len(t.Rows) > 0 {
		b = append(b, t)
	} else {
		b = append(b, &paragraph{Label: s.say("Entries and events"), Text: s.say("None.")})
	}
	return append(b, &notes{Title: s.say("Cautions"), Lines: s.cautions()})
}

// journal lists entries and events in order of time.
func (s *Sheet) journal() *table {
	t := &table{Title: s.say("Entries by people, and events"), Columns: []column{{Head: s.say("Time")}, {Head: s.say("Run")}, {Head: s.say("Who")}, {Head: s.say("Asked, or what happened")}, {Head: s.say("Answer")}}}
	for _, r := range s.runs {
		type line struct {
			at  time.Time
			row []cell
		}
		var lines []line
		for _, e := range r.Run.Entries {
			lines = append(lines, line{e.At, []cell{{Text: r.moment(e.At)}, {Text: r.label}, {Text: s.stated(e.Who)}, {Text: r.asked(e)}, {Text: s.stated(e.Answer)}}})
		}
		for _, e := range r.Run.Events {
			lines = append(lines, line{e.At, []cell{{Text: r.moment(e.At)}, {Text: r.label}, {Text: s.say("program")}, {Text: s.word(e.Text)}, {Text: ""}}})
		}
		sort.SliceStable(lines, func(a, b int) bool { return lines[a].at.Before(lines[b].at) })
		for _, l := range lines {
			t.Rows = append(t.Rows, l.row)
		}
	}
	return t
}

// asked is what was asked, and when, where the answer took its time.
func (r run) asked(e runner.Entry) string {
	if e.AskedAt.IsZero() || e.At.Sub(e.AskedAt) < time.Minute {
		return r.word(e.Asked)
	}
	return r.say("%[1]s (asked %[2]s)", r.word(e.Asked), r.moment(e.AskedAt))
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
	for k, c := range list {
		list[k] = s.word(c)
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
		for _, name := range r.Run.InputNames() {
			add(name)
		}
	}
	return list
}

func (s *Sheet) rangeOf(name string) string {
	if in, ok := s.input(name); ok {
		return s.to(s.q(in.Range[0]), s.q(in.Range[1]))
	}
	return s.say("not stated")
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

func (r run) points(input string) []*runner.PointResult {
	var list []*runner.PointResult
	for k := range r.Run.Points {
		if p := &r.Run.Points[k]; p.Point.Input == input {
			list = append(list, p)
		}
	}
	return list
}

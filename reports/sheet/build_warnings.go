package sheet

import (
	"slices"
	"strings"

	"bandproof/reports/record"
	"bandproof/runner"
)

// warningsTitle heads all warnings.
const warningsTitle key = "Warnings"

// mostTrust is how many warnings stand on the first page.
const mostTrust = 5

// overdue names the standards that were past their date; "" for none.
func (r run) overdue() string {
	var list []string
	for _, x := range r.Standards {
		if x.Overdue {
			list = append(list, r.say(`"%[1]s" (due %[2]s%[3]s)`, x.Name, r.stated(x.Due.String()), r.accepted(x.Name)))
		}
	}
	for _, o := range r.Run.Overdue { // such as a switch, which is no standard of a result
		if !slices.ContainsFunc(r.Standards, func(x record.Standard) bool { return x.Overdue && x.Name == o.Name }) {
			list = append(list, r.say(`"%[1]s" (due %[2]s%[3]s)`, o.Name, r.stated(o.Due.Due.String()), r.accepted(o.Name)))
		}
	}
	if len(list) == 0 {
		return ""
	}
	return r.say("standards overdue at the time of the run: %[2]s", r.count(len(list)), strings.Join(list, ", "))
}

// accepted says who let an overdue standard be used, or that its date passed
// during the run; "" where the record says neither.
func (r run) accepted(name string) string {
	for _, o := range r.Run.Overdue {
		switch {
		case o.Name != name:
		case !o.Lapsed.IsZero():
			return r.say("; it passed during the run, noticed at %s", r.moment(o.Lapsed))
		default:
			return r.say("; accepted by %[1]s, %[2]s", r.stated(o.By), r.moment(o.At))
		}
	}
	return ""
}

// otherIdentity says where the unit states another model or serial number than
// procedure and job do. A serial number of 0 stands for none (IEEE 488.2, from
// memory).
func (r run) otherIdentity() []string {
	u := r.Run.Unit
	if !u.Stated {
		return nil
	}
	var list []string
	if u.Model != "" && r.Model != "" && u.Model != r.Model {
		list = append(list, r.say(`the unit states model "%[1]s", the procedure "%[2]s"`, u.Model, r.Model))
	}
	if u.Serial != "" && u.Serial != "0" && r.Job.Serial != "" && u.Serial != r.Job.Serial {
		list = append(list, r.say(`the unit states serial number "%[1]s", the job "%[2]s"`, u.Serial, r.Job.Serial))
	}
	return list
}

// raised tells whether a warning came up during the run rather than at
// planning: the run keeps those as events too. They are about the identity of
// the unit, references, held readings and RF that could not be switched off.
func (r run) raised(warning string) bool {
	for _, e := range r.Run.Events {
		if e.Text == "warning: "+warning {
			return true
		}
	}
	return false
}

// about tells whether a warning is the plan's own on an overdue standard, which
// the sheet words itself.
func about(x record.Standard, warning string) bool {
	return x.Overdue && x.Name != "" && strings.Contains(warning, x.Name) && strings.Contains(warning, "calibration was due on "+x.Due.String())
}

// onOverdue tells whether a warning says what overdue says.
func (r run) onOverdue(warning string) bool {
	return slices.ContainsFunc(r.Standards, func(x record.Standard) bool { return about(x, warning) })
}

// grave are the warnings on which it depends whether the results can be relied
// on, the gravest first.
func (r run) grave() []string {
	list := r.otherIdentity()
	for _, w := range r.Run.Warnings {
		if r.raised(w) && !slices.ContainsFunc(r.Run.Changes, func(c runner.Change) bool { return c.String() == w }) { // those have a box of their own
			list = append(list, r.word(w))
		}
	}
	if x := r.overdue(); x != "" {
		list = append(list, x)
	}
	return list
}

// trust is a box for the first page with the grave warnings.
func (s *Sheet) trust() *notice {
	var m merged
	for _, r := range s.runs {
		for _, w := range r.grave() {
			m.add(r, w)
		}
	}
	n := &notice{Alert: true, Title: s.say("Warnings that bear on trust in the results")}
	for _, l := range append(s.doubtful(), m.lines(s.words)...) {
		if len(n.Lines) == mostTrust {
			n.Lines = append(n.Lines, s.say(`More stand under "%s".`, s.say(warningsTitle)))
			break
		}
		n.Lines = append(n.Lines, s.short(l))
	}
	return n
}

// warnings are all of them, the grave ones of each run first.
func (s *Sheet) warnings() []string {
	var m merged
	for _, r := range s.runs {
		for _, w := range r.grave() {
			m.add(r, w)
		}
		for _, w := range r.Run.Warnings {
			if !r.onOverdue(w) {
				m.add(r, r.word(w))
			}
		}
	}
	return append(s.doubtful(), m.lines(s.words)...)
}

// doubtful are the remarks on whether the records belong together.
func (s *Sheet) doubtful() []string {
	var list []string
	for _, d := range s.doubts {
		list = append(list, s.saying(d))
	}
	return list
}

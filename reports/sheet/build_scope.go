package sheet

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// isBare tells that the sheet states no conformity for a run.
func (s *Sheet) isBare() bool {
	return slices.ContainsFunc(s.runs, func(r run) bool { return r.Job.Conformity == "no" })
}

// dueItem is the date of the next calibration, where the customer agreed to one.
func (s *Sheet) dueItem() []item {
	j := s.last().Job
	if j.Due.IsZero() || j.DueAgreed == "" {
		return nil
	}
	return []item{{s.say("Next calibration due"), s.say("%[1]s, as agreed with the customer (%[2]s)", j.Due.String(), j.DueAgreed)}}
}

// notReleased says that the unit leaves uncalibrated.
func (s *Sheet) notReleased() []block {
	why := s.last().Job.NotReleased
	if why == "" {
		return nil
	}
	text := s.say("The unit is not released as calibrated: %s.", strings.TrimSuffix(why, "."))
	if s.asFoundOnly() {
		text += " " + s.say("This sheet reports how it was received, and nothing else.")
	}
	return []block{&notice{Alert: true, Title: s.say("Not released"), Lines: []string{text}}}
}

// asFoundOnly tells whether there is no other run than that of the unit as received.
func (s *Sheet) asFoundOnly() bool { return len(s.runs) == 1 && s.runs[0].Run.Kind == runner.AsFound }

// scope names what this calibration leaves out, in the words in which label and
// sheet show it.
func (s *Sheet) scope() (list []string) {
	for _, x := range s.last().Job.Limited {
		list = append(list, s.say("%[1]s: %[2]s (agreed: %[3]s)", x.What, x.Why, x.Agreed))
	}
	var m merged
	for _, r := range s.runs {
		if len(r.Run.Only) > 0 {
			m.add(r, s.say("only %s were taken", strings.Join(r.Run.Only, ", ")))
		}
		for _, in := range r.Run.Inputs {
			for _, x := range in.NotShown {
				m.add(r, s.say("input %[1]s from %[2]s not shown: %[3]s", x.Input, s.to(s.q(x.From), s.q(x.To)), s.stated(s.word(x.Reason))))
			}
		}
	}
	return append(list, m.linesOf(s.words, len(s.runs))...)
}

// limited frames the scope on the first page; nil where nothing limits it.
func (s *Sheet) limited() []block {
	list := s.scope()
	if len(list) == 0 {
		return nil
	}
	const most = 6
	if len(list) > most {
		list = append(list[:most-1], s.say("and %s more, see what was not shown.", s.count(len(list)-most+1)))
	}
	return []block{&notice{Title: s.say("Limited scope: not part of this calibration"), Lines: list}}
}

// linesOf leaves the labels out where all of so many runs say the same.
func (m *merged) linesOf(w *words, runs int) []string {
	list := m.lines(w)
	for k, text := range m.order {
		if len(m.labels[text]) == runs {
			list[k] = capital(text)
		}
	}
	return list
}

// basis sums up on the first page what the results rest on.
func (s *Sheet) basis() block {
	return &grid{Columns: 3, Small: true, Items: []item{
		{s.say("Standards (see below)"), strings.Join(s.labelled(run.standardNames), "\n")},
		{s.say("Conditions"), strings.Join(s.labelled(run.conditions), "\n")},
		{s.say("Reference topology"), strings.Join(s.labelled(run.topology), "\n")},
	}}
}

// standardNames are those of references, which the rest hangs on, and of what
// else was used.
func (r run) standardNames() string {
	var list []string
	for _, x := range r.Standards {
		name := x.Name
		if x.Certificate != "" {
			name += fmt.Sprintf(" (%s)", x.Certificate)
		}
		list = append(list, name)
	}
	return r.stated(strings.Join(list, ", "))
}

// conditions are temperature and humidity, as measured where they were.
func (r run) conditions() string {
	return join(", ", r.condition(conditionOf(r, r.Job.Temperature), measured(r, func(a runner.Ambient) *quantity.Temperature { return a.Temperature })),
		r.condition(conditionOf(r, r.Job.Humidity), measured(r, func(a runner.Ambient) *quantity.Ratio { return a.Humidity })))
}

func (r run) condition(stated, measured string) string {
	if measured != "" {
		return measured
	}
	return stated
}

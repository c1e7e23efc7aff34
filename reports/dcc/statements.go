package dcc

import (
	"fmt"
	"slices"

	"bandproof/procedures/decision"
	"bandproof/runner"
)

// statements are those on the certificate as a whole and on the runs one by one.
func (c *Certificate) statements() []statement {
	var list []statement
	add := func(s statement) { list = append(list, s) }
	if c.any(func(r run) bool { return r.Invented }) {
		add(statement{RefType: refInvented, Declaration: titled("Invented data", "Invented data: virtual bench, not a calibration of any real unit.")})
	}
	if !c.v.IssueDate {
		add(statement{RefType: refIssued, Declaration: titled("Date of issue", c.issued()), Date: c.issued()})
	}
	add(statement{RefType: refOnlyThisItem, Declaration: say("The results relate only to the item identified in this certificate, and to the time of the runs.")})
	add(c.traceability())
	for _, r := range c.runs {
		add(r.conformity())
	}
	if s := c.whichRuns(); s != "" {
		add(statement{RefType: refScope, Declaration: titled("Runs on this certificate", s)})
	}
	for _, r := range c.runs {
		if lines := r.notShown(); lines != nil {
			add(statement{RefType: refScope, Declaration: titled(r.label+": not shown", append([]string{"Planned out, because the bench can't show it; no part of the statement of conformity:"}, lines...)...)})
		}
	}
	for _, r := range c.runs {
		if lines := r.alterations(); lines != nil {
			add(statement{RefType: refAltered, Declaration: titled(r.label+": work on the unit since the earlier run", lines...)})
		}
	}
	add(statement{RefType: refUncertainty, Norms: []string{"JCGM 100:2008"}, Declaration: titled("Uncertainty and digits",
		"The uncertainty of an error is the expanded uncertainty: the combined standard uncertainty times the coverage factor k for a coverage probability of 95.45 %. "+
			"It holds reference, source and path, and the unit's own resolution or, where larger, its repeatability during the run. It holds no later drift, transport or use. "+
			"The decision uncertainty, by which verdicts go, is expanded too and leaves out the resolution that the limit allows already.",
		"Values and uncertainties are given unrounded for further computation (JCGM 100:2008 7.2.6); an enclosed data sheet has them rounded.")})
	if c.last().Job.Asset != "" || c.last().Job.Options != "" || c.last().Job.Customer != "" {
		add(statement{RefType: refByCustomer, Declaration: say("Asset number, options, and name and contact of the customer are as the customer states them; the laboratory has not verified them.")})
	}
	return append(append(list, c.agreements()...), c.revision()...)
}

// states tells whether the run states conformity: the customer may have agreed
// to a report without it.
func (r run) states() bool { return r.Job.Conformity != "no" }

// traceability names the standards of all runs; the results lead to each by its id.
func (c *Certificate) traceability() statement {
	s := statement{RefType: refTraceable, Traceable: true}
	var lines []string
	for _, r := range c.runs {
		s.Traceable = s.Traceable && r.traceable()
		for _, x := range r.Standards {
			text := join(", ", x.Name+" ("+x.Role+")", prefixed("certificate ", x.Certificate), prefixed("calibrated ", x.Calibrated.String()))
			if x.Overdue {
				text += ", past its due date at the time of the run"
			}
			lines = append(lines, text)
		}
	}
	if lines == nil {
		s.Declaration = titled("Traceability", "The records name no standard: the results are traceable to nothing.")
		return s
	}
	first := "Frequencies are traceable to the International System of Units (SI) through the certificates of these standards:"
	if !s.Traceable {
		first = "Traceability to the International System of Units (SI) is not claimed: a certificate is missing, or out of date. Standards that the results rest on:"
	}
	if c.any(func(r run) bool { return r.Invented }) {
		s.Traceable, first = false, "Invented standards:"
	}
	s.Declaration = titled("Traceability", append([]string{first}, once(lines)...)...)
	return s
}

// traceable tells whether what the frequencies of a run rest on has a
// certificate that held: its references, or its sources where it has none.
func (r run) traceable() bool {
	for _, role := range []string{"reference", "source"} {
		found, good := false, true
		for _, x := range r.Standards {
			if x.Role == role {
				found, good = true, good && word(x.Certificate) != "" && !x.Calibrated.IsZero() && !x.Overdue
			}
		}
		if found {
			return good
		}
	}
	return false
}

// rule is the id of a run's statement of conformity, which its results refer to.
func (r run) rule() string { return r.id + "-conformity" }

// conformity is the statement on one run: runs are never merged.
func (r run) conformity() statement {
	s := statement{ID: r.rule(), RefType: refConformity}
	if !r.states() {
		s.Declaration = titled(r.label+": no statement of conformity", "Results without a statement of conformity, as agreed with the customer.")
		return s
	}
	word := string(r.Run.Statement)
	if word == "" {
		word = "no statement"
	}
	lines := []string{"The unit is " + word + "."}
	switch r.Run.Statement {
	case runner.Incomplete, "":
		lines[0] = "The run is incomplete: no statement of conformity is made."
	case runner.NotObtainable:
		lines[0] = "Not obtainable: the unit gives no readings at all; this counts as outside tolerance. Symptom: " + stated(r.Run.Symptom) + "."
	}
	if !r.Run.Complete {
		lines = append(lines, "The run ended before its plan did: "+stated(r.Run.Ended)+".")
	}
	lines = append(lines, r.counts(),
		fmt.Sprintf("Specification: as laid down in procedure %q, revision %s. Timebase as specified: %s.", r.Procedure.Name, stated(r.Procedure.Revision), stated(r.Run.Timebase)),
		"Decision rule: "+r.Run.Rule.String()+". Verdicts compare unrounded values; a point passes only if its mean error passes by the rule and no single reading lies outside the limit.")
	if len(r.Run.Only) > 0 {
		lines = append(lines, "Added run of single points and measurements: it says nothing of the rest of the specified range, and does not take the place of a run of the whole procedure.")
	}
	for _, x := range r.Run.Changes {
		lines = append(lines, fmt.Sprintf("The unit changed within the run: point %s was %s, and later %s.", x.Point, x.Earlier, x.Later))
	}
	s.Declaration = titled(r.label+": statement of conformity", lines...)
	s.Conformity = r.overall()
	return s
}

// overall is the worst verdict in scope, as the word of the schema; "" where no
// statement can be made.
func (r run) overall() string {
	worst := decision.Pass
	for v := range r.verdicts() {
		if slices.Index(fromBest, v.Word) > slices.Index(fromBest, worst) {
			worst = v.Word
		}
	}
	switch r.Run.Statement {
	case runner.NotObtainable:
		return conformityWords[decision.Fail]
	case runner.Outside: // also where the unit changed within the run
		if worst != decision.ConditionalFail || len(r.Run.Changes) > 0 {
			worst = decision.Fail
		}
		return conformityWords[worst]
	case runner.WithinAll, runner.WithinShown, runner.WithinPoints:
		return conformityWords[worst]
	}
	return ""
}

// fromBest orders the verdicts on a unit.
var fromBest = []decision.Word{decision.Pass, decision.ConditionalPass, decision.ConditionalFail, decision.Fail}

// verdicts gives the verdict of each point and of each judged finding.
func (r run) verdicts() func(func(decision.Verdict) bool) {
	return func(yield func(decision.Verdict) bool) {
		for k := range r.Run.Points {
			if !yield(r.Run.Points[k].Verdict) {
				return
			}
		}
		for _, o := range r.Run.Outcomes {
			for _, x := range o.Rows {
				if x.Verdict.Word != "" && !yield(x.Verdict) {
					return
				}
			}
		}
	}
}

// conformityWords are the schema's; it has none for what was not judged.
var conformityWords = map[decision.Word]string{decision.Pass: "pass", decision.ConditionalPass: "conditionalPass",
	decision.ConditionalFail: "conditionalFail", decision.Fail: "fail"}

// counts says how many points and findings have which verdict.
func (r run) counts() string {
	n := map[decision.Word]int{}
	for v := range r.verdicts() {
		n[v.Word]++
	}
	text := fmt.Sprintf("Verdicts on points and findings: %d pass, %d conditional pass, %d conditional fail, %d fail, %d not judged.",
		n[decision.Pass], n[decision.ConditionalPass], n[decision.ConditionalFail], n[decision.Fail], n[decision.NotJudged])
	if left := r.Run.Planned - len(r.Run.Points); left > 0 {
		text += fmt.Sprintf(" Planned points that were not taken: %d.", left)
	}
	if left := r.Run.PlannedTasks - len(r.Run.Outcomes); left > 0 {
		text += fmt.Sprintf(" Planned other measurements that were not taken: %d.", left)
	}
	return text
}

// whichRuns says what status of the unit is not on the certificate.
func (c *Certificate) whichRuns() string {
	has := func(k runner.Kind) bool { return c.any(func(r run) bool { return r.Run.Kind == k }) }
	switch {
	case !has(runner.AsFound):
		return "This certificate holds no as-found run: it does not say how the unit was received."
	case !has(runner.AsLeft):
		return "This certificate holds no as-left run: it says how the unit was released only if nothing was altered since."
	}
	return ""
}

// notShown lists what was planned out.
func (r run) notShown() []string {
	var lines []string
	for _, in := range r.Run.Inputs {
		for _, x := range in.NotShown {
			lines = append(lines, "Input "+in.Input.Name+", "+x.String())
		}
	}
	return lines
}

// alterations say what was done to the unit before a later run.
func (r run) alterations() []string {
	var lines []string
	if r.Job.Work != "" {
		lines = append(lines, r.Job.Work)
	}
	for _, a := range r.Adjustments {
		lines = append(lines, fmt.Sprintf("Timebase adjusted on %s%s: %d tries, target %s, ended: %s.", r.local(a.Started).Format("2006-01-02"),
			prefixed(" by ", a.Who), len(a.Tries), a.Target, stated(a.Ended)))
	}
	if lines == nil && r.Run.Kind != runner.AsFound && r.Follows != "" {
		lines = append(lines, "The record does not say that anything was altered.")
	}
	return lines
}

// revision says which records are corrected ones, what was changed and why.
func (c *Certificate) revision() []statement {
	var list []statement
	for _, r := range c.runs {
		x := r.Corrects
		if x == nil {
			continue
		}
		first := fmt.Sprintf("Record %s takes the place of record %s. Reason: %s. By %s.", r.ID, stated(x.ID), stated(x.Reason), stated(x.Who))
		if x.Withdrawn {
			first = fmt.Sprintf("Record %s withdraws record %s: its results must not be relied on. Reason: %s. By %s.", r.ID, stated(x.ID), stated(x.Reason), stated(x.Who))
		}
		lines := []string{first}
		for _, y := range x.Changes {
			lines = append(lines, fmt.Sprintf("%s was %q, is %q.", y.Path, y.Old, y.New))
		}
		list = append(list, statement{RefType: refRevision, Declaration: titled(r.label+": corrected record", lines...)})
	}
	return list
}

// agreements are what the customer agreed to: a limited scope, a due date.
func (c *Certificate) agreements() []statement {
	var list []statement
	for _, r := range c.runs {
		var lines []string
		for _, x := range r.Job.Limited {
			lines = append(lines, fmt.Sprintf("%s: %s; agreed by %s.", stated(x.What), stated(x.Why), stated(x.Agreed)))
		}
		if lines != nil {
			list = append(list, statement{RefType: refScope, Declaration: titled(r.label+": limited calibration", lines...)})
		}
	}
	if j := c.last().Job; !j.Due.IsZero() && j.DueAgreed != "" {
		list = append(list, statement{RefType: refDue, Declaration: titled("Next calibration", "Due on "+j.Due.String()+", as agreed by "+stated(j.DueAgreed)+"."), Date: j.Due.String()})
	}
	return list
}

package main

import (
	"strings"

	"bandproof/runner"
)

// summary says in a few lines what came out.
func (t *terminal) summary(d finished) {
	if d.Interrupted {
		t.print("%s run %s, not finished: there is no record yet", d.Kind, d.ID)
	} else {
		t.print("%s run, record %s", d.Kind, d.ID)
		t.print("statement: %s", d.Statement)
		if len(d.Only) > 0 {
			t.print("an added run of %s only; it replaces no other", strings.Join(d.Only, ", "))
		}
	}
	if d.Record.Run.Ended != "" {
		t.print("the run ended early: %s", d.Record.Run.Ended)
	}
	if d.Record.Run.Planned > 0 || d.Others == nil {
		t.print("%d of %d points passed, %d failed, %d not judged, %d not taken", d.Passed, d.Record.Run.Planned, d.Failed, d.NotJudged, d.NotTaken)
	}
	if o := d.Others; o != nil {
		t.print("other measurements: %d findings passed, %d failed, %d not judged; %d of %d tasks not taken", o.Passed, o.Failed, o.NotJudged, o.NotTaken, d.Record.Run.PlannedTasks)
	}
	for _, p := range d.Record.Run.Points {
		if !p.Verdict.Good() {
			line := pointLine(p)
			if p.Symptom != "" {
				line += ", " + p.Symptom
			}
			t.print("  %s", line)
		}
	}
	for _, o := range d.Record.Run.Outcomes {
		for _, x := range o.Rows {
			t.print("  %s", rowLine(o, x))
		}
	}
	for _, c := range d.Record.Run.Changes {
		t.print("%s", c)
	}
	for _, i := range d.Record.Run.Inputs {
		t.print("input %s: %.1f %% of the range shown", i.Input.Name, i.Coverage.Share*100)
		for _, n := range i.NotShown {
			t.print("  not shown: %s", n)
		}
		for _, s := range i.Coverage.Open {
			if !s.PlannedOut(i.NotShown) {
				t.print("  open: %s to %s", s.From, s.To)
			}
		}
	}
	if d.NotShown > 0 {
		t.note("note: not all of the specified range was shown, because the bench can't; see above")
	}
	for _, f := range d.Files {
		t.print("wrote %s", f)
	}
	if r := d.Record; r.Run.Kind == runner.AsFound && (r.Run.Statement == runner.Outside || r.Run.Statement == runner.NotObtainable) && r.Job.Conformity != "no" {
		t.print("the owner may have to look at earlier results again: \"bandproof notice %s\" writes what to tell", shortID(r.ID))
	}
	for _, name := range d.Record.Run.RFMayBeOn {
		t.note("CAUTION: RF of source %s may still be ON; switch it off by hand", name)
	}
}

package main

import (
	"strings"

	"bandproof/reports/store"
	"bandproof/runner"
)

// interrupted sums up a run that ended early and says how to go on with it.
func (w sweep) interrupted(result runner.Result) finished {
	d := summarise(w.record(result, ""))
	d.Interrupted, d.Files = true, []string{}
	if len(result.Points)+len(result.Outcomes) == 0 {
		w.terminal.note("nothing was taken")
		return d
	}
	w.terminal.note("what was taken is kept in the journal. To go on:            %s", w.resume(result.ID))
	w.terminal.note("To write the record of what there is, and end the run:      %s --finish", w.resume(result.ID))
	return d
}

// resume is the command that goes on with a run.
func (w sweep) resume(id string) string {
	return "bandproof resume " + shortID(id) + " --store " + quoted(w.store.File())
}

// quoted is a file name as a shell takes it.
func quoted(name string) string {
	if strings.ContainsAny(name, " '\"$&()*;<>?[]`{|}~#\\") {
		return "'" + strings.ReplaceAll(name, "'", `'\''`) + "'"
	}
	return name
}

// resumes says which run goes on.
func (t *terminal) resumes(r *resumed) {
	h := r.header
	t.note("%s run %s, begun %s with %s: %d of %d points taken, last entry %s", h.Kind, shortID(h.ID), h.Started.Local().Format("2006-01-02 15:04"), h.Procedure.Name,
		len(r.earlier.Points)+len(r.earlier.Outcomes), h.Planned, r.earlier.Last.Local().Format("2006-01-02 15:04"))
}

// open says which runs have no record yet.
func (t *terminal) open(list []store.Interrupted, file string, underWay func(id string) bool) {
	for _, i := range list {
		h := i.Header
		if underWay(h.ID) {
			t.note("note: %s run %s is under way: %d of %d points taken", h.Kind, shortID(h.ID), i.Points, h.Planned)
			continue
		}
		if i.Damage != nil {
			t.note("warning: run %s was interrupted and can't be gone on with: its journal is damaged (%v)", shortID(h.ID), i.Damage)
			continue
		}
		t.note("note: %s run %s, begun %s, was interrupted: %d of %d points taken; %q goes on with it", h.Kind, shortID(h.ID), h.Started.Local().Format("2006-01-02 15:04"),
			i.Points, h.Planned, "bandproof resume "+shortID(h.ID)+" --store "+quoted(file))
	}
}

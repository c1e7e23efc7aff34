package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"bandproof/procedures/quantity/tomlfile"
	"bandproof/reports/record"
	"bandproof/runner"
)

// unobtainable makes the record of a unit that no run can be taken from.
func (w sweep) unobtainable(ctx context.Context, symptom string) (finished, error) {
	symptom = strings.TrimSpace(symptom)
	if symptom == "" {
		return finished{}, usage{errors.New("--not-obtainable: say what the unit shows, such as \"no display, no reply\"")}
	}
	if what := tomlfile.NotPlain(symptom); what != "" {
		return finished{}, usage{fmt.Errorf("--not-obtainable: %s", what)}
	}
	started := w.clock.Now()
	plan, err := w.plan(started)
	if err != nil {
		return finished{}, err
	}
	if len(plan.Points)+len(plan.Tasks) == 0 {
		return finished{}, usage{errors.New("the bench can't show any point of this procedure; \"bandproof plan\" tells why")}
	}
	id := w.newID()
	journal, err := w.journal(ctx, id, started, plan, nil)
	if err != nil {
		return finished{}, err
	}
	w.id = func() string { return id }
	got, err := runner.Unobtainable(ctx, runner.Setup{ID: id, Kind: w.kind, Procedure: w.files.procedure, Bench: w.files.bench, Plan: plan, Clock: w.clock,
		Journal: journal, Operator: w.operator, Watcher: w.terminal, Log: w.log, Program: record.Version}, symptom, cmp.Or(w.job.Technician, w.operator.Name()))
	if err != nil {
		return finished{}, err
	}
	return w.keep(context.WithoutCancel(ctx), got)
}

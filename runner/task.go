package runner

import (
	"context"
	"fmt"
	"slices"

	"bandproof/procedures"
	"bandproof/procedures/decision"
)

// kindOf finds who takes a task.
func (r *run) kindOf(t procedures.Task) (MeasureKind, error) {
	for _, k := range r.Setup.Kinds {
		if k.Kind() == t.Kind {
			return k, nil
		}
	}
	return nil, fmt.Errorf("%w: nobody takes measurements of kind %q", ErrBench, t.Kind)
}

// tasks takes the tasks of one stop; at is nil where they need no path.
func (r *run) tasks(ctx context.Context, at *place, list []procedures.Task) error {
	for _, t := range list {
		k, err := r.kindOf(t)
		if err != nil {
			return err
		}
		started := r.Clock.Now()
		o, err := k.Take(ctx, &Station{r: r, at: at, task: t, kept: r.Steps[t.ID]}, t)
		if err != nil {
			return err
		}
		if r.mayComeBack() && wantsPerson(o) {
			return errLater
		}
		o.Task, o.Started = t, started
		if err := r.keepOutcome(ctx, o); err != nil {
			return err
		}
	}
	return nil
}

// giveUpTasks books tasks that could not be tried.
func (r *run) giveUpTasks(ctx context.Context, list []procedures.Task, why decision.Reason, note string) error {
	for _, t := range list {
		o := Outcome{Task: t, Started: r.Clock.Now(), Rows: []Row{NotJudgedRow(t.Measure, why, note)}}
		if err := r.keepOutcome(ctx, o); err != nil {
			return err
		}
	}
	return nil
}

// keepOutcome journals a finished task before anything else happens.
func (r *run) keepOutcome(ctx context.Context, o Outcome) error {
	o.Finished = r.Clock.Now()
	o.Notes = append(slices.Clip(o.Notes), r.lapse(ctx, o.Task.ID, o.Standards)...)
	if err := r.stand(ctx); err != nil {
		return err
	}
	if err := r.Journal.Outcome(ctx, o); err != nil {
		return fmt.Errorf("%w: %s: %w", ErrJournal, o.Task.ID, err)
	}
	r.result.Outcomes = append(r.result.Outcomes, o)
	delete(r.secondsTo, o.Task.ID)
	r.tellFailedRows(o)
	r.Watcher.Measured(o)
	for _, x := range o.Rows {
		r.Log.Info("measured", "task", o.Task.ID, "what", x.What, "verdict", x.Verdict.String(), "says", x.Says)
	}
	return r.interrupt
}

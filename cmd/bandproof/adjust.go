package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/spf13/cobra"
)

func adjustCommand(t *terminal) *cobra.Command {
	var f parkFlags
	var target, notObtainable string
	c := &cobra.Command{
		Use:   "adjust PROCEDURE BENCH --input INPUT --frequency FREQUENCY",
		Short: "adjust the unit's timebase: live error, bar and trend while you turn the trimmer",
		Long: `Adjust the unit's timebase while it reads a signal that is locked to a reference:
error in ppm and Hz, a bar about the target with the tolerance marked, and the
trend. Press Enter after each turn of the trimmer, with a note if you like: it is
kept as a try with the values before and after. q and Enter ends the adjustment.

It opens only when the as-found run of the unit is closed (its record is in the
store), or with --not-obtainable and the symptom where the unit gave no as-found
run. Afterwards an as-left run is due, whose record lists the tries.`,
		Args: exactly(2, "a procedure file and a bench file"),
		RunE: func(c *cobra.Command, args []string) error {
			return adjust(c, t, args[0], args[1], target, notObtainable, f)
		},
	}
	f.all(c, "1 h")
	c.Flags().StringVar(&target, "to", "0 ppm", "relative error of the reading to adjust to, such as \"+0.3 ppm\" (a recommended setting names it)")
	c.Flags().StringVar(&notObtainable, "not-obtainable", "", "there is no as-found run, because of this symptom")
	return c
}

func adjust(c *cobra.Command, t *terminal, procedureFile, benchFile, target, notObtainable string, f parkFlags) error {
	p, err := f.parking(c, t, procedureFile, benchFile, true)
	if err != nil {
		return err
	}
	to, err := quantity.Parse[quantity.One](target)
	if err != nil {
		return usage{fmt.Errorf("--to: %w", err)}
	}
	ctx := c.Context()
	if err := p.open(ctx); err != nil {
		return err
	}
	defer func() { _ = p.store.Close() }()
	p.kind = "adjustment"
	a := &adjusting{p: p, a: record.Adjustment{ID: newEntry(), Target: to, Point: p.point, Procedure: p.files.procedureFile.SHA256, Who: p.operator.Name(), NotObtainable: notObtainable, Tries: []runner.Try{}}}
	t.target = to.Float() * 1e6
	if p.job.Serial != "" { // before anything is opened
		if err := a.mayOpen(ctx, p.job.Serial); err != nil {
			return err
		}
	}
	t.note("adjust: %s at input %s, to %s; Enter after each turn of the trimmer, q and Enter ends it", p.point.Frequency, p.point.Input, to)
	held, err := p.park(ctx, a.a.ID, runner.Hold{Noted: a.noted}, func(serial string) error { return a.begin(ctx, serial) })
	if a.a.Started.IsZero() {
		return err
	}
	return a.end(ctx, held, err)
}

// adjusting is an adjustment under way.
type adjusting struct {
	p    *parking
	a    record.Adjustment
	read []runner.HeldReading // as of the last note
}

var errNotYet = errors.New("no adjustment before the as-found run is closed")

// mayOpen makes sure that what the unit was like as found is on record.
func (a *adjusting) mayOpen(ctx context.Context, serial string) error {
	if serial == "" {
		return usage{fmt.Errorf("%w: the serial number of the unit is not known; state --serial", errNotYet)}
	}
	open, err := a.p.store.Interrupted(ctx)
	if err != nil {
		return err
	}
	for _, i := range open {
		if i.Header.Kind == runner.AsFound && i.Header.Procedure.SHA256 == a.a.Procedure && (i.Header.Job.Serial == "" || i.Header.Job.Serial == serial) {
			return usage{fmt.Errorf("%w: run %s is still open; go on with it (\"bandproof resume %s\") or end it with what there is (\"bandproof resume %s --finish\")", errNotYet, shortID(i.Header.ID), shortID(i.Header.ID), shortID(i.Header.ID))}
		}
	}
	found, ok, err := a.p.store.AsFound(ctx, serial, a.a.Procedure)
	switch {
	case err != nil:
		return err
	case ok && a.a.NotObtainable != "":
		return usage{fmt.Errorf("--not-obtainable: there is an as-found record of the unit, %s", found.ID)}
	case ok:
		a.a.AsFound = found.ID
	case a.a.NotObtainable == "":
		return usage{fmt.Errorf("%w: the store has no as-found record of serial %q by this procedure file; take it first (\"bandproof run … --as-found\"), or state --not-obtainable with the symptom where the unit gives none", errNotYet, serial)}
	}
	return nil
}

// begin keeps that the adjustment begins, before RF is switched on.
func (a *adjusting) begin(ctx context.Context, serial string) error {
	if err := a.mayOpen(ctx, serial); err != nil {
		return err
	}
	begun := a.a
	begun.Serial, begun.Started, begun.Limit = serial, a.p.clock.Now(), a.p.point.Limit.Total
	if err := a.p.store.KeepAdjustment(ctx, begun); err != nil {
		return err
	}
	a.a = begun
	return nil
}

// noted keeps a try.
func (a *adjusting) noted(n runner.Note, read []runner.HeldReading) error {
	if a.read = read; n.Last {
		return nil // what was read since the last try is one more, see end
	}
	return a.try(n)
}

func (a *adjusting) try(n runner.Note) error {
	began := a.a.Started
	if k := len(a.a.Tries); k > 0 {
		began = a.a.Tries[k-1].Ended
	}
	expected := a.p.point.Frequency.Exact().Mul(a.p.plan.Topology[a.p.point.Source].Factor)
	t := runner.Try{Began: began, Ended: n.At, Note: n.Text, After: runner.SettledAt(a.read, expected, began, n.At)}
	if k := len(a.a.Tries); k > 0 {
		t.Before = a.a.Tries[k-1].After
	} else {
		t.Before = runner.FirstSettled(a.read, expected)
	}
	a.a.Tries = append(a.a.Tries, t)
	keep, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	if err := a.p.store.KeepTry(keep, a.a, t); err != nil {
		return err
	}
	a.p.terminal.tried(len(a.a.Tries), t)
	return nil
}

// end keeps how it stands at the end.
func (a *adjusting) end(ctx context.Context, held runner.Held, err error) error {
	a.read = held.Read
	if k := len(a.read); k > 0 && (len(a.a.Tries) == 0 || a.read[k-1].At.After(a.a.Tries[len(a.a.Tries)-1].Ended)) {
		err = errors.Join(err, a.try(runner.Note{At: held.Finished}))
	}
	a.a.Finished, a.a.Ended = a.p.clock.Now(), held.Ended
	keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if e := a.p.store.KeepAdjustment(keep, a.a); e != nil {
		err = errors.Join(err, e)
	}
	return a.p.terminal.adjusted(a.a, held, a.p.f.json, err)
}

package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"reflect"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/spf13/cobra"
)

// resumeFlags are what the resume command takes.
type resumeFlags struct {
	asking                            promptFlags
	silent                            bool
	store, out, onFor, wireLogTo, key string
	finish, unattended, json, verbose bool
	accept                            []string
}

func resumeCommand(t *terminal) *cobra.Command {
	var f resumeFlags
	c := &cobra.Command{
		Use:   "resume [RUN]",
		Short: "go on with a run that was interrupted, where it was",
		Long: `Go on with a run that was interrupted: killed, cut off by a power cut, ended by
Ctrl-C or because a link was dead. RF is switched off first; then what the plan
still lacks is taken. A point that was cut off midway is taken anew.

The run goes on with the procedure, bench file and profiles that it began with,
as its journal has kept them. Where something has changed since (another
firmware, a file, a calibration date that has passed) a person is asked;
another unit, or another source, can't go on with the record of this one.

RUN is the id of the run, or its beginning or end; without it, the only one that
was interrupted. "records list" shows them.`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usage{errors.New("resume takes the id of one interrupted run, or none where there is one only")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return resume(c.Context(), t, append(args, "")[0], f) },
	}
	storeFlag(c, &f.store, false, "journals and records")
	keyFlag(c, &f.key)
	c.Flags().StringVar(&f.out, "out", "", "folder for the record (JSON) and the data sheets (PDF, CSV); the one of the run unless stated")
	c.Flags().BoolVar(&f.finish, "finish", false, "take no more points: switch RF off and write the record of what there is")
	c.Flags().StringVar(&f.onFor, "on-for", "", "how long the unit has been on now, such as \"2 h\"; else a person is asked")
	c.Flags().BoolVar(&f.unattended, "unattended", false, "nobody answers prompts: what would be asked stops the run, or has the unit warmed up anew")
	c.Flags().BoolVar(&f.json, "json", false, "print the summary as JSON (schema \"bandproof run 1\")")
	c.Flags().BoolVar(&f.verbose, "verbose", false, "log what happens to standard error")
	c.Flags().StringVar(&f.wireLogTo, "wire-log-to", "", "write every byte to and from the instruments to this file as well")
	c.Flags().BoolVar(&f.silent, "no-bell", false, "never ring the terminal's bell")
	f.asking.all(c)
	c.Flags().StringArrayVar(&f.accept, "accept-overdue", nil, "name of a standard whose due date has passed and that is used all the same; the record says so (may be given again)")
	return c
}

func resume(ctx context.Context, t *terminal, id string, f resumeFlags) error {
	r := &resumed{finish: f.finish}
	if f.onFor != "" {
		on, err := quantity.Parse[quantity.Second](f.onFor)
		if err != nil {
			return usage{fmt.Errorf("--on-for: %w", err)}
		}
		r.onNow = &on
	}
	if err := isThere(f.store); err != nil {
		return err
	}
	st, err := t.openStore(ctx, f.store)
	if err != nil {
		return err
	}
	defer func() { _ = st.Close() }()
	found, err := st.Find(ctx, id)
	if err != nil {
		return err
	}
	r.header = found.Header
	if r.earlier, err = st.Earlier(ctx, r.header.ID); err != nil {
		return err
	}
	if r.earlier.Last.IsZero() {
		r.earlier.Last = r.header.Started
	}
	in, err := keptFiles(r.header)
	if err != nil {
		return fmt.Errorf("%w: run %s: %w; RF of its sources may be on, switch it off by hand", runner.ErrBench, shortID(r.header.ID), err)
	}
	key, err := t.signingKey(f.key, f.unattended)
	if err != nil {
		return fmt.Errorf("%w; RF of the run's sources may be on, switch it off by hand", err)
	}
	w := sweep{files: in, job: r.header.Job, kind: r.header.Kind, store: st, key: key, place: time.Local, out: r.header.Out, operator: person{t, r.header.Job.Technician}, terminal: t, clock: drivers.WallClock{},
		invented: r.header.Invented, follows: r.header.Follows, only: r.header.Only, wireLog: r.header.WireLog, wireLogTo: f.wireLogTo, silent: f.silent, asking: f.asking, accept: f.accept, claims: claimsFolder(), resumed: r,
		log: logTo(t, f.verbose)}
	w.logo = keptLogo(ctx, t, st, r.header.Logo)
	if f.unattended {
		w.operator = nobody{}
	}
	if f.out != "" {
		w.out = f.out
	}
	if err := os.MkdirAll(w.out, 0o755); err != nil {
		return usage{fmt.Errorf("--out: %w", err)}
	}
	t.resumes(r)
	done, err := w.goOn(ctx)
	if err != nil && done.Record.ID == "" {
		return err
	}
	return t.finish(done, err, f.json)
}

// resumed is an interrupted run that is gone on with. Its methods may be called
// on nil, for a new one.
type resumed struct {
	header  store.Header
	earlier *runner.Earlier
	changed []string
	onNow   *quantity.Duration
	finish  bool // write the record of what there is
}

// unmoved makes sure, once the run is claimed, that no other process has gone on
// with it since its journal was read.
func (r *resumed) unmoved(ctx context.Context, st *store.Store) error {
	if r == nil {
		return nil
	}
	if _, err := st.Find(ctx, r.header.ID); err != nil {
		return err
	}
	now, err := st.Earlier(ctx, r.header.ID)
	if err != nil {
		return err
	}
	if !reflect.DeepEqual(now, r.earlier) {
		return fmt.Errorf("%w: run %s: another process has gone on with it meanwhile; look at \"records list\" and start again", store.ErrNotInterrupted, shortID(r.header.ID))
	}
	return nil
}

// over tells whether a record is written though points are missing.
func (r *resumed) over() bool { return r != nil && r.finish }

// into tells a run what was before.
func (r *resumed) into(s *runner.Setup) {
	if r != nil {
		s.Earlier, s.Changed, s.OnNow = r.earlier, r.changed, r.onNow
	}
}

// goOn goes on with an interrupted run: with its points, with its record where
// only that is missing, or with the record of what there is.
func (w sweep) goOn(ctx context.Context) (finished, error) {
	r := w.resumed
	switch {
	case r.earlier.Finished():
		return w.conclude(ctx, func(s runner.Setup) (runner.Result, error) { return runner.Rebuild(s), nil })
	case r.finish:
		return w.conclude(ctx, func(s runner.Setup) (runner.Result, error) {
			return runner.Finish(ctx, s, w.operator.Name(), w.rfOff(ctx))
		})
	}
	r.changed = changes(r.header)
	return w.do(ctx)
}

// conclude makes the record of a run that takes no more points.
func (w sweep) conclude(ctx context.Context, result func(runner.Setup) (runner.Result, error)) (finished, error) {
	claimed, err := w.claim(w.resumed.header.ID)
	if err != nil {
		return finished{}, err
	}
	defer func() { _ = claimed.Release() }() // the system does at the end of the process
	release, err := w.store.Hold(ctx, w.resumed.header.ID)
	if err != nil {
		return finished{}, err
	}
	defer release()
	if err := w.resumed.unmoved(ctx, w.store); err != nil {
		return finished{}, err
	}
	plan, err := w.plan(w.started())
	if err != nil {
		return finished{}, err
	}
	s := runner.Setup{ID: w.newID(), Kind: w.kind, Procedure: w.files.procedure, Bench: w.files.bench, Plan: plan, Clock: w.clock, Journal: w.store.Journal(w.newID()),
		Operator: w.operator, Watcher: w.terminal, Log: w.log}
	w.resumed.into(&s)
	got, err := result(s)
	if err != nil {
		return finished{}, err
	}
	return w.keep(context.WithoutCancel(ctx), got)
}

// logTo is the log of a run on standard error.
func logTo(t *terminal, verbose bool) *slog.Logger {
	level := slog.LevelError
	if verbose {
		level = slog.LevelInfo
	}
	return slog.New(slog.NewTextHandler(t.err, &slog.HandlerOptions{Level: level}))
}

package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"bandproof/drivers"
	"bandproof/runner"

	"github.com/spf13/cobra"
)

// runFlags are what the run command takes besides its two files.
type runFlags struct {
	store, out, follows, wireLogTo, key          string
	unattended, json, verbose, invented, wireLog bool
	silent                                       bool
	dead                                         string
	job                                          jobFlags
	accept, only                                 []string
	asking                                       promptFlags
}

func runCommand(t *terminal) *cobra.Command {
	var f runFlags
	var found, repaired, left bool
	c := &cobra.Command{
		Use:   "run PROCEDURE BENCH --as-found|--after-repair|--as-left",
		Short: "take every point of a procedure at the bench and write the record",
		Args:  exactly(2, "a procedure file and a bench file"),
		RunE: func(c *cobra.Command, args []string) error {
			kind, err := kindOf(found, repaired, left)
			if err != nil {
				return usage{err}
			}
			return run(c, t, args[0], args[1], kind, f)
		},
	}
	c.Flags().BoolVar(&found, "as-found", false, "the unit is as received")
	c.Flags().BoolVar(&repaired, "after-repair", false, "the unit is repaired, not yet adjusted")
	c.Flags().BoolVar(&left, "as-left", false, "the unit is as released")
	storeFlag(c, &f.store, false, "journals and records")
	keyFlag(c, &f.key)
	c.Flags().StringVar(&f.out, "out", ".", "folder for the record (JSON) and the data sheets (PDF, CSV)")
	c.Flags().StringVar(&f.follows, "follows", "", "id of the earlier record that this run follows; found by serial number and procedure unless stated")
	c.Flags().BoolVar(&f.unattended, "unattended", false, "nobody answers prompts: paths that need a hand are not judged")
	c.Flags().BoolVar(&f.json, "json", false, "print the summary as JSON (schema \"bandproof run 1\")")
	c.Flags().BoolVar(&f.verbose, "verbose", false, "log what happens to standard error")
	c.Flags().BoolVar(&f.invented, "invented", false, "mark the record as invented data (virtual bench)")
	c.Flags().BoolVar(&f.wireLog, "wire-log", false, "keep every byte to and from the instruments with the record (\"records wire-log\" shows them)")
	c.Flags().StringVar(&f.wireLogTo, "wire-log-to", "", "write every byte to and from the instruments to this file as well")
	c.Flags().StringArrayVar(&f.accept, "accept-overdue", nil, "name of a standard whose due date has passed and that is used all the same; the record says so (may be given again)")
	c.Flags().BoolVar(&f.silent, "no-bell", false, "never ring the terminal's bell")
	f.asking.all(c)
	c.Flags().StringVar(&f.dead, "not-obtainable", "", "the unit gives nothing to take a run from: record every planned point as not obtainable, with this symptom, such as \"no display, no reply\"; no instrument is touched")
	onlyFlag(c, &f.only)
	c.MarkFlagsMutuallyExclusive("not-obtainable", "only")
	f.job.all(c)
	return c
}

// onlyFlag names what an added run takes.
func onlyFlag(c *cobra.Command, only *[]string) {
	c.Flags().StringSliceVar(only, "only", nil, "take only these points and measurements, by their ids in the plan, such as B-003,B-004: an added run, which replaces none")
}

func kindOf(found, repaired, left bool) (runner.Kind, error) {
	var kinds []runner.Kind
	for _, k := range []struct {
		set  bool
		kind runner.Kind
	}{{found, runner.AsFound}, {repaired, runner.AfterRepair}, {left, runner.AsLeft}} {
		if k.set {
			kinds = append(kinds, k.kind)
		}
	}
	if len(kinds) != 1 {
		return "", errors.New("say in which state the unit is: exactly one of --as-found, --after-repair, --as-left")
	}
	return kinds[0], nil
}

func run(c *cobra.Command, t *terminal, procedureFile, benchFile string, kind runner.Kind, f runFlags) error {
	ctx := c.Context()
	in, err := loadFiles(procedureFile, benchFile)
	if err != nil {
		return err
	}
	job, err := f.job.load(c)
	if err != nil {
		return err
	}
	if job.Unaltered && kind != runner.AsFound {
		return usage{fmt.Errorf("the job says that nothing is altered (unaltered): then the as-found run is the as-left run as well, and there is no --%s", kind)}
	}
	if err := os.MkdirAll(f.out, 0o755); err != nil {
		return usage{fmt.Errorf("--out: %w", err)}
	}
	key, err := t.signingKey(f.key, f.unattended)
	if err != nil {
		return err
	}
	st, err := t.openStore(ctx, f.store)
	if err != nil {
		return err
	}
	defer func() { _ = st.Close() }()
	var operator runner.Operator = person{t, job.Technician}
	if f.unattended {
		operator = nobody{}
	}
	w := sweep{files: in, job: job, kind: kind, store: st, key: key, place: time.Local, out: f.out, operator: operator, terminal: t, clock: drivers.WallClock{}, invented: f.invented, follows: f.follows,
		wireLog: f.wireLog, wireLogTo: f.wireLogTo, silent: f.silent, asking: f.asking, accept: f.accept, only: f.only, claims: claimsFolder(),
		log: logTo(t, f.verbose)}
	w.logo = in.logo(t)
	do := w.do
	if c.Flags().Changed("not-obtainable") {
		do = func(ctx context.Context) (finished, error) { return w.unobtainable(ctx, f.dead) }
	}
	done, err := do(ctx)
	if err != nil && done.Record.ID == "" {
		return err
	}
	return t.finish(done, err, f.json)
}

// finish shows what came out and turns it into the error with its exit code.
func (t *terminal) finish(done finished, err error, asJSON bool) error {
	if asJSON {
		if e := t.json(done); e != nil {
			return e
		}
	} else {
		t.summary(done)
	}
	return ended(done.Record.Run, err)
}

// ended turns the outcome of a run into the error that carries its exit code.
func ended(r runner.Result, err error) error {
	code := codeOf(r)
	if err != nil {
		return outcome{worst(code, exitCode(err)), err}
	}
	if code == exitOK {
		return nil
	}
	return outcome{code, nil}
}

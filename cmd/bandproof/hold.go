package main

import (
	"context"
	"time"

	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/spf13/cobra"
)

func holdCommand(t *terminal) *cobra.Command {
	var f parkFlags
	c := &cobra.Command{
		Use:   "hold PROCEDURE BENCH --input INPUT --frequency FREQUENCY",
		Short: "park the source at a point while you probe the unit; nothing is judged",
		Long: `Park the source at one point of an input while you probe the unit, and show error
and level as they are. Nothing is judged, and it is no part of any run; the store
notes that it was done. Every level goes through the interlock. RF goes off when
you type q or press Ctrl-C, when the time is over (you are asked whether to go
on), and whatever else ends the program.`,
		Args: exactly(2, "a procedure file and a bench file"),
		RunE: func(c *cobra.Command, args []string) error { return hold(c, t, args[0], args[1], f) },
	}
	f.all(c, "15 min")
	return c
}

func hold(c *cobra.Command, t *terminal, procedureFile, benchFile string, f parkFlags) error {
	p, err := f.parking(c, t, procedureFile, benchFile, false)
	if err != nil {
		return err
	}
	ctx := c.Context()
	if err := p.open(ctx); err != nil {
		return err
	}
	defer func() { _ = p.store.Close() }()
	p.kind = "hold"
	h := store.Held{ID: newEntry(), Procedure: p.files.procedureFile.SHA256, Held: runner.Held{Started: p.clock.Now(), Point: p.point}}
	t.note("hold: %s at input %s, %s there, for %s; q and Enter, or Ctrl-C, ends it", p.point.Frequency, p.point.Input, p.point.Levels.Input, p.lasts)
	held, err := p.park(ctx, h.ID, runner.Hold{}, func(serial string) error {
		h.Serial = serial
		return p.store.KeepHold(ctx, h)
	})
	if held.Started.IsZero() {
		return err
	}
	h.Held = held
	keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if e := p.store.KeepHold(keep, h); e != nil && err == nil {
		err = e
	}
	return t.held(held, f.json, err)
}

package main

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
)

// parkFlags are those of the commands that park a source at a point.
type parkFlags struct {
	input, frequency, level, gate, path, lasts, store string
	json, verbose                                     bool
	job                                               jobFlags
}

func (f *parkFlags) all(c *cobra.Command, lasts string) {
	c.Flags().StringVar(&f.input, "input", "", "input of the unit")
	c.Flags().StringVar(&f.frequency, "frequency", "", "frequency of the signal, such as 400MHz")
	c.Flags().StringVar(&f.level, "level", "", "level at the input, such as \"-10 dBm\" or \"100 mV\"; 10 dB above the specified sensitivity unless stated")
	c.Flags().StringVar(&f.gate, "gate", "1 s", "gate time of the readings")
	c.Flags().StringVar(&f.path, "path", "", "path of the bench file; the best one unless stated")
	c.Flags().StringVar(&f.lasts, "for", lasts, "after this RF goes off, and you are asked whether to go on")
	storeFlag(c, &f.store, false, "records and what is done beside them")
	c.Flags().BoolVar(&f.json, "json", false, "print each reading, and the end, as a line of JSON (schemas \"bandproof live 1\" and \"bandproof held 1\")")
	c.Flags().BoolVar(&f.verbose, "verbose", false, "log what happens to standard error")
	f.job.all(c)
	for _, name := range []string{"input", "frequency"} {
		_ = c.MarkFlagRequired(name) // both exist
	}
}

// parking is a source about to be parked: files, plan, point, and who is there.
type parking struct {
	sweep
	f     parkFlags
	plan  *procedures.Plan
	lasts quantity.Duration
	point procedures.Point
}

// parking reads files and flags. tested asks for a path on which the unit's
// timebase shows.
func (f parkFlags) parking(c *cobra.Command, t *terminal, procedureFile, benchFile string, tested bool) (*parking, error) {
	in, err := loadFiles(procedureFile, benchFile)
	if err != nil {
		return nil, err
	}
	p := &parking{f: f}
	level := slog.LevelError
	if f.verbose {
		level = slog.LevelInfo
	}
	p.sweep = sweep{files: in, terminal: t, clock: drivers.WallClock{}, claims: claimsFolder(), log: slog.New(slog.NewTextHandler(t.err, &slog.HandlerOptions{Level: level}))}
	if p.job, err = f.job.load(c); err != nil {
		return nil, err
	}
	p.operator = person{t, p.job.Technician}
	if p.plan, err = in.plan(p.clock.Now(), p.job.Adjusted); err != nil {
		return nil, err
	}
	want := procedures.Want{Path: f.path}
	if want.Frequency, err = quantity.Parse[quantity.Hertz](f.frequency); err != nil {
		return nil, usage{fmt.Errorf("--frequency: %w", err)}
	}
	if want.Gate, err = quantity.Parse[quantity.Second](f.gate); err != nil {
		return nil, usage{fmt.Errorf("--gate: %w", err)}
	}
	for _, w := range procedures.CheckGate(want.Gate) {
		return nil, usage{fmt.Errorf("--gate: %s", w.Text)}
	}
	if p.lasts, err = quantity.Parse[quantity.Second](f.lasts); err != nil {
		return nil, usage{fmt.Errorf("--for: %w", err)}
	}
	if p.lasts.Float() < 1 || p.lasts.Float() > 12*3600 {
		return nil, usage{fmt.Errorf("--for: is %s; expected 1 s to 12 h", p.lasts)}
	}
	if f.level != "" {
		level, err := quantity.ParseLevel(f.level)
		if err != nil {
			return nil, usage{fmt.Errorf("--level: %w", err)}
		}
		want.Level = &level
	}
	if p.point, err = p.plan.Park(in.procedure, in.bench, in.options(p.clock.Now(), p.job.Adjusted), f.input, want, tested); err != nil {
		return nil, usage{err}
	}
	return p, nil
}

// open opens the store.
func (p *parking) open(ctx context.Context) (err error) {
	p.store, err = p.terminal.openStore(ctx, p.f.store)
	return err
}

// park shows the cautions, opens the instruments and holds the source. known is
// called with the unit's serial number before RF is first switched on.
func (p *parking) park(ctx context.Context, id string, h runner.Hold, known func(serial string) error) (runner.Held, error) {
	t := p.terminal
	t.cautions(p.files.procedure, append(record.UsualCautions(), liveCautions()...))
	for _, d := range p.plan.Due(p.files.bench) {
		if d.Past(p.clock.Now()) {
			t.note("warning: overdue: %s; what you see rests on it", d)
		}
	}
	claimed, err := p.claim(id)
	if err != nil {
		return runner.Held{}, err
	}
	defer func() { _ = claimed.Release() }() // the system does at the end of the process
	interlock := runner.NewInterlock(p.files.procedure.Unit)
	in, err := p.files.open(ctx, p.wiring(interlock, nil))
	if err != nil {
		return runner.Held{}, err
	}
	defer in.close(p.log)
	serial := p.job.Serial
	if serial == "" {
		who, err := in.counter.Identify(ctx)
		if err != nil {
			return runner.Held{}, err
		}
		serial = who.Serial
	}
	if err := known(serial); err != nil {
		return runner.Held{}, err
	}
	h.Point, h.For = p.point, p.lasts
	view := t.live1(p.f.json)
	h.Live = view.show
	if !p.files.byHand() { // else what is typed are settings and readings
		h.Heard = t.heard
	}
	held, err := runner.Park(ctx, runner.Setup{ID: id, Procedure: p.files.procedure, Bench: p.files.bench, Plan: p.plan, Counter: in.counter, Sources: in.sources, Aids: in.aids,
		Interlock: interlock, Clock: p.clock, Operator: p.operator, Watcher: view, Log: p.log, Serial: p.job.Serial, ReplyAgrees: p.files.replyAgrees()}, h)
	view.end()
	return held, err
}

// liveCautions go beyond the usual ones while a signal is on and somebody has
// hands or a probe in the unit.
func liveCautions() []string {
	return []string{
		"RF stays on while you work: probe with an insulated tip, one hand, no ring or watch; don't touch the source's cable.",
		"Turn trimmers with an insulated tool, a little at a time, and let the reading settle: a metal blade detunes them, and warmth from the hand drifts for minutes.",
	}
}

func newEntry() string { return uuid.Must(uuid.NewV7()).String() }

// since is a duration for people, without fractions.
func since(d time.Duration) string { return d.Round(time.Second).String() }

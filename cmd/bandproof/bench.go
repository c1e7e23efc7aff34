package main

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/manual"
	"bandproof/drivers/profile"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// instruments are the open instruments of a run.
type instruments struct {
	counter drivers.Counter
	sources map[string]drivers.Source
	aids    runner.Aids
}

// wiring is what opening instruments needs beyond the files.
type wiring struct {
	opener    link.Opener
	interlock *runner.Interlock
	clock     drivers.Clock
	log       *slog.Logger
	person    manual.Person // nil where nobody is asked
}

// open opens the sources first, so that their RF is off before anything else.
func (f *files) open(ctx context.Context, w wiring) (_ *instruments, err error) {
	in := &instruments{sources: map[string]drivers.Source{}}
	defer func() {
		if err != nil {
			in.close(w.log)
		}
	}()
	for _, s := range f.sourcesInOrder() {
		if in.sources[s.Name], err = f.openSource(ctx, w, s); err != nil {
			return nil, err
		}
	}
	if in.counter, err = f.openCounter(ctx, w); err != nil {
		return nil, err
	}
	if err = f.openAids(ctx, w, in); err != nil {
		return nil, err
	}
	return in, nil
}

func (w wiring) opening(ctx context.Context, name string, c procedures.Connection, p *profile.Profile) (profile.Opening, error) {
	l, err := w.opener.Open(ctx, linkConfig(c, p))
	if err != nil {
		return profile.Opening{}, err
	}
	return profile.Opening{Name: name, Link: l, Interlock: w.interlock, Clock: w.clock, Log: w.log, Timeout: timeout(c), ByHand: w.atPanel(name)}, nil
}

// close closes what is open, all at once; RF goes off at each source.
func (in *instruments) close(log *slog.Logger) {
	open := openOf(in.aids)
	for _, s := range in.sources {
		if s != nil {
			open = append(open, s)
		}
	}
	if in.counter != nil {
		open = append(open, in.counter)
	}
	var all sync.WaitGroup
	for _, i := range open {
		all.Go(func() {
			if err := i.Close(); err != nil {
				log.Warn("closing", "instrument", i.Name(), "error", err)
			}
		})
	}
	all.Wait()
}

// linkConfig takes the bench file's keys; what it leaves out the profile fills in.
func linkConfig(c procedures.Connection, p *profile.Profile) link.Config {
	return p.Prefer(link.Config{Address: c.Address, Via: c.Via, NoEOI: c.NoEOI, Timeout: timeout(c),
		ReadTerminator: c.ReadTerminator, WriteTerminator: c.WriteTerminator,
		Baud: c.Baud, DataBits: c.DataBits, Parity: c.Parity, StopBits: c.StopBits, FlowControl: c.Flow,
		DTR: c.DTR, RTS: c.RTS, CharPace: seconds(c.CharacterPace), LinePace: seconds(c.LinePace), Echo: c.Echo,
		BreakClear: c.BreakClear, Common: c.CommonCommands, NoDeviceClear: c.NoDeviceClear,
		EndByTerminator: c.EndByTerminator, Lock: c.Lock, LockTimeout: seconds(c.LockTimeout), Overlap: c.Overlap})
}

func timeout(c procedures.Connection) time.Duration { return seconds(c.Timeout) }

func seconds(d quantity.Duration) time.Duration {
	return time.Duration(d.Float() * float64(time.Second))
}

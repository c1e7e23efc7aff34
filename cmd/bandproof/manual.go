package main

import (
	"context"
	"fmt"
	"slices"

	"bandproof/drivers"
	"bandproof/drivers/manual"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// sourcesInOrder has those with a link first: RF of a remote source must not
// wait for a person at another one.
func (f *files) sourcesInOrder() []procedures.Source {
	list := slices.Clone(f.bench.Sources)
	slices.SortStableFunc(list, func(a, b procedures.Source) int {
		switch {
		case a.ByHand() == b.ByHand():
			return 0
		case a.ByHand():
			return 1
		}
		return -1
	})
	return list
}

// byHand tells whether a person works any instrument of the bench.
func (f *files) byHand() bool {
	return f.bench.Counter.ByHand() || slices.ContainsFunc(f.bench.Sources, func(s procedures.Source) bool { return s.ByHand() })
}

// openSource opens a source over its link, or at its panel.
func (f *files) openSource(ctx context.Context, w wiring, s procedures.Source) (drivers.Source, error) {
	if s.ByHand() {
		o := w.byHand(s.Name, s.Connection)
		o.Panel.Step, o.Panel.LevelStep = s.Resolution, s.LevelStep()
		source, err := manual.OpenSource(ctx, o)
		if err != nil {
			return nil, fmt.Errorf("%w: source %w", runner.ErrBench, err)
		}
		return source, nil
	}
	o, err := w.opening(ctx, s.Name, s.Connection, f.sources[s.Name])
	if err != nil {
		return nil, fmt.Errorf("%w: source %s: %w", runner.ErrBench, s.Name, err)
	}
	source, err := f.sources[s.Name].OpenSource(ctx, o)
	if err != nil {
		return nil, fmt.Errorf("%w: source %w", runner.ErrBench, err)
	}
	return source, nil
}

// openCounter opens the unit over its link, or at its panel.
func (f *files) openCounter(ctx context.Context, w wiring) (counter drivers.Counter, err error) {
	c := f.bench.Counter.Connection
	if c.ByHand() {
		counter, err = manual.OpenCounter(w.byHand("counter", c))
	} else {
		o, e := w.opening(ctx, "counter", c, f.counter)
		if e != nil {
			return nil, fmt.Errorf("%w: counter: %w", runner.ErrBench, e)
		}
		counter, err = f.counter.OpenCounter(ctx, o)
	}
	if err != nil {
		return nil, fmt.Errorf("%w: %w", runner.ErrBench, err)
	}
	return counter, nil
}

// atPanel asks the person to do what a remote instrument can't be told; nil
// where nobody is asked.
func (w wiring) atPanel(name string) func(ctx context.Context, do string) error {
	if w.person == nil {
		return nil
	}
	return func(ctx context.Context, do string) error {
		_, err := w.person.Ask(ctx, manual.Question{Instrument: name, Do: do, Answer: "press Enter when it is done"})
		return err
	}
}

// byHand takes from the bench file what a panel has.
func (w wiring) byHand(name string, c procedures.Connection) manual.Opening {
	front := c.Front()
	p := manual.Panel{Unit: front.Unit, Inputs: front.Inputs, RFOff: front.RFOff, LockLamp: front.LockLamp, ReferenceLamp: front.ReferenceLamp,
		Settle: front.Settle, Wait: timeout(c)}
	for _, g := range front.Gates {
		p.Gates = append(p.Gates, manual.Gate{Time: g.Time, Position: g.Position, Resolution: g.Resolution})
	}
	return manual.Opening{Name: name, Panel: p, Person: w.person, Interlock: w.interlock, Clock: w.clock, Log: w.log}
}

// knownInputs are the names that the counter takes; none: any.
func (f *files) knownInputs() []string {
	if f.bench.Counter.ByHand() {
		var names []string
		for name := range sorted(f.bench.Counter.Front().Inputs) {
			names = append(names, name)
		}
		return names
	}
	return f.counter.Capability().Inputs
}

// counterTiming and sourceTiming are what a plan has to know of an instrument.
func (f *files) counterTiming() procedures.Capability {
	if x := f.bench.Counter; x.ByHand() {
		return procedures.Capability{Discard: 1, Overhead: x.Front().TakesReading(), Gates: x.Front().GateTimes()}
	}
	c := f.counter.Capability()
	return procedures.Capability{Discard: c.Discard, GateLengthened: c.GateLengthened, Overhead: c.Overhead, Gates: c.Gates}
}

func (f *files) sourceTiming(s procedures.Source) procedures.Capability {
	if s.ByHand() {
		return procedures.Capability{Settle: s.Front().Settle.Add(s.Front().TakesSetting())}
	}
	return procedures.Capability{Settle: f.sources[s.Name].Capability().Settle}
}

// replyAgrees tells whether replies have the digits of the display. A person
// is not held to that: digits may have been left out.
func (f *files) replyAgrees() bool {
	return !f.bench.Counter.ByHand() && f.counter.Capability().DisplayAndReplyAgree
}

// people says what the plan expects of the person at the bench.
func (f *files) people(t *terminal) {
	says := func(what string, each quantity.Duration, unit string) {
		t.print("%s by a person: %s a %s are counted in the time", what, each, unit)
	}
	for _, s := range f.bench.Sources {
		if s.ByHand() {
			says("source "+s.Name+" is set", s.Front().TakesSetting(), "setting")
		}
	}
	if x := f.bench.Counter; x.ByHand() {
		says("the unit is read", x.Front().TakesReading(), "reading")
	}
}

package profile

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
)

// Opening is what an instrument is opened with.
type Opening struct {
	Name string    // as the bench file names the instrument
	Link link.Link // the instrument closes it when it is closed, and when opening fails
	// Interlock is asked before any level is sent; without one a source
	// refuses every level. Counters don't use it.
	Interlock drivers.Interlock
	Clock     drivers.Clock // nil: the clock of the machine
	Log       *slog.Logger  // nil: nothing is logged
	// Timeout replaces the profile's longest wait for a reply, beyond gates and
	// settling; 0 keeps it.
	Timeout time.Duration
	// ByHand asks a person to do something at the instrument's front panel and
	// returns once it is done. It is needed where the profile has by_hand.
	ByHand func(ctx context.Context, do string) error
}

// OpenCounter begins the conversation with a counter: who it is, what stands
// in its error queue from before (logged), then the start commands.
//
// After any exchange that went wrong, the next action first clears the link,
// stops a measurement that may still run, throws away what comes until the
// instrument answers to its name, and sets it up as it was: start commands,
// input, gate. Recover does the same at once.
func (p *Profile) OpenCounter(ctx context.Context, o Opening) (drivers.Counter, error) {
	s, err := p.session(o, RoleCounter)
	if err != nil {
		return nil, err
	}
	c := &counter{session: s}
	s.isReading = func(stray []byte) bool {
		for line := range strings.Lines(string(stray)) {
			if _, mark, err := p.file.Read.reading(strings.TrimRight(line, "\r\n")); err == nil && mark == drivers.None {
				return true
			}
		}
		return false
	}
	if err := s.do(ctx, "open", c.start); err != nil {
		return nil, s.abandon(err)
	}
	return c.withAbilities(), nil
}

// OpenSource begins the conversation with a source. The first thing on the
// wire is rf_off; then come identity, error queue and start commands, and
// rf_off once more, because a reset may have switched the RF on.
//
// After an exchange that went wrong, only RFOff, Recover and Close are carried
// out. Recover leaves the RF off and the level forgotten, as after opening:
// the instrument may have lost its settings meanwhile, so set it anew. RFOn is
// refused until a level was set since.
func (p *Profile) OpenSource(ctx context.Context, o Opening) (drivers.Source, error) {
	s, err := p.session(o, RoleSource)
	if err != nil {
		return nil, err
	}
	g := &source{session: s, interlock: o.Interlock}
	if err := s.do(ctx, "open", g.start); err != nil {
		return nil, s.abandon(err)
	}
	return g.withAbilities(), nil
}

// session checks the opening and fills in what it leaves out.
func (p *Profile) session(o Opening, role string) (*session, error) {
	if o.Link == nil {
		return nil, fmt.Errorf("profile %q: %q is opened without a link", p.file.Name, o.Name)
	}
	if p.file.Role != role {
		_ = o.Link.Close() // nothing was said on it
		return nil, &drivers.Error{Name: o.Name, Address: o.Link.Address(), Doing: "open",
			Err: fmt.Errorf("profile %q describes a %s, not a %s", p.file.Name, p.file.Role, role)}
	}
	s := &session{profile: p, file: &p.file, name: o.Name, link: o.Link, clock: o.Clock, log: o.Log,
		limit: o.Timeout, byHand: o.ByHand, turn: make(chan struct{}, 1)}
	if s.clock == nil {
		s.clock = drivers.WallClock{}
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	s.log = s.log.With("instrument", o.Name, "address", o.Link.Address(), "profile", p.file.Name)
	return s, nil
}

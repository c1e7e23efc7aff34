package profile

import (
	"context"
	"errors"
	"fmt"

	"bandproof/drivers"
)

// Name is the name that the bench file gives the instrument.
func (s *session) Name() string { return s.name }

// Address is its VISA resource name.
func (s *session) Address() string { return s.link.Address() }

// identify asks the instrument who it is.
func (s *session) identify(ctx context.Context) (drivers.Identity, error) {
	if s.file.Identify == nil {
		return drivers.Identity{}, nil
	}
	answer, err := s.ask(ctx, s.file.Identify.Query, s.identifyTimeout())
	if err != nil {
		return drivers.Identity{}, err
	}
	if answer != s.identity {
		return drivers.Identity{}, s.understand(s.file.Identify.Query,
			fmt.Errorf("%w: %s, but at opening it was %s", drivers.ErrUnreadable, quote(answer), quote(s.identity)))
	}
	return parseIdentity(answer), nil
}

// begins sends the commands of the profile's start.
func (s *session) begins(ctx context.Context) error {
	start := s.file.Start
	if start == nil {
		return nil
	}
	if err := s.commands(ctx, start.Commands, nil, clockOr(start.Wait, 0)); err != nil {
		return err
	}
	if err := s.complaints(ctx); err != nil {
		return fmt.Errorf("start commands: %w", err)
	}
	return nil
}

// close ends the conversation after a last action; it may be called twice.
func (s *session) close(ctx context.Context, last func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), rfOffTimeout)
	defer cancel()
	s.interrupt()
	end, err := s.begin(ctx)
	if err != nil { // somebody holds the link for ever; closing it frees them
		return s.fail("close", errors.Join(err, s.link.Close()))
	}
	defer end()
	if s.closed {
		return nil
	}
	s.closed = true
	return s.fail("close", errors.Join(last(ctx), s.local(ctx), s.link.Close()))
}

// start is what opening does on the wire.
func (c *counter) start(ctx context.Context) error {
	c.patience = c.longestReading
	if err := c.remote(ctx); err != nil {
		return err
	}
	if err := c.meet(ctx); err != nil {
		return err
	}
	c.opened = true
	if err := c.forgetComplaints(ctx, "at opening"); err != nil {
		return err
	}
	return c.begins(ctx)
}

// act carries out an action; before it, a counter that was lost is recovered.
func (c *counter) act(ctx context.Context, doing string, action func(context.Context) error) error {
	return c.do(ctx, doing, func(ctx context.Context) error {
		if c.lost {
			if err := c.recover(ctx); err != nil {
				return fmt.Errorf("recover first: %w", err)
			}
		}
		return action(ctx)
	})
}

func (c *counter) recover(ctx context.Context) error {
	if _, err := c.regain(ctx); err != nil {
		return err
	}
	return c.setUpAgain(ctx)
}

// setUpAgain brings a counter that was recovered, and may have been switched
// off and on meanwhile, back to the start commands, input and gate it had.
func (c *counter) setUpAgain(ctx context.Context) error {
	c.lost = true // until this is through
	if err := c.forgetComplaints(ctx, "after the link was cleared"); err != nil {
		return err
	}
	return c.restore(ctx)
}

// restore sends the settings anew.
func (c *counter) restore(ctx context.Context) error {
	c.lost, c.had = true, false // until this is through
	if err := c.begins(ctx); err != nil {
		return err
	}
	if c.input != "" {
		if err := c.selectInput(ctx, c.input); err != nil {
			return err
		}
	}
	if asked, before := c.asked, c.gate; asked != nil {
		got, err := c.setGate(ctx, *asked)
		c.asked, c.gate = asked, before // for the next attempt
		if err != nil {
			return err
		}
		if got.Cmp(before) != 0 {
			return fmt.Errorf("%w: after recovery the gate is %s, before it was %s", drivers.ErrInstrument, got, before)
		}
	}
	c.lost = false
	return nil
}

// Identify asks the counter who it is.
func (c *counter) Identify(ctx context.Context) (id drivers.Identity, err error) {
	err = c.act(ctx, "identify", func(ctx context.Context) (err error) {
		id, err = c.identify(ctx)
		return err
	})
	return id, err
}

// Recover makes sure that no late answer can be taken for the next one's, and
// sets the counter up as it was.
func (c *counter) Recover(ctx context.Context) error { return c.do(ctx, "recover", c.recover) }

// Close ends the conversation.
func (c *counter) Close() error {
	return c.close(context.Background(), func(context.Context) error { return nil })
}

// Identify asks the source who it is.
func (g *source) Identify(ctx context.Context) (id drivers.Identity, err error) {
	err = g.act(ctx, "identify", func(ctx context.Context) (err error) {
		id, err = g.identify(ctx)
		return err
	})
	return id, err
}

// Recover makes sure that no late answer can be taken for the next one's. The
// RF is off afterwards, as after opening.
func (g *source) Recover(ctx context.Context) error {
	return g.do(ctx, "recover", func(ctx context.Context) error {
		g.levelled = false
		if _, err := g.regain(ctx); err != nil {
			return err
		}
		g.lost = true // until this is through
		if err := g.prepare(ctx); err != nil {
			return err
		}
		g.lost = false
		return nil
	})
}

// Close switches the RF off where the link still carries it, and ends the
// conversation.
func (g *source) Close() error {
	return g.close(context.Background(), func(ctx context.Context) error {
		if err := g.rfOff(ctx); err != nil {
			return fmt.Errorf("RF off: %w", err)
		}
		return nil
	})
}

package profile

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
)

// defaultPollEvery is the pause between two looks at the status byte.
const defaultPollEvery = 20 * time.Millisecond

// errNotReady: the status byte was read all the time and never showed that the
// reading is complete.
var errNotReady = errors.New("the status byte never showed that the reading is complete")

// talks tells whether the instrument sends readings by itself.
func (s *session) talks() bool { return s.file.Read != nil && s.file.Read.Talks }

// remote puts the instrument under remote control where the profile wants it
// and the link can.
func (s *session) remote(ctx context.Context) error {
	return s.panel(ctx, "remote", s.link.Remote)
}

// local gives the instrument back to its front panel.
func (s *session) local(ctx context.Context) error {
	if s.lost { // a link that is dirty refuses
		return nil
	}
	return s.panel(ctx, "local", s.link.Local)
}

func (s *session) panel(ctx context.Context, to string, do func(context.Context) error) error {
	if s.file.Link == nil || !s.file.Link.Remote {
		return nil
	}
	limited, cancel := context.WithTimeout(ctx, s.timeout())
	defer cancel()
	err := do(limited)
	if errors.Is(err, errors.ErrUnsupported) {
		s.log.Debug("link can't switch the instrument", "to", to)
		return nil
	}
	if err != nil {
		return fmt.Errorf("switch to %s: %w", to, s.lose(ctx, err))
	}
	return nil
}

// poll reads the status byte.
func (s *session) poll(ctx context.Context) (byte, error) {
	limited, cancel := context.WithTimeout(ctx, s.timeout())
	defer cancel()
	status, err := s.link.StatusByte(limited)
	if errors.Is(err, errors.ErrUnsupported) {
		return 0, err // nothing was sent
	}
	if err != nil {
		return 0, fmt.Errorf("read the status byte: %w", s.lose(ctx, err))
	}
	return status, nil
}

// answersPoll tells whether the instrument shows by its status byte that it
// still answers, where it has nothing else to show it.
func (s *session) answersPoll(ctx context.Context) (bool, error) {
	if s.file.Read == nil || s.file.Read.Ready == nil {
		return false, nil
	}
	_, err := s.poll(ctx)
	if errors.Is(err, errors.ErrUnsupported) {
		return false, nil
	}
	return err == nil, err
}

// align makes sure that the next message of an instrument that talks by itself
// is taken from its beginning. It can't be cleared, only listened to anew.
func (s *session) align(ctx context.Context) error {
	s.aligned = false
	if !s.soiled {
		return nil
	}
	return s.clear(ctx)
}

// person has something done at the front panel.
func (c *counter) person(ctx context.Context, do string) error {
	if c.byHand == nil {
		return fmt.Errorf("%w: %s at the front panel (by_hand in profile %q)", drivers.ErrNoOperator, do, c.file.Name)
	}
	return c.byHand(ctx, do)
}

// take gets one reading off the counter, by the way that the profile states.
func (c *counter) take(ctx context.Context, question string, w words) (string, error) {
	r := c.file.Read
	if r.Talks {
		return c.listen(ctx)
	}
	polls, err := c.polls(ctx)
	if err != nil {
		return "", err
	}
	if err := c.commands(ctx, r.Commands, w, 0); err != nil {
		return "", err
	}
	if r.Trigger {
		if err := c.trigger(ctx); err != nil {
			return "", err
		}
	}
	limit := c.readingTime(c.gate)
	armed := len(r.Commands) > 0 || r.Trigger
	switch {
	case polls && armed && question != "":
		if err := c.awaitReady(ctx, limit); err != nil {
			return "", err
		}
		return c.ask(ctx, question, c.timeout())
	case !polls && question != "":
		return c.ask(ctx, question, limit)
	case question != "":
		if err := c.send(ctx, question); err != nil {
			return "", err
		}
	}
	if polls {
		if err := c.awaitReady(ctx, limit); err != nil {
			return "", err
		}
		limit = c.timeout()
	}
	answer, err := c.receive(ctx, limit)
	if err != nil {
		return "", fmt.Errorf("wait for the reading: %w", err)
	}
	return answer, nil
}

// polls tells whether readiness is told by the status byte on this link. A
// reading that is ready before it was asked for is an old one, and thrown away.
func (c *counter) polls(ctx context.Context) (bool, error) {
	ready := c.file.Read.Ready
	if ready == nil {
		return false, nil
	}
	status, err := c.poll(ctx)
	switch {
	case errors.Is(err, errors.ErrUnsupported):
		return false, nil
	case err != nil:
		return false, err
	case !ready.is(status) || len(c.file.Read.Commands) > 0 && c.file.Read.Query != "":
		return true, nil // what is asked for by a query of its own can't be an old one
	}
	old, err := c.receive(ctx, c.timeout())
	if err != nil {
		return false, fmt.Errorf("fetch an old reading: %w", err)
	}
	c.log.Warn("threw away a reading that was ready before it was asked for", "message", quote(old))
	return true, nil
}

// is tells whether a status byte says that the reading is complete.
func (r *Ready) is(status byte) bool { return int(status)&r.Mask == or(r.Expect, r.Mask) }

// awaitReady polls until the reading is complete.
func (c *counter) awaitReady(ctx context.Context, limit time.Duration) error {
	ready := c.file.Read.Ready
	deadline := time.Now().Add(limit) // of the instrument, so by the machine's clock
	for {
		status, err := c.poll(ctx)
		if err != nil {
			return err
		}
		if ready.is(status) {
			return nil
		}
		if time.Now().After(deadline) {
			c.lost = true
			return fmt.Errorf("wait for the reading: %w in %s; it is 0x%02x", errNotReady, limit, status)
		}
		if err := c.wait(ctx, clockOr(ready.Every, defaultPollEvery)); err != nil {
			return c.lose(ctx, err)
		}
	}
}

func (c *counter) trigger(ctx context.Context) error {
	limited, cancel := context.WithTimeout(ctx, c.timeout())
	defer cancel()
	err := c.link.Trigger(limited)
	if errors.Is(err, errors.ErrUnsupported) {
		return fmt.Errorf("trigger: %w; use a profile with a command that starts the measurement", err)
	}
	if err != nil {
		return fmt.Errorf("trigger: %w", c.lose(ctx, err))
	}
	return nil
}

// listen waits for a message that began after the call. The first one on a
// connection may lack its beginning, and is dropped.
func (c *counter) listen(ctx context.Context) (string, error) {
	limit := 2 * c.readingTime(c.gate) // the rest of a gate that is open, and the next
	if !c.aligned {
		if _, err := c.hear(ctx, limit); err != nil {
			return "", err
		}
		c.aligned = true
	}
	return c.hear(ctx, limit)
}

func (c *counter) hear(ctx context.Context, limit time.Duration) (string, error) {
	limited, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	message, err := link.Listen(limited, c.link)
	if err != nil {
		return "", fmt.Errorf("listen: %w", c.lose(ctx, err))
	}
	return string(message), nil
}

// ways checks by which ways a reading is taken.
func (c *checker) ways(r *Read) {
	if r.Talks {
		foreign := map[string]bool{"commands": len(r.Commands) > 0, "trigger": r.Trigger, "query": r.Query != "", "ready": r.Ready != nil, "again": r.Again != ""}
		for _, key := range sortedKeys(foreign) {
			if foreign[key] {
				c.Add("read."+key, "has no meaning with talks: the instrument takes no question")
			}
		}
		if l := c.file.Link; l != nil && l.ReadTerminator == "none" {
			c.Add("link.read_terminator", "is \"none\", but the instrument talks by itself: nothing would show where a reading begins")
		}
		for _, key := range []string{"identify", "errors", "abort", "self_test", "reference", "start"} {
			if c.Has(key) {
				c.Add(key, "has no meaning with read.talks: the instrument takes no message")
			}
		}
	}
	if r.Again != "" && r.Query == "" && !r.Talks {
		c.Add("read.again", "needs read.query")
	}
	if ready := r.Ready; ready != nil {
		if ready.Mask < 1 || ready.Mask > 255 {
			c.Add("read.ready.mask", "is %d; expected the sum of the bits that tell, 1 to 255", ready.Mask)
		}
		if ready.Expect != nil && *ready.Expect&^ready.Mask != 0 {
			c.Add("read.ready.expect", "is %d, which has bits outside mask %d: it could never be true", *ready.Expect, ready.Mask)
		}
		c.positive("read.ready.every", ready.Every)
		if l := c.file.Link; l != nil && l.CommonCommands && len(r.Commands) == 0 && !r.Trigger {
			c.Add("read.ready", "would ask *STB? while the query waits for its answer; give commands that start the measurement, and a query that fetches it")
		}
	}
}

package profile

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
)

const (
	// regainAttempts is how often the link is cleared before it is given up.
	regainAttempts = 3
	// staleBound is how many messages are thrown away while waiting for the
	// answer to the identity query.
	staleBound = 100
	// defaultQuiet is how long the line must be silent to count as empty.
	defaultQuiet = link.DefaultQuiet
)

// meet asks the instrument at opening who it is. It asks twice: a message that
// a program before this one has left on the line would come first, and all
// answers would then be shifted by one. Where it cannot tell, what may still
// come is waited for.
func (s *session) meet(ctx context.Context) error {
	if s.file.Link != nil && s.file.Link.ClearAtOpen {
		if err := s.clear(ctx); err != nil {
			return err
		}
	}
	if s.talks() {
		return nil
	}
	if s.file.Identify == nil {
		stop := s.file.Abort
		if stop != nil { // then nothing that a program before this one began goes on
			if err := s.commands(ctx, stop.Commands, nil, clockOr(stop.Wait, 0)); err != nil {
				return err
			}
		}
		_, err := s.outwait(ctx, s.file.RFOff != nil || stop != nil)
		return err
	}
	var first string
	for range regainAttempts {
		var err error
		if first, err = s.ask(ctx, s.file.Identify.Query, s.identifyTimeout()); err != nil {
			return err
		}
		again, err := s.ask(ctx, s.file.Identify.Query, s.identifyTimeout())
		if err != nil {
			return err
		}
		if first == again {
			s.identity = first
			return nil
		}
		s.log.Warn("two identities that differ; clearing the link", "first", first, "second", again)
		if err := s.clear(ctx); err != nil {
			return err
		}
	}
	return fmt.Errorf("%w: identity changes from answer to answer; the last was %s", drivers.ErrUnreadable, quote(first))
}

func (s *session) identifyTimeout() time.Duration {
	return clockOr(s.file.Identify.Timeout, s.timeout())
}

// clear brings the link back to a state without pending messages.
func (s *session) clear(ctx context.Context) error {
	limited, cancel := context.WithTimeout(ctx, s.timeout())
	defer cancel()
	if err := s.link.Clear(limited); err != nil {
		return fmt.Errorf("clear the link: %w", s.lose(ctx, err))
	}
	s.soiled, s.aligned = false, false
	if l := s.file.Link; l != nil {
		if err := s.wait(ctx, clockOr(l.ClearWait, 0)); err != nil {
			return err
		}
	}
	return s.remote(ctx)
}

// regain makes sure that the next answer belongs to the next question.
// answers tells whether the instrument has shown that it still answers; where
// it has no identity, silence is waited for and it may not have.
func (s *session) regain(ctx context.Context) (answers bool, err error) {
	for attempt := range regainAttempts {
		answers, err = s.regainOnce(ctx)
		if err == nil {
			s.lost, s.testing = false, false
			return answers, nil
		}
		s.lost = true
		if ctx.Err() != nil {
			return false, ctx.Err()
		}
		s.log.Warn("recovering the link failed", "attempt", attempt+1, "error", err)
	}
	return false, err
}

func (s *session) regainOnce(ctx context.Context) (answers bool, err error) {
	if s.talks() {
		return false, s.align(ctx)
	}
	if err := s.clear(ctx); err != nil {
		return false, err
	}
	stop := s.stopping()
	if stop != nil {
		if err := s.commands(ctx, stop.Commands, nil, clockOr(stop.Wait, 0)); err != nil {
			return false, err
		}
	}
	if s.file.Identify == nil {
		return s.outwait(ctx, stop != nil)
	}
	if stop == nil { // a measurement that nothing has stopped may answer yet
		if err := s.awaitSilence(ctx); err != nil {
			return false, err
		}
	}
	if err := s.matchIdentity(ctx); err != nil {
		return false, err
	}
	// The answer may have been that of an earlier attempt. The answer to this
	// one then follows at once, and is thrown away with the next question.
	return true, s.wait(ctx, s.quiet())
}

// stopping is what is sent first on a cleared link: the abort of a counter,
// the RF off of a source.
func (s *session) stopping() *Commands {
	if off := s.file.RFOff; off != nil {
		return &Commands{Commands: off.Commands, Wait: off.Wait}
	}
	return s.file.Abort
}

// matchIdentity asks who the instrument is and throws away what comes before
// the identity known from opening.
func (s *session) matchIdentity(ctx context.Context) error {
	deadline := time.Now().Add(s.identifyTimeout()) // of the link, so by the machine's clock
	message, err := s.ask(ctx, s.file.Identify.Query, s.identifyTimeout())
	for range staleBound {
		switch {
		case err != nil:
			return fmt.Errorf("wait for identity %s: %w", quote(s.identity), err)
		case message == s.identity:
			return nil
		}
		s.log.Warn("threw away a message that came before the identity", "message", quote(message))
		message, err = s.receive(ctx, time.Until(deadline))
	}
	return fmt.Errorf("%w: %d messages came and none was identity %s", drivers.ErrUnreadable, staleBound, quote(s.identity))
}

// outwait is what is done where there is no identity to match. answers tells
// whether the instrument has answered another question instead. sent tells
// that a message went out since the last Clear, so that silence leaves the
// link dirty.
func (s *session) outwait(ctx context.Context, sent bool) (answers bool, err error) {
	if s.mute() {
		return false, nil
	}
	if err := s.awaitSilence(ctx); err != nil {
		return false, err
	}
	if sent {
		if err := s.clear(ctx); err != nil {
			return false, err
		}
	}
	if s.file.Errors == nil {
		return s.answersPoll(ctx)
	}
	_, _, err = s.drain(ctx)
	return err == nil, err
}

// awaitSilence throws away what comes until nothing has come for longer than
// anything takes that may still be under way.
func (s *session) awaitSilence(ctx context.Context) error {
	for range staleBound {
		message, err := s.receive(ctx, s.longestAnswer())
		switch {
		case err == nil:
			s.log.Warn("threw away a late message", "message", quote(message))
		case errors.Is(err, link.ErrTimeout):
			s.lost = false // silence is what was hoped for
			return nil
		default:
			return err
		}
	}
	return fmt.Errorf("%w: %d messages came without a question; does the instrument send by itself?", drivers.ErrUnreadable, staleBound)
}

// mute tells whether the instrument is a source that is never asked anything,
// so that nothing it sent could be taken for an answer.
func (s *session) mute() bool {
	f := s.file
	return f.Role == RoleSource && f.Identify == nil && f.Errors == nil && f.Reference == nil && (f.Lock == nil || f.Lock.Poll) &&
		f.RFOff.Query+f.RFOn.Query+f.Frequency.Query+f.Level.Query+f.Settle.Query == ""
}

func (s *session) quiet() time.Duration {
	if s.file.Link == nil {
		return defaultQuiet
	}
	return clockOr(s.file.Link.Quiet, defaultQuiet)
}

// longestAnswer is longer than any answer may be under way.
func (s *session) longestAnswer() time.Duration {
	most := s.timeout()
	if t := s.file.SelfTest; t != nil && s.testing {
		most = max(most, clockOr(t.Timeout, selfTestTimeout))
	}
	if s.patience != nil {
		most = max(most, s.patience())
	}
	return most + s.quiet()
}

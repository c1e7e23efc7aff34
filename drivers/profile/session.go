package profile

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
)

// Deadlines where the profile states none.
const (
	defaultTimeout  = link.DefaultTimeout
	selfTestTimeout = 30 * time.Second
)

// errLost is what a source answers until it is recovered.
var errLost = fmt.Errorf("%w: recover the source and set it anew", link.ErrDirty)

// session is one conversation over one link. Whoever holds the token of turn
// talks; the fields below it belong to that one.
type session struct {
	profile *Profile
	file    *File
	name    string
	link    link.Link
	clock   drivers.Clock
	log     *slog.Logger
	limit   time.Duration // longest wait for a reply as the caller states it; 0: as the profile does

	byHand func(ctx context.Context, do string) error // asks a person; may be nil

	turn chan struct{}

	closed bool
	// lost tells that an exchange went wrong: what comes next on the link may
	// be the answer to an earlier question.
	lost bool
	// soiled tells that the link itself may need clearing.
	soiled bool
	// aligned tells that the next message of an instrument which talks by
	// itself begins at its beginning.
	aligned bool
	// identity is the answer at open, by which the instrument is known again.
	identity string
	// testing tells that a self-test was begun whose answer has not come.
	testing bool
	// isReading tells whether stray bytes hold what could be a reading; nil for
	// a source.
	isReading func(stray []byte) bool
	// patience is how long the longest reading that may be under way takes;
	// nil for a source.
	patience func() time.Duration

	mutex sync.Mutex
	stop  context.CancelFunc // ends the action that is under way
}

// do carries out one action, alone on the link, and names it in its error.
func (s *session) do(ctx context.Context, doing string, action func(context.Context) error) error {
	end, err := s.begin(ctx)
	if err != nil {
		return s.fail(doing, err)
	}
	defer end()
	ctx, release := s.interruptible(ctx)
	defer release()
	return s.fail(doing, s.unlessClosed(ctx, action))
}

// doToTheEnd is do for an action that interrupt must not end: RF off.
func (s *session) doToTheEnd(ctx context.Context, doing string, action func(context.Context) error) error {
	end, err := s.begin(ctx)
	if err != nil {
		return s.fail(doing, err)
	}
	defer end()
	return s.fail(doing, s.unlessClosed(ctx, action))
}

func (s *session) unlessClosed(ctx context.Context, action func(context.Context) error) error {
	if s.closed {
		return link.ErrClosed
	}
	return action(ctx)
}

// begin waits for its turn, which ends with the function that it gives.
func (s *session) begin(ctx context.Context) (end func(), err error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	select {
	case s.turn <- struct{}{}:
		return func() { <-s.turn }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// interruptible gives a context that interrupt ends.
func (s *session) interruptible(ctx context.Context) (context.Context, func()) {
	ctx, cancel := context.WithCancel(ctx)
	s.mutex.Lock()
	s.stop = cancel
	s.mutex.Unlock()
	return ctx, func() {
		s.mutex.Lock()
		s.stop = nil
		s.mutex.Unlock()
		cancel()
	}
}

// interrupt ends the action that is under way, so that RF off need not wait.
func (s *session) interrupt() {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	if s.stop != nil {
		s.stop()
	}
}

// fail names instrument and action, once.
func (s *session) fail(doing string, err error) error {
	var named *drivers.Error
	if err == nil || errors.As(err, &named) {
		return err
	}
	return &drivers.Error{Name: s.name, Address: s.link.Address(), Doing: doing, Err: err}
}

// abandon closes the link after a failed opening.
func (s *session) abandon(err error) error {
	s.closed = true
	return errors.Join(err, s.link.Close())
}

func (s *session) timeout() time.Duration {
	if s.limit > 0 {
		return s.limit
	}
	if s.file.Link == nil {
		return defaultTimeout
	}
	return clockOr(s.file.Link.Timeout, defaultTimeout)
}

// wait pauses, where the profile wants a pause.
func (s *session) wait(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return nil
	}
	return s.clock.Sleep(ctx, d)
}

// pace pauses before a message, for instruments that lose what comes back to
// back.
func (s *session) pace(ctx context.Context) error {
	if s.file.Link == nil {
		return nil
	}
	return s.wait(ctx, clockOr(s.file.Link.Pace, 0))
}

// send sends one message that has no answer.
func (s *session) send(ctx context.Context, message string) error {
	if err := s.pace(ctx); err != nil {
		return err
	}
	limited, cancel := context.WithTimeout(ctx, s.timeout())
	defer cancel()
	if err := s.link.Write(limited, []byte(message)); err != nil {
		return fmt.Errorf("send %s: %w", quote(message), s.lose(ctx, err))
	}
	return nil
}

// ask sends a question and waits for its answer. What has come unasked before
// is thrown away by the link.
func (s *session) ask(ctx context.Context, question string, timeout time.Duration) (string, error) {
	if err := s.pace(ctx); err != nil {
		return "", err
	}
	limited, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	answer, err := s.link.Query(limited, []byte(question))
	if err != nil {
		return "", fmt.Errorf("ask %s: %w", quote(question), s.lose(ctx, err))
	}
	if s.isReading != nil {
		if stray := s.link.Stray(); s.isReading(stray) {
			s.lost = true
			return "", fmt.Errorf("ask %s: %w: %s came before, which no question was waiting for", quote(question), drivers.ErrOutOfStep, quote(string(stray)))
		}
	}
	return string(answer), nil
}

// receive waits for one more message.
func (s *session) receive(ctx context.Context, timeout time.Duration) (string, error) {
	limited, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	message, err := s.link.Read(limited)
	if err != nil {
		return "", s.lose(ctx, err)
	}
	return string(message), nil
}

// lose notes that an exchange went wrong. Where the caller has given up, that
// is the reason, and not a silent instrument.
func (s *session) lose(ctx context.Context, err error) error {
	s.lost, s.soiled = true, true
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return err
}

// understand marks the session as lost where an answer made no sense: it may
// have belonged to another question.
func (s *session) understand(question string, err error) error {
	if err == nil {
		return nil
	}
	s.lost = true
	if question == "" {
		return fmt.Errorf("wait for the reading: %w", err)
	}
	return fmt.Errorf("ask %s: %w", quote(question), err)
}

// commands fills in and sends the messages of an action, then pauses.
func (s *session) commands(ctx context.Context, templates []string, w words, wait time.Duration) error {
	messages := make([]string, len(templates))
	for i, template := range templates { // all first: an action is never half sent for want of a word
		message, err := expand(template, w)
		if err != nil {
			return err
		}
		messages[i] = message
	}
	for _, message := range messages {
		if err := s.send(ctx, message); err != nil {
			return err
		}
	}
	return s.wait(ctx, wait)
}

// confirm asks for a state and compares the answer with those that are right.
// Another answer is an error of the given kind, and leaves the session lost:
// it could have been the answer to another question.
func (s *session) confirm(ctx context.Context, question string, timeout time.Duration, right []string, kind error) error {
	if question == "" {
		return nil
	}
	answer, err := s.ask(ctx, question, timeout)
	if err != nil {
		return err
	}
	if !isAnswer(answer, right) {
		return s.understand(question, fmt.Errorf("%w: %s; expected %s", kind, quote(answer), strings.Join(quoted(right), " or ")))
	}
	return nil
}

package virtual

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"bandproof/drivers/scpi"
)

// device is an instrument as a session drives it. All methods are called with
// the bench's mutex held.
type device interface {
	name() string
	link() LinkScenario
	identity() Identity
	registers() *status
	poweredFor() float64 // model seconds
	commands() []command
	// pending is when the operation under way will have ended: the zero time
	// where that depends on something else, of which changed tells.
	pending() (until time.Time, changed <-chan struct{}, busy bool)
	// settleUp is called when a client has waited for pending to end.
	settleUp()
	// reset is *RST; clear stops what is pending.
	reset()
	clear()
	// conditions are the questionable and operation condition registers.
	conditions() (questionable, operation int)
	// gone is called when a client has left.
	gone(s *session)
}

// command is one header that an instrument knows.
type command struct {
	pattern scpi.Pattern
	query   bool
	most    int // arguments allowed
	run     func(s *session, args []string) (string, error)
}

// session is the conversation with one client.
type session struct {
	b      *Bench
	dev    device
	ctx    context.Context
	in     <-chan string // complete messages; closed when the client has left
	queue  []string      // messages that came while an answer was pending
	closed bool
	asking bool // the unit under way is a question
	send   func(reply, message string) error

	// What follows is for conversations whose server sends responses by itself.
	taken   int    // messages that were begun
	queues  bool   // what comes while an answer is pending waits in line
	dropped func() // a response gave way to what came after its question; may be nil
	did     func() // a message was carried out; may be nil
}

// mostQueued bounds what a client may send ahead while an answer is pending.
const mostQueued = 1000

// run serves the client until it leaves or the context ends.
func (s *session) run() error {
	if c, ok := s.dev.(*counter); ok && c.sc.Link.Dialect == dialectTalks {
		return s.chatter(c)
	}
	defer func() {
		s.b.mu.Lock()
		defer s.b.mu.Unlock()
		s.dev.gone(s)
	}()
	for {
		message, err := s.next()
		if err != nil {
			return err
		}
		s.taken++
		reply, has, err := s.execute(message)
		if err != nil {
			return err
		}
		if s.b.heard != nil {
			s.b.heard(s.dev.name(), message, reply)
		}
		if has {
			if err := s.send(reply, message); err != nil {
				return err
			}
		}
		if s.did != nil {
			s.did()
		}
	}
}

func (s *session) next() (string, error) {
	if len(s.queue) > 0 {
		m := s.queue[0]
		s.queue = s.queue[1:]
		return m, nil
	}
	if s.closed {
		return "", errGone
	}
	select {
	case m, ok := <-s.in:
		if !ok {
			return "", errGone
		}
		return m, nil
	case <-s.ctx.Done():
		return "", s.ctx.Err()
	}
}

// execute carries out a program message and returns the response message. An
// error ends the session; mistakes of the client go to the error queue.
func (s *session) execute(message string) (reply string, has bool, err error) {
	s.b.mu.Lock()
	defer s.b.mu.Unlock()
	st := s.dev.registers()
	if message == overrun {
		st.push(errOverrun)
		return "", false, nil
	}
	if s.dev.link().Dialect == dialectLetters {
		return s.letters(message)
	}
	list, mistake := scpi.ParseProgram([]byte(message)) // with a mistake, the commands before it
	var replies []string
	for _, u := range list {
		s.b.catchUp()
		text, err := s.unit(u)
		var e *scpi.Error
		switch {
		case errors.As(err, &e):
			if e == errInterrupted && !u.Query {
				return "", false, nil // *WAI is no question: nothing is lost
			}
			st.push(e)
			if e == errInterrupted {
				if s.dropped != nil {
					s.dropped()
				}
				return "", false, nil // the whole response is dropped
			}
			if e.Code > -200 {
				return strings.Join(replies, ";"), len(replies) > 0, nil // the rest can't be trusted
			}
		case err != nil:
			return "", false, err
		case u.Query:
			replies = append(replies, text)
		}
	}
	var e *scpi.Error
	if errors.As(mistake, &e) {
		st.push(e)
	}
	return strings.Join(replies, ";"), len(replies) > 0, nil
}

func (s *session) unit(u scpi.Command) (string, error) {
	s.asking = u.Query
	for _, list := range [][]command{commonCommands, s.dev.commands()} {
		for _, c := range list {
			if c.query != u.Query {
				continue
			}
			numbers, ok := c.pattern.Match(u.Header)
			switch {
			case !ok:
				continue
			case slices.ContainsFunc(numbers, func(n int) bool { return n != 1 }):
				return "", errHeaderSuffix
			case len(u.Arguments) > c.most:
				return "", errNotAllowed
			}
			return c.run(s, u.Arguments)
		}
	}
	return "", errUndefined
}

// await waits until the device's pending operation has ended, with the mutex
// released meanwhile. The error is errInterrupted when the client has sent
// something that the pending answer must give way to, errGone when it has
// left, else that of the context.
func (s *session) await() error {
	for {
		s.b.catchUp()
		until, changed, busy := s.dev.pending()
		if !busy {
			s.dev.settleUp()
			return nil
		}
		s.b.mu.Unlock()
		err := s.sleep(until, changed)
		s.b.mu.Lock()
		if err != nil {
			return err
		}
	}
}

// sleep waits for a time on the clock, or for a change, and listens meanwhile.
func (s *session) sleep(until time.Time, changed <-chan struct{}) error {
	if isInstant(s.b.clock) && !until.IsZero() {
		return s.b.clock.Sleep(s.ctx, until.Sub(s.b.clock.Now()))
	}
	ctx, cancel := context.WithCancel(s.ctx)
	over := make(chan error, 1)
	go func() {
		if until.IsZero() {
			<-ctx.Done()
			over <- ctx.Err()
			return
		}
		over <- s.b.clock.Sleep(ctx, until.Sub(s.b.clock.Now()))
	}()
	finished := false
	defer func() {
		cancel()
		if !finished {
			<-over
		}
	}()
	in := s.in
	if len(s.queue) > mostQueued {
		in = nil
	}
	for {
		select {
		case err := <-over:
			finished = true
			return err
		case <-changed:
			return nil
		case m, ok := <-in:
			if !ok {
				s.closed = true
				return errGone
			}
			s.queue = append(s.queue, m)
			if s.asking && !s.queues && s.dev.link().WhileBusy != whileBusyQueue || urgent(m) {
				return errInterrupted
			}
			if len(s.queue) > mostQueued {
				in = nil
			}
		case <-s.ctx.Done():
			return s.ctx.Err()
		}
	}
}

var abortPattern = scpi.MustPattern("ABORt")

// urgent tells whether a message stops a measurement and so can't wait for it.
func urgent(message string) bool {
	list, _ := scpi.ParseProgram([]byte(message)) // a mistake is told when its turn comes
	for _, u := range list {
		_, abort := abortPattern.Match(u.Header)
		if !u.Query && (abort || strings.EqualFold(u.Header, "*CLS") || strings.EqualFold(u.Header, "*RST")) {
			return true
		}
	}
	return false
}

// How a message is treated that comes while an answer is pending.
const (
	whileBusyInterrupt = "interrupt" // as IEEE 488.2 has it: the answer is dropped, error -410
	whileBusyQueue     = "queue"     // as many sockets do: it waits in line
)

package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"sync"

	"bandproof/drivers/link/hislip"
)

// hislipAsync is the asynchronous channel of a session. What is asked is asked
// by one goroutine at a time; what comes is read by its own.
type hislipAsync struct {
	log     *slog.Logger
	conn    net.Conn
	reading sync.WaitGroup

	mu      sync.Mutex
	waiting []hislipTicket // in the order of the questions
	cuts    int            // AsyncInterrupted messages since the last clear
	changed chan struct{}  // closed and made anew when cuts or over change
	over    error          // why nothing more comes
}

// hislipTicket waits for one response. The answer to a question that was given
// up goes to its ticket all the same, and not to the next question's.
type hislipTicket struct {
	want   hislip.Type
	answer chan hislip.Message // takes one; closed without where nothing comes
}

func newHiSLIPAsync(conn net.Conn, log *slog.Logger) *hislipAsync {
	a := &hislipAsync{log: log, conn: conn, changed: make(chan struct{})}
	a.reading.Go(a.run)
	return a
}

// run reads until the connection ends.
func (a *hislipAsync) run() {
	in := hislip.NewReader(a.conn, 64<<10) // only faults' texts are of any length
	for {
		m, err := in.Next()
		if errors.Is(err, hislip.ErrTooLarge) {
			a.log.Debug("an asynchronous message is dropped", "error", err)
			continue
		}
		if err == nil {
			err = a.take(m)
		}
		if err != nil {
			a.ends(err)
			return
		}
	}
}

// take sorts out what has come. An error ends the session.
func (a *hislipAsync) take(m hislip.Message) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	f, fault := hislip.FaultOf(m)
	switch {
	case fault && f.Fatal:
		return hislipFault(f)
	case fault:
		a.log.Debug("the instrument tells of an error", "error", f)
		if len(a.waiting) > 0 {
			a.give(0, m)
		}
		return nil
	case m.Type == hislip.AsyncServiceRequest:
		a.log.Debug("the instrument requests service", "status_byte", m.Control)
		return nil
	case m.Type == hislip.AsyncInterrupted:
		a.cuts++
		a.change()
		return nil
	}
	for i, t := range a.waiting {
		if t.want == m.Type {
			a.give(i, m)
			return nil
		}
	}
	a.log.Debug("an asynchronous message that nobody asked for is dropped", "type", m.Type.String())
	return nil
}

// give answers a ticket. Those before it get nothing any more.
func (a *hislipAsync) give(i int, m hislip.Message) {
	a.waiting[i].answer <- m
	for _, t := range a.waiting[:i] {
		close(t.answer)
	}
	a.waiting = a.waiting[i+1:]
}

// change wakes who waits for a change.
func (a *hislipAsync) change() {
	close(a.changed)
	a.changed = make(chan struct{})
}

// ends tells everyone that nothing more comes.
func (a *hislipAsync) ends(err error) {
	var known *Error
	switch {
	case errors.As(err, &known):
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		err = &Error{Kind: ErrDisconnected, Err: errors.New("the instrument has closed the asynchronous channel")}
	case errors.Is(err, hislip.ErrHeader):
		err = &Error{Kind: ErrProtocol, Err: err}
	default:
		err = &Error{Kind: ErrDisconnected, Err: err}
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.over = err
	for _, t := range a.waiting {
		close(t.answer)
	}
	a.waiting = nil
	a.change()
}

// ask sends a message and waits for the response of the given type.
func (a *hislipAsync) ask(ctx context.Context, m hislip.Message, want hislip.Type) (hislip.Message, error) {
	t := hislipTicket{want: want, answer: make(chan hislip.Message, 1)}
	a.mu.Lock()
	err := a.over
	if err == nil {
		a.waiting = append(a.waiting, t)
	}
	a.mu.Unlock()
	if err != nil {
		return hislip.Message{}, err
	}
	if rest, err := sendPart(ctx, a.conn, m.Append(nil)); err != nil {
		if len(rest) > 0 { // the next message would be taken for the rest of this
			err = errors.Join(err, a.conn.Close())
		}
		return hislip.Message{}, err
	}
	select {
	case answer, ok := <-t.answer:
		if !ok {
			return hislip.Message{}, a.missed(m)
		}
		if f, fault := hislip.FaultOf(answer); fault {
			return hislip.Message{}, hislipFault(f)
		}
		return answer, nil
	case <-ctx.Done():
		return hislip.Message{}, fmt.Errorf("%s came not in time: %w", want, ctx.Err())
	}
}

// missed is the error of a question that has got no answer.
func (a *hislipAsync) missed(m hislip.Message) error {
	if err := a.fate(); err != nil {
		return err
	}
	return &Error{Kind: ErrProtocol, Err: fmt.Errorf("the instrument has left out its response to %s", m.Type)}
}

// fate is why the channel has ended, nil while it has not.
func (a *hislipAsync) fate() error {
	if a == nil {
		return nil
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.over
}

// interrupted counts the AsyncInterrupted messages.
func (a *hislipAsync) interrupted() int {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.cuts
}

// awaitInterrupted waits until so many have come.
func (a *hislipAsync) awaitInterrupted(ctx context.Context, count int) error {
	for {
		a.mu.Lock()
		cuts, changed, over := a.cuts, a.changed, a.over
		a.mu.Unlock()
		switch {
		case cuts >= count:
			return nil
		case over != nil:
			return over
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// restart forgets what was before a device clear.
func (a *hislipAsync) restart() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.cuts = 0
	for _, t := range a.waiting {
		close(t.answer)
	}
	a.waiting = nil
}

// close ends the channel and waits for its reader.
func (a *hislipAsync) close() error {
	err := a.conn.Close()
	a.reading.Wait()
	if errors.Is(err, net.ErrClosed) {
		return nil // it was given up already
	}
	return err
}

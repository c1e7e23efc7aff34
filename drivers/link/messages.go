package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
)

// messenger is one connection that carries whole messages. It is used by one
// goroutine at a time, but for close. Every context has a deadline, and each
// method ends soon after its context. An error is an *Error of the kind that
// fits (address and operation are filled in later), or any other, which counts
// as ErrDisconnected unless the context has ended.
type messenger interface {
	// write sends a whole message, with END on its last byte.
	write(ctx context.Context, message []byte) error
	// read waits for one whole message up to END; more than most bytes are
	// ErrProtocol.
	read(ctx context.Context, most int) ([]byte, error)
	// clear is the device clear. After an error the connection is made anew.
	clear(ctx context.Context) error
	trigger(ctx context.Context) error
	status(ctx context.Context) (byte, error)
	// remote puts the instrument under remote control, or back to local.
	remote(ctx context.Context, on bool) error
	// close ends everything under way. It is idempotent.
	close() error
}

// discarder is a messenger that knows of messages which came and were not the
// answer to anything; take gives and forgets them.
type discarder interface{ take() []byte }

// requester is a messenger whose instrument can ask for service by itself.
type requester interface {
	serviceRequests(ctx context.Context) (<-chan struct{}, error)
}

// messages is a Link on a messenger.
type messages struct {
	*conversation
	connect func(ctx context.Context) (messenger, error)
	now     messenger // of whoever has the turn; nil: there is no connection
}

// openMessages connects for the first time.
func (o Opener) openMessages(ctx context.Context, r Resource, c Config, connect func(ctx context.Context) (messenger, error)) (Link, error) {
	m := &messages{conversation: o.converse(r, c), connect: connect}
	if err := m.open(ctx, m.join); err != nil {
		return nil, err
	}
	return m, nil
}

func (m *messages) join(ctx context.Context) error {
	now, err := m.connect(ctx)
	if err != nil {
		m.dirty = &Error{Kind: ErrDisconnected, Err: err}
		return err
	}
	m.now, m.dirty, m.sent = now, nil, false
	return nil
}

func (m *messages) leave() error {
	if m.now == nil {
		return nil
	}
	old := m.now
	m.now = nil
	m.dirty = &Error{Kind: ErrDisconnected, Err: errors.New("the connection was given up")}
	return m.letGo(old.close)
}

func (m *messages) Write(ctx context.Context, message []byte) error {
	return m.operate(ctx, "write", func(ctx context.Context) error { return m.write(ctx, message) })
}

func (m *messages) Read(ctx context.Context) (answer []byte, err error) {
	err = m.operate(ctx, "read", func(ctx context.Context) error {
		answer, err = m.read(ctx)
		return err
	})
	return answer, err
}

func (m *messages) Query(ctx context.Context, message []byte) (answer []byte, err error) {
	err = m.operate(ctx, "write", func(ctx context.Context) error {
		m.discardPending()
		if err := m.write(ctx, message); err != nil {
			return err
		}
		answer, err = m.read(ctx)
		return err
	})
	return answer, err
}

// operate takes its turn on a link that is ready.
func (m *messages) operate(ctx context.Context, op string, do func(ctx context.Context) error) error {
	ctx, done, err := m.begin(ctx, op)
	if err != nil {
		return err
	}
	defer done()
	if err := m.ready(op); err != nil {
		return err
	}
	return do(ctx)
}

func (m *messages) write(ctx context.Context, message []byte) error {
	line := m.config.terminated(message)
	m.sent = true
	err := m.now.write(ctx, line)
	if err == nil {
		m.tell(Sent, line, "")
		return nil
	}
	m.tell(Sent, line, "not all of it, perhaps nothing: "+err.Error())
	return m.broken(ctx, "write", err)
}

func (m *messages) read(ctx context.Context) ([]byte, error) {
	// A few bytes more for the terminator, which does not count.
	whole, err := m.now.read(ctx, m.config.MaxMessage+len("\r\n"))
	if err != nil {
		failed := m.broken(ctx, "read", err)
		m.silence(failed)
		return nil, failed
	}
	answer, err := m.single(whole)
	if err != nil {
		m.tell(Discarded, whole, err.Error())
		return nil, m.soiled(&Error{Address: m.address, Op: "read", Kind: ErrProtocol, Err: err})
	}
	m.tell(Received, whole, "")
	return answer, nil
}

// single takes the terminator off. Where the instrument uses one, a message
// that holds another before its end is two that were joined.
func (m *messages) single(whole []byte) ([]byte, error) {
	f := framer{terminator: m.config.ReadTerminator, plain: m.config.PlainText, longest: m.config.MaxMessage}
	if f.terminator == "" {
		if len(whole) > f.longest {
			return nil, fmt.Errorf("more than %d bytes", f.longest)
		}
		return whole, nil
	}
	found, ok, err := f.scan(whole)
	switch {
	case err != nil:
		return nil, err
	case f.inBlock(whole):
		return nil, fmt.Errorf("%d bytes of a block that says it has %d", len(whole), f.blockEnd)
	case !ok:
		return whole, nil // END alone has ended it
	case len(bytes.Trim(whole[found.next:], "\r\n")) > 0:
		return nil, fmt.Errorf("%.80q is more than one message; do terminator and instrument fit?", whole)
	}
	return whole[:found.end], nil
}

// errPart is in the chain of what a read gives back that ended within a message.
var errPart = errors.New("part of a message came")

// inPart wraps an error by errPart, and adds nothing to its text.
func inPart(err error) error { return partError{err} }

type partError struct{ error }

func (e partError) Unwrap() []error { return []error{e.error, errPart} }

// broken says what a failed operation leaves behind.
func (m *messages) broken(ctx context.Context, op string, cause error) error {
	err := m.failed(ctx, op, cause)
	switch {
	case errors.Is(err, ErrDisconnected):
		return m.lost(op, inner(cause))
	case errors.Is(err, ErrTimeout) && op == "read" && !m.sent && !errors.Is(cause, errPart):
		return err // nothing was asked, so nothing can come late
	case errors.Is(err, errors.ErrUnsupported) && (op == "write" || op == "read"):
		// Every instrument can do these, so what reached it was not what was sent.
		err = &Error{Address: m.address, Op: op, Kind: ErrProtocol, Err: fmt.Errorf("%v; was it garbled on its way?", inner(cause))}
	case errors.Is(err, errors.ErrUnsupported):
		return err
	}
	return m.soiled(err)
}

// inner is what an error of a messenger says beside its kind.
func inner(err error) error {
	var known *Error
	if errors.As(err, &known) && known.Err != nil {
		return known.Err
	}
	return err
}

// discardPending tells of what came unasked before.
func (m *messages) discardPending() {
	m.stray.Store(nil)
	d, ok := m.now.(discarder)
	if !ok {
		return
	}
	late := d.take()
	if len(late) == 0 {
		return
	}
	kept := bytes.Clone(bytes.Trim(late[:min(len(late), 4096)], "\r\n"))
	m.stray.Store(&kept)
	m.log.Log(context.Background(), slog.LevelWarn, "threw away bytes of the instrument", "why", "came before the query was sent", "bytes", fmt.Sprintf("%.200q", late))
	m.tell(Discarded, late, "came before the query was sent")
}

func (m *messages) Clear(ctx context.Context) error {
	ctx, done, err := m.begin(ctx, "clear")
	if err != nil {
		return err
	}
	defer done()
	if err := m.clear(ctx); err != nil {
		if m.dirty == nil {
			m.dirty = &Error{Kind: ErrDirty, Err: err}
		}
		err = m.failed(ctx, "clear", err)
		m.note(Cleared, "failed: "+err.Error())
		return err
	}
	m.sent, m.dirty = false, nil
	m.note(Cleared, "")
	return nil
}

// errAnew asks for a new connection in place of a device clear.
var errAnew = errors.New("no device clear here")

// clear sends the device clear; where that fails, or there is none, it goes on
// with a new connection.
func (m *messages) clear(ctx context.Context) error {
	if m.now != nil {
		err := m.deviceClear(ctx)
		if err == nil || ctx.Err() != nil && !errors.Is(err, ErrDisconnected) {
			return err
		}
		m.log.Info("connecting anew", "reason", err)
		if err := m.leave(); err != nil {
			m.log.Warn("closing the old connection", "error", err)
		}
	}
	return m.retry(ctx, func(ctx context.Context) error {
		if err := m.join(ctx); err != nil {
			return err
		}
		err := m.deviceClear(ctx)
		if err == nil || errors.Is(err, errAnew) {
			return nil
		}
		return &Error{Kind: ErrDisconnected, Err: errors.Join(fmt.Errorf("device clear: %w", err), m.leave())}
	})
}

// deviceClear is errAnew where the technology has none, or the instrument must
// not get it.
func (m *messages) deviceClear(ctx context.Context) error {
	if m.config.NoDeviceClear {
		return errAnew
	}
	err := m.now.clear(ctx)
	if errors.Is(err, errors.ErrUnsupported) {
		return errAnew
	}
	return err
}

func (m *messages) Trigger(ctx context.Context) error {
	return m.operate(ctx, "trigger", func(ctx context.Context) error {
		m.sent = true // the answer to what was armed may come
		if err := m.now.trigger(ctx); err != nil {
			return m.broken(ctx, "trigger", err)
		}
		m.note(Triggered, "")
		return nil
	})
}

func (m *messages) StatusByte(ctx context.Context) (status byte, err error) {
	err = m.operate(ctx, "status", func(ctx context.Context) error {
		if status, err = m.now.status(ctx); err != nil {
			return m.broken(ctx, "status", err)
		}
		m.tell(Polled, []byte{status}, "")
		return nil
	})
	return status, err
}

func (m *messages) Remote(ctx context.Context) error { return m.panel(ctx, "remote", true, ToRemote) }

func (m *messages) Local(ctx context.Context) error { return m.panel(ctx, "local", false, ToLocal) }

func (m *messages) panel(ctx context.Context, op string, on bool, d Direction) error {
	return m.operate(ctx, op, func(ctx context.Context) error {
		if err := m.now.remote(ctx, on); err != nil {
			return m.broken(ctx, op, err)
		}
		m.note(d, "")
		return nil
	})
}

// ServiceRequests implements [ServiceRequester].
func (m *messages) ServiceRequests(ctx context.Context) (out <-chan struct{}, err error) {
	err = m.operate(ctx, "service requests", func(ctx context.Context) error {
		r, ok := m.now.(requester)
		if !ok {
			return m.unsupported("service requests", "the link has no channel for requests of the instrument; read the status byte instead")
		}
		if out, err = r.serviceRequests(ctx); err != nil {
			return m.broken(ctx, "service requests", err)
		}
		return nil
	})
	return out, err
}

// Close ends the conversation.
func (m *messages) Close() error { return m.finish(m.leave) }

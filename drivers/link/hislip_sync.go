package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"time"

	"bandproof/drivers/link/hislip"
)

// within runs an operation on a connection and cuts it off when the context
// ends. set is SetReadDeadline or SetWriteDeadline of the connection.
func within(ctx context.Context, set func(time.Time) error, operation func() error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	release := onEnd(ctx, func() { _ = set(time.Unix(1, 0)) })
	err := operation()
	if release() {
		err = errors.Join(err, set(time.Time{})) // for the next operation
	}
	return err
}

// sendPart sends bytes and tells which of them were not taken.
func sendPart(ctx context.Context, conn net.Conn, p []byte) (rest []byte, err error) {
	err = within(ctx, conn.SetWriteDeadline, func() error {
		n, err := conn.Write(p)
		rest = p[n:]
		if err == nil && n < len(p) {
			return io.ErrShortWrite
		}
		return err
	})
	return rest, err
}

// send sends one message on the synchronous channel. What was not taken is kept
// for the device clear: the instrument must see the message's end first.
func (s *hislipSession) send(ctx context.Context, m hislip.Message) (err error) {
	s.unsent, err = sendPart(ctx, s.conn, m.Append(make([]byte, 0, hislip.HeaderSize+len(m.Payload))))
	return err
}

// number sends a message that has an identifier: it is counted, and tells
// whether a response has been handed on since the last one.
func (s *hislipSession) number(ctx context.Context, t hislip.Type, payload []byte) error {
	m := hislip.Message{Type: t, Parameter: s.id, Payload: payload}
	if s.rmt {
		m.Control = hislip.RMTDelivered
	}
	s.id += hislip.NextID
	s.rmt, s.owed = false, true
	return s.send(ctx, m)
}

// last is the identifier of the last message that was sent.
func (s *hislipSession) last() uint32 { return s.id - hislip.NextID }

func (s *hislipSession) write(ctx context.Context, message []byte) error {
	if err := s.usable(); err != nil {
		return err
	}
	if err := s.settle(ctx); err != nil {
		return err
	}
	for len(message) > s.payload {
		if err := s.number(ctx, hislip.Data, message[:s.payload]); err != nil {
			return err
		}
		message = message[s.payload:]
	}
	return s.number(ctx, hislip.DataEnd, message)
}

func (s *hislipSession) trigger(ctx context.Context) error {
	if err := s.usable(); err != nil {
		return err
	}
	if err := s.settle(ctx); err != nil {
		return err
	}
	return s.number(ctx, hislip.Trigger, nil)
}

// usable tells why nothing can be sent, if so.
func (s *hislipSession) usable() error {
	if s.broken != nil {
		return s.broken
	}
	if len(s.unsent) > 0 {
		return &Error{Kind: ErrDirty, Err: errors.New("an earlier message was cut off")}
	}
	return s.asyncs.fate()
}

func (s *hislipSession) read(ctx context.Context, most int) ([]byte, error) {
	var answer []byte
	for {
		m, err := s.next(ctx)
		if err != nil {
			if answer != nil {
				err = inPart(err)
			}
			return nil, err
		}
		switch m.Type {
		case hislip.Data, hislip.DataEnd:
			if s.foreign(m) {
				s.log.Debug("an answer to another message is dropped", "type", m.Type.String(), "id", m.Parameter, "waiting_for", s.last(), "bytes", len(m.Payload))
				answer = nil
				continue
			}
			if len(answer)+len(m.Payload) > most {
				return nil, &Error{Kind: ErrProtocol, Err: fmt.Errorf("an answer of more than %d bytes", most)}
			}
			if answer == nil {
				answer = m.Payload
			} else {
				answer = append(answer, m.Payload...)
			}
			if m.Type == hislip.DataEnd {
				s.rmt, s.owed, s.delivered = true, false, m.Parameter
				return answer, nil
			}
		case hislip.Interrupted:
			s.cut++
			s.log.Debug("the instrument dropped an answer that was not read", "id", m.Parameter)
			answer = nil
		default:
			if err := s.odd(ctx, m); err != nil {
				return nil, err
			}
		}
	}
}

// glance is how long is looked for what has come already.
const glance = 100 * time.Microsecond

// take gives what has come that no question waits for. In synchronised mode
// there can be something only where a message was sent whose answer, if any,
// was not read, and its identifier would tell; in overlap mode nothing tells.
func (s *hislipSession) take() (late []byte) {
	if s.broken != nil || len(s.unsent) > 0 || !s.owed && !s.overlap && !s.in.Buffered() {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), glance)
	defer cancel()
	for {
		m, err := s.next(ctx)
		switch {
		case err != nil:
			return late // nothing more, or what the next operation will find as well
		case m.Type == hislip.Data, m.Type == hislip.DataEnd:
			late = append(late, m.Payload...)
		case m.Type == hislip.Interrupted:
			s.cut++
		default:
			if s.odd(ctx, m) != nil {
				return late
			}
		}
	}
}

// foreign tells whether a response is not one to the last message. In overlap
// mode responses come in the order of the questions, and their identifiers are
// the instrument's own.
func (s *hislipSession) foreign(m hislip.Message) bool {
	if s.asyncs.interrupted() > s.cut {
		return true // all is dropped until Interrupted comes on this channel too
	}
	if s.overlap {
		return m.Parameter == s.delivered && m.Parameter != hislip.AnyID // it was here before
	}
	if m.Parameter == s.last() {
		return false
	}
	return m.Type == hislip.DataEnd || m.Parameter != hislip.AnyID
}

// settle waits, after the instrument has told on one channel that it dropped
// an answer, until it has told so on the other: nothing may be sent between.
func (s *hislipSession) settle(ctx context.Context) error {
	for s.asyncs.interrupted() > s.cut {
		m, err := s.next(ctx)
		if err != nil {
			return fmt.Errorf("wait for %s: %w", hislip.Interrupted, err)
		}
		switch m.Type {
		case hislip.Interrupted:
			s.cut++
		case hislip.Data, hislip.DataEnd:
		default:
			if err := s.odd(ctx, m); err != nil {
				return err
			}
		}
	}
	if err := s.asyncs.awaitInterrupted(ctx, s.cut); err != nil {
		return fmt.Errorf("wait for %s: %w", hislip.AsyncInterrupted, err)
	}
	return nil
}

// next gives the next message of the synchronous channel.
func (s *hislipSession) next(ctx context.Context) (m hislip.Message, err error) {
	if s.broken != nil {
		return m, s.broken
	}
	err = within(ctx, s.conn.SetReadDeadline, func() error {
		m, err = s.in.Next()
		return err
	})
	switch {
	case errors.Is(err, hislip.ErrHeader):
		fatal := &hislip.Fault{Fatal: true, Code: hislip.FatalHeader}
		_, _ = sendPart(ctx, s.conn, fatal.Message().Append(nil)) // the session is over in any case
		return m, s.breaks(&Error{Kind: ErrProtocol, Err: err})
	case errors.Is(err, hislip.ErrTooLarge):
		return m, &Error{Kind: ErrProtocol, Err: err}
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		if fate := s.asyncs.fate(); fate != nil {
			return m, fate
		}
		return m, &Error{Kind: ErrDisconnected, Err: errors.New("the instrument has closed the connection")}
	}
	return m, err
}

// odd treats what is no answer: faults that the instrument tells of, and what
// has no place on this channel.
func (s *hislipSession) odd(ctx context.Context, m hislip.Message) error {
	f, ok := hislip.FaultOf(m)
	switch {
	case ok && f.Fatal:
		return s.breaks(hislipFault(f))
	case ok:
		e := hislipFault(f)
		e.Kind = ErrProtocol // of whatever was sent: what is under way can't be told
		return e
	}
	s.log.Debug("a message that is not for this channel is dropped", "type", m.Type.String())
	return s.send(ctx, (&hislip.Fault{Code: hislip.ErrorType, Text: m.Type.String()}).Message())
}

// breaks ends the session for good.
func (s *hislipSession) breaks(err error) error {
	s.broken = err
	return errors.Join(err, s.conn.Close())
}

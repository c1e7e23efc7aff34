package link

import (
	"context"
	"errors"
	"fmt"

	"bandproof/drivers/link/hislip"
)

// clear is the device clear of IVI-6.1, section 6.12. What is under way on the
// synchronous channel, either way, is read or sent to its end and thrown away;
// identifiers begin anew; the mode is agreed on again.
func (s *hislipSession) clear(ctx context.Context) error {
	if s.broken != nil {
		return s.broken
	}
	both, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var acknowledge hislip.Message
	drained := make(chan struct{})
	go func() { // an instrument that waits for its answer to be read might hear nothing
		defer close(drained)
		var err error
		if acknowledge, err = s.drain(both); err != nil {
			cancel(err)
		}
	}()
	if err := s.clearRequest(both); err != nil {
		cancel(err)
	}
	<-drained
	if err := context.Cause(both); err != nil {
		return s.notCleared(ctx, err)
	}
	s.overlap = acknowledge.Control&hislip.Overlap != 0
	s.asyncs.restart()
	s.restart()
	return nil
}

// notCleared gives the session up: half a handshake can't be taken up again.
func (s *hislipSession) notCleared(ctx context.Context, err error) error {
	if errors.Is(err, errors.ErrUnsupported) && s.id == hislip.FirstID {
		return err // and there is nothing to clear yet
	}
	lost := s.breaks(&Error{Kind: ErrDisconnected, Err: fmt.Errorf("device clear: %w", err)})
	if ctx.Err() != nil {
		return err
	}
	return lost
}

// clearRequest is the client's half of the handshake.
func (s *hislipSession) clearRequest(ctx context.Context) error {
	if _, err := s.asyncs.ask(ctx, hislip.Message{Type: hislip.AsyncDeviceClear}, hislip.AsyncDeviceClearAcknowledge); err != nil {
		return err
	}
	rest, err := sendPart(ctx, s.conn, s.unsent)
	s.unsent = rest
	if err != nil {
		return fmt.Errorf("finish a message that was cut off: %w", err)
	}
	complete := hislip.Message{Type: hislip.DeviceClearComplete}
	if s.wantOverlap {
		complete.Control = hislip.Overlap
	}
	return s.send(ctx, complete)
}

// drain throws away what comes until the instrument acknowledges the clear.
func (s *hislipSession) drain(ctx context.Context) (hislip.Message, error) {
	for {
		m, err := s.next(ctx)
		if err != nil {
			return m, err
		}
		if m.Type == hislip.DeviceClearAcknowledge {
			return m, nil
		}
		if f, ok := hislip.FaultOf(m); ok && f.Fatal {
			return m, s.breaks(hislipFault(f))
		}
		s.log.Debug("dropped by device clear", "type", m.Type.String(), "bytes", len(m.Payload))
	}
}

func (s *hislipSession) status(ctx context.Context) (byte, error) {
	if err := s.usable(); err != nil {
		return 0, err
	}
	q := hislip.Message{Type: hislip.AsyncStatusQuery, Parameter: s.last()}
	if s.overlap {
		q.Parameter = s.delivered
	}
	if s.rmt {
		q.Control = hislip.RMTDelivered
	}
	s.rmt = false
	m, err := s.asyncs.ask(ctx, q, hislip.AsyncStatusResponse)
	return m.Control, err
}

// remote locks the front panel, or undoes it and lets the instrument go to local.
func (s *hislipSession) remote(ctx context.Context, on bool) error {
	if err := s.usable(); err != nil {
		return err
	}
	m := hislip.Message{Type: hislip.AsyncRemoteLocalControl, Control: hislip.RemoteDisableLocal, Parameter: s.last()}
	if on {
		m.Control = hislip.RemoteEnableGoLock
	}
	_, err := s.asyncs.ask(ctx, m, hislip.AsyncRemoteLocalResponse)
	return err
}

// hislipFault says what to check when the instrument tells of a fault.
func hislipFault(f *hislip.Fault) *Error {
	e := &Error{Kind: ErrProtocol, Err: f}
	hint := func(kind error, text string) *Error {
		e.Kind, e.Err = kind, fmt.Errorf("%w; %s", f, text)
		return e
	}
	switch {
	case f.Fatal && f.Code == hislip.FatalClients:
		return hint(ErrBusy, "does another program hold a session with the instrument?")
	case f.Fatal && f.Code == hislip.FatalSecurity:
		return hint(errors.ErrUnsupported, "can the instrument be set to take sessions that are not encrypted?")
	case f.Fatal:
		return hint(ErrDisconnected, "clear the link to begin a new session")
	case f.Code == hislip.ErrorType, f.Code == hislip.ErrorControl, f.Code == hislip.ErrorVendor:
		return hint(errors.ErrUnsupported, "the instrument's HiSLIP server lacks what was asked for")
	case f.Code == hislip.ErrorTooLarge:
		return hint(ErrProtocol, "the message is longer than the instrument takes; send less at a time")
	case f.Code == hislip.ErrorAuthentication:
		return hint(ErrProtocol, "the instrument wants to know who speaks; can it be set to take sessions of anyone?")
	}
	return e
}

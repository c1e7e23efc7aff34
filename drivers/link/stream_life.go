package link

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// join makes a connection and begins to read it.
func (s *stream) join(ctx context.Context) error {
	c, err := s.connect(ctx)
	if err != nil {
		s.dirty = &Error{Kind: ErrDisconnected, Err: err}
		return err
	}
	s.now, s.pump = c, startPump(s.config.MaxMessage+64<<10, c.read)
	s.dirty, s.sent = nil, false
	return nil
}

// leave gives the connection up, if there is one, and waits until it is.
func (s *stream) leave() error {
	if s.now == nil {
		return nil
	}
	old, pump := s.now, s.pump
	s.now = nil
	s.dirty = &Error{Kind: ErrDisconnected, Err: errors.New("the connection was given up")}
	result := make(chan error, 1)
	go func() { // a driver of the system may hang in close; the program must not
		close(pump.stop)
		old.halt()
		<-pump.done
		result <- old.close()
	}()
	limit := time.NewTimer(closeLimit)
	defer limit.Stop()
	select {
	case err := <-result:
		return err
	case <-limit.C:
		s.log.Error("the system does not let go of the port", "waited", closeLimit)
		return fmt.Errorf("the system does not let go of the port after %s; is the adapter's driver stuck?", closeLimit)
	}
}

func (s *stream) Clear(ctx context.Context) error {
	ctx, done, err := s.begin(ctx, "clear")
	if err != nil {
		return err
	}
	defer done()
	if err := s.clear(ctx); err != nil {
		return s.failed(ctx, "clear", err)
	}
	s.sent, s.dirty = false, nil
	return nil
}

func (s *stream) clear(ctx context.Context) error {
	if s.now != nil {
		var end error
		s.in, end = s.pump.take(s.in)
		s.discard("link is cleared")
		if !s.renew && end == nil {
			return s.quieten(ctx)
		}
		if err := s.leave(); err != nil {
			s.log.Warn("closing the old connection", "error", err)
		}
	}
	return s.rejoin(ctx)
}

// rejoin connects anew. Some instruments take a while to notice that the old
// connection is gone and refuse until then, so it tries until time is over.
func (s *stream) rejoin(ctx context.Context) error {
	pause := 50 * time.Millisecond
	var refused error
	for {
		err := s.join(ctx)
		if err == nil && !s.renew {
			return s.quieten(ctx)
		}
		if err != nil && ctx.Err() != nil {
			return or(refused, err) // how it was refused tells more than that time is over
		}
		if err == nil || !errors.Is(err, ErrDisconnected) {
			return err
		}
		refused = err
		timer := time.NewTimer(pause)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return refused
		}
		pause = min(2*pause, time.Second)
	}
}

// quieten waits until nothing has come for Quiet.
func (s *stream) quieten(ctx context.Context) error {
	s.dirty = &Error{Kind: ErrDirty, Err: errors.New("the line did not fall silent")}
	if err := s.now.drop(ctx); err != nil {
		return err
	}
	silence := time.NewTimer(s.config.Quiet)
	defer silence.Stop()
	for {
		select {
		case <-silence.C:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		case <-s.pump.arrived:
		}
		var end error
		s.in, end = s.pump.take(s.in)
		if len(s.in) > 0 {
			silence.Reset(s.config.Quiet)
		}
		s.discard("link is cleared")
		if end != nil {
			s.dirty = &Error{Kind: ErrDisconnected, Err: end}
			return end
		}
	}
}

func (s *stream) Close() error {
	s.close.Do(func() {
		s.end()
		limit := time.NewTimer(closeLimit)
		defer limit.Stop()
		select {
		case s.turn <- struct{}{}:
			defer func() { <-s.turn }()
			if err := s.leave(); err != nil {
				s.ended = &Error{Address: s.address, Op: "close", Kind: ErrDisconnected, Err: err}
			}
		case <-limit.C:
			s.ended = &Error{Address: s.address, Op: "close", Kind: ErrTimeout, Err: fmt.Errorf("an operation did not end in %s", closeLimit)}
		}
	})
	return s.ended
}

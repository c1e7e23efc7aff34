package link

import (
	"context"
	"errors"
)

// join makes a connection and begins to read it.
func (s *stream) join(ctx context.Context) error {
	c, err := s.connect(ctx)
	if err != nil {
		s.dirty = &Error{Kind: ErrDisconnected, Err: err}
		return err
	}
	s.now, s.from = c, intakeOf(c, s.config.MaxMessage+64<<10)
	s.dirty, s.sent = nil, false
	return nil
}

// leave gives the connection up, if there is one, and waits until it is.
func (s *stream) leave() error {
	if s.now == nil {
		return nil
	}
	old, from := s.now, s.from
	s.in, _ = from.take(s.in) // the wire log is told of every byte that came
	s.discard("the connection is given up")
	s.now = nil
	s.dirty = &Error{Kind: ErrDisconnected, Err: errors.New("the connection was given up")}
	return s.letGo(func() error {
		from.end(old.halt)
		return old.close()
	})
}

func (s *stream) Clear(ctx context.Context) error {
	ctx, done, err := s.begin(ctx, "clear")
	if err != nil {
		return err
	}
	defer done()
	if err := s.clear(ctx); err != nil {
		err = s.failed(ctx, "clear", err)
		s.note(Cleared, "failed: "+err.Error())
		return err
	}
	s.sent, s.dirty = false, nil
	s.note(Cleared, "")
	return nil
}

func (s *stream) clear(ctx context.Context) error {
	if s.now != nil {
		var end error
		s.in, end = s.from.take(s.in)
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

// rejoin connects anew.
func (s *stream) rejoin(ctx context.Context) error {
	return s.retry(ctx, func(ctx context.Context) error {
		err := s.join(ctx)
		if err == nil && !s.renew {
			err = s.quieten(ctx)
		}
		return err
	})
}

// quieten waits until nothing has come for Quiet.
func (s *stream) quieten(ctx context.Context) error {
	s.dirty = &Error{Kind: ErrDirty, Err: errors.New("the line did not fall silent")}
	if err := s.now.drop(ctx); err != nil {
		return err
	}
	for {
		silent := s.from.wait(ctx, s.config.Quiet)
		var end error
		s.in, end = s.from.take(s.in)
		came := len(s.in) > 0
		s.discard("link is cleared")
		switch {
		case end != nil:
			s.dirty = &Error{Kind: ErrDisconnected, Err: end}
			return end
		case ctx.Err() != nil:
			return ctx.Err()
		case silent && !came:
			return nil
		}
	}
}

// Close ends the conversation.
func (s *stream) Close() error { return s.finish(s.leave) }

package link

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"time"
)

// carrier is one connection that carries bytes both ways. It is used by one
// goroutine, but for read, which the pump calls.
type carrier interface {
	// read waits for bytes; 0 bytes without error: none have come yet. It ends
	// soon after halt.
	read(p []byte) (int, error)
	// send sends all bytes or tells why it could not; it ends with the context.
	send(ctx context.Context, p []byte) error
	// drop forgets what was to be sent and is not yet on the wire.
	drop(ctx context.Context) error
	// halt ends read, now and later.
	halt()
	// close frees the connection; read has ended.
	close() error
}

// stream is a Link on a carrier of bytes that knows no messages.
type stream struct {
	*conversation
	connect func(ctx context.Context) (carrier, error)
	// renew: Clear makes a new connection, so that late answers die with the
	// old one. Else it waits for silence on the one that there is.
	renew bool

	// Used by whoever has the turn.
	now  carrier // nil: there is no connection
	from intake
	in   []byte // arrived and not yet given out
	ends framer
	// paced is when the instrument is ready for the next message.
	paced time.Time
}

// openStream connects for the first time.
func (o Opener) openStream(ctx context.Context, r Resource, c Config, renew bool, connect func(ctx context.Context) (carrier, error)) (Link, error) {
	s := &stream{conversation: o.converse(r, c), connect: connect, renew: renew,
		ends: framer{terminator: c.ReadTerminator, plain: c.PlainText, longest: c.MaxMessage}}
	if err := s.open(ctx, s.join); err != nil {
		return nil, err
	}
	return s, nil
}

func (s *stream) Write(ctx context.Context, message []byte) error {
	ctx, done, err := s.begin(ctx, "write")
	if err != nil {
		return err
	}
	defer done()
	return s.write(ctx, message)
}

func (s *stream) Read(ctx context.Context) ([]byte, error) {
	ctx, done, err := s.begin(ctx, "read")
	if err != nil {
		return nil, err
	}
	defer done()
	return s.read(ctx)
}

func (s *stream) Query(ctx context.Context, message []byte) ([]byte, error) {
	ctx, done, err := s.begin(ctx, "write")
	if err != nil {
		return nil, err
	}
	defer done()
	return s.query(ctx, message)
}

func (s *stream) query(ctx context.Context, message []byte) ([]byte, error) {
	if err := s.discardPending(); err != nil {
		return nil, err
	}
	if err := s.write(ctx, message); err != nil {
		return nil, err
	}
	return s.read(ctx)
}

func (s *stream) write(ctx context.Context, message []byte) error {
	if err := s.ready("write"); err != nil {
		return err
	}
	if err := s.from.ended(); err != nil { // noticed without waiting for an answer that can't come
		return s.lost("write", err)
	}
	if s.config.LinePace > 0 {
		if err := pause(ctx, time.Until(s.paced)); err != nil {
			return s.failed(ctx, "write", err) // nothing was sent
		}
		defer func() { s.paced = time.Now().Add(s.config.LinePace) }()
	}
	line := s.config.terminated(message)
	s.sent = true
	err := s.now.send(ctx, line)
	if err == nil {
		s.tell(Sent, line, "")
		return s.echo(ctx, line)
	}
	s.tell(Sent, line, "not all of it, perhaps nothing: "+err.Error())
	if ctx.Err() == nil {
		return s.lost("write", err)
	}
	return s.soiled(s.failed(ctx, "write", err))
}

func (s *stream) read(ctx context.Context) ([]byte, error) {
	if err := s.ready("read"); err != nil {
		return nil, err
	}
	answer, err := s.next(ctx)
	if err != nil {
		s.silence(err)
	}
	return answer, err
}

// next waits for one message.
func (s *stream) next(ctx context.Context) ([]byte, error) {
	for {
		found, ok, err := s.ends.scan(s.in)
		if err != nil {
			return nil, s.soiled(&Error{Address: s.address, Op: "read", Kind: ErrProtocol, Err: err})
		}
		if ok {
			return s.message(found), nil
		}
		gap, err := s.await(ctx)
		if err != nil {
			return nil, err
		}
		if gap {
			return s.message(frame{end: len(s.in), next: len(s.in)}), nil
		}
	}
}

// await waits for more bytes. gap: none came for so long that the message is
// over, where silence is what ends messages.
func (s *stream) await(ctx context.Context) (gap bool, err error) {
	var most time.Duration
	if s.config.ReadTerminator == "" && len(s.in) > 0 && !s.ends.inBlock(s.in) {
		most = s.config.Gap
	}
	silent := s.from.wait(ctx, most)
	before := len(s.in)
	s.in, err = s.from.take(s.in)
	switch n := len(s.in); {
	case n > before:
		return false, nil
	case err != nil && n > 0:
		return false, s.lost("read", fmt.Errorf("after %d bytes of a message that has no end: %w", n, err))
	case err != nil:
		return false, s.lost("read", err)
	case ctx.Err() != nil:
		var part error
		if n > 0 {
			part = fmt.Errorf("%d bytes came that are no whole message; is the read terminator right?", n)
		}
		if err = s.failed(ctx, "read", part); s.sent || n > 0 {
			err = s.soiled(err)
		}
		return false, err
	}
	return silent, nil
}

// message takes one message out of what has arrived.
func (s *stream) message(f frame) []byte {
	message := bytes.Clone(s.in[:f.end])
	s.tell(Received, s.in[:f.next], "")
	s.consume(f.next)
	if message == nil {
		message = []byte{}
	}
	return message
}

func (s *stream) consume(n int) {
	rest := len(s.in) - n
	copy(s.in, s.in[n:])
	s.in = s.in[:rest]
	if rest == 0 && cap(s.in) > 1<<20 {
		s.in = nil
	}
	s.ends.reset()
}

// takeAll takes all that has come, however many takes that needs. More than
// can be one message and some tells that the instrument talks without end. The
// end of the stream is told by whoever reads next.
func (s *stream) takeAll() error {
	for before := -1; before < len(s.in); {
		before = len(s.in)
		if s.in, _ = s.from.take(s.in); len(s.in) > s.config.MaxMessage+64<<10 {
			err := &Error{Address: s.address, Op: "read", Kind: ErrProtocol,
				Err: fmt.Errorf("more than %d bytes came unasked; does the instrument talk without end?", s.config.MaxMessage)}
			s.discard("came without end")
			return s.soiled(err)
		}
	}
	return nil
}

// discardPending throws away what came before a question was sent.
func (s *stream) discardPending() error {
	s.stray.Store(nil)
	if s.dirty != nil {
		return nil // the write will tell
	}
	if err := s.takeAll(); err != nil || len(s.in) == 0 {
		return err
	}
	if trimmed := bytes.Trim(s.in, "\r\n"); len(trimmed) > 0 {
		kept := bytes.Clone(trimmed[:min(len(trimmed), 4096)])
		s.stray.Store(&kept)
	}
	s.discard("came before the query was sent")
	return nil
}

func (s *stream) discard(why string) {
	if len(s.in) == 0 {
		return
	}
	level := slog.LevelWarn
	if len(bytes.Trim(s.in, "\r\n")) == 0 { // what a CR+LF leaves behind where CR is the terminator
		level = slog.LevelDebug
	}
	s.log.Log(context.Background(), level, "threw away bytes of the instrument", "why", why, "count", len(s.in), "bytes", fmt.Sprintf("%.200q", s.in))
	s.tell(Discarded, s.in, why)
	s.consume(len(s.in))
}

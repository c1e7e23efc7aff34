package link

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
)

// Listener is a link that can wait for a message which the instrument sends by
// itself, and be sure that it began after the call.
type Listener interface {
	// Listen throws away what has come, to the end of a message that is under
	// way, and returns the next one whole. Where that ends early the link is
	// dirty only if part of a message had come.
	Listen(ctx context.Context) ([]byte, error)
}

// Listen waits for a message that began after the call. Where the link is no
// [Listener], the first message counts as one that waited there from before,
// and the second is returned.
func Listen(ctx context.Context, l Link) ([]byte, error) {
	if x, ok := l.(Listener); ok {
		return x.Listen(ctx)
	}
	if _, err := l.Read(ctx); err != nil {
		return nil, err
	}
	return l.Read(ctx)
}

// Listen implements [Listener]. Right after the link was opened or cleared the
// first message may lack its beginning.
func (s *stream) Listen(ctx context.Context) ([]byte, error) {
	ctx, done, err := s.begin(ctx, "read")
	if err != nil {
		return nil, err
	}
	defer done()
	if err := s.ready("read"); err != nil {
		return nil, err
	}
	if err := s.takeAll(); err != nil {
		return nil, err
	}
	if n := len(s.in); n > 0 {
		last, t := s.in[n-1], s.config.ReadTerminator
		underWay := last != '\n' && (last != '\r' || t == "\n" || t == "\r\n") // of CR LF the LF is still to come
		s.log.Log(ctx, slog.LevelDebug, "did not listen to bytes of the instrument", "count", n, "bytes", fmt.Sprintf("%.200q", bytes.Clone(s.in)))
		s.tell(Discarded, s.in, "came before it was listened to")
		s.consume(n)
		if underWay {
			if _, err := s.read(ctx); err != nil {
				return nil, err
			}
		}
	}
	return s.read(ctx)
}

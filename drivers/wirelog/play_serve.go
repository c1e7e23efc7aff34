package wirelog

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
)

// incoming is what a client sends, read by a goroutine.
type incoming struct {
	parts chan []byte
	rest  []byte
	left  context.Context // ends when the client has left
}

// next waits for bytes.
func (in *incoming) next(ctx context.Context) ([]byte, error) {
	if part := in.rest; len(part) > 0 {
		in.rest = nil
		return part, nil
	}
	select {
	case part, ok := <-in.parts:
		if !ok {
			return nil, errLeft
		}
		return part, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (in *incoming) putBack(rest []byte) { in.rest = rest }

// ServePort plays to whoever is at the other end of a serial line or the like,
// until the context ends, the port breaks, or the client differs from the log.
// It closes the port.
func (p *Play) ServePort(ctx context.Context, port io.ReadWriteCloser) error {
	err := p.serve(ctx, port)
	if errors.Is(err, errLeft) {
		err = p.leave()
	}
	return err
}

// ServeListener plays to one client after the other, until the log is at its
// end and the last client has left, the context ends, or a client differs from
// the log, which is a *[Difference]. It closes the listener.
func (p *Play) ServeListener(ctx context.Context, l net.Listener) error {
	stop := context.AfterFunc(ctx, func() { _ = l.Close() })
	defer func() { stop(); _ = l.Close() }()
	for {
		conn, err := l.Accept()
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("play %s: accept on %s: %w", p.address, l.Addr(), err)
		}
		if err := p.serve(ctx, conn); errors.Is(err, errLeft) {
			if err := p.leave(); err != nil {
				return err
			}
		} else if err != nil || ctx.Err() != nil {
			return err
		}
		if _, more := p.step(); !more {
			return nil
		}
	}
}

// serve plays to one client. It is nil where the context has ended.
func (p *Play) serve(ctx context.Context, port io.ReadWriteCloser) error {
	ctx, cancel := context.WithCancel(ctx)
	left, leave := context.WithCancel(context.Background())
	defer leave()
	in := &incoming{parts: make(chan []byte, 64), left: left}
	var once sync.Once
	shut := func() { once.Do(func() { _ = port.Close() }) }
	stop := context.AfterFunc(ctx, shut)
	var reading sync.WaitGroup
	reading.Go(func() {
		defer leave()
		defer close(in.parts)
		for {
			part := make([]byte, 4096)
			n, err := port.Read(part)
			if n > 0 {
				select {
				case in.parts <- part[:n]:
				case <-ctx.Done():
					return
				}
			}
			if err != nil {
				return
			}
		}
	})
	err := p.play(ctx, in, func(b []byte) error { _, err := port.Write(b); return err })
	ended := ctx.Err() != nil
	cancel()
	stop()
	shut()
	reading.Wait()
	if ended {
		return nil
	}
	return err
}

package virtual

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
)

// ServeListener serves an instrument to the clients of a listener until the
// context ends; it closes the listener, and returns when all clients' sessions
// have ended. As many clients as the scenario says are served at a time (one
// unless stated); further ones are left waiting, as real instruments do.
func (b *Bench) ServeListener(ctx context.Context, instrument string, l net.Listener) error {
	d, err := b.device(instrument)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	var sessions sync.WaitGroup
	defer sessions.Wait()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stop := context.AfterFunc(ctx, func() { _ = l.Close() })
	defer stop()
	slots := make(chan struct{}, max(1, d.link().Clients))
	for {
		select {
		case slots <- struct{}{}:
		case <-ctx.Done():
			return nil
		}
		conn, err := l.Accept()
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("virtual %s: accept on %s: %w", instrument, l.Addr(), err)
		}
		sessions.Go(func() {
			defer func() { <-slots }()
			if err := b.serve(ctx, d, conn, false); err != nil {
				b.log.Debug("client left", "instrument", instrument, "client", conn.RemoteAddr().String(), "reason", err.Error())
			}
		})
	}
}

// ServePort serves an instrument on a serial port or the like until the
// context ends or the port breaks; it closes the port. Characters are paced
// and masked as the scenario says.
func (b *Bench) ServePort(ctx context.Context, instrument string, port io.ReadWriteCloser) error {
	d, err := b.device(instrument)
	if err != nil {
		return errors.Join(err, port.Close())
	}
	err = b.serve(ctx, d, port, true)
	if ctx.Err() != nil || errors.Is(err, errGone) {
		return nil
	}
	return fmt.Errorf("virtual %s: %w", instrument, err)
}

// Dial opens an in-process link to an instrument, neither paced nor masked.
// It ends when the caller closes it, or with [Bench.Close].
func (b *Bench) Dial(ctx context.Context, instrument string) (net.Conn, error) {
	if err := errors.Join(ctx.Err(), b.life.Err()); err != nil {
		return nil, fmt.Errorf("virtual %s: %w", instrument, err)
	}
	d, err := b.device(instrument)
	if err != nil {
		return nil, err
	}
	client, server := net.Pipe()
	b.dialed.Go(func() {
		if err := b.serve(b.life, d, server, false); err != nil {
			b.log.Debug("client left", "instrument", instrument, "reason", err.Error())
		}
	})
	return client, nil
}

// serve runs one session over a port and closes it. It returns when both the
// reading and the answering have ended.
func (b *Bench) serve(ctx context.Context, d device, port io.ReadWriteCloser, serial bool) error {
	ctx, cancel := context.WithCancel(ctx)
	var once sync.Once
	shut := func() { once.Do(func() { _ = port.Close() }) }
	stop := context.AfterFunc(ctx, shut)
	messages := make(chan string, 16)
	w := newLine(b, d, port, serial)
	var readErr error
	var reading sync.WaitGroup
	reading.Go(func() {
		defer close(messages)
		readErr = w.read(ctx, messages)
	})
	s := &session{b: b, dev: d, ctx: ctx, in: messages}
	s.send = func(reply, message string) error { return w.send(ctx, reply, message) }
	err := s.run()
	cancel()
	stop()
	shut()
	reading.Wait()
	if errors.Is(err, errGone) && readErr != nil && !errors.Is(readErr, io.EOF) {
		return errors.Join(errGone, readErr)
	}
	return err
}

package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"syscall"
	"time"
)

// keepAlive finds a half-open connection in about half a minute of silence.
var keepAlive = net.KeepAliveConfig{Enable: true, Idle: 15 * time.Second, Interval: 5 * time.Second, Count: 3}

// unanswered is how long TCP may send into silence before it gives up: as
// long as keep-alive needs, instead of the system's quarter of an hour.
const unanswered = 30 * time.Second

// openSocket connects to a raw TCP socket. There is one connection for each
// link, kept open: many instruments take only one.
func (o Opener) openSocket(ctx context.Context, r Resource, c Config) (Link, error) {
	return o.openStream(ctx, r, c, true, func(ctx context.Context) (carrier, error) { return o.dialSocket(ctx, r) })
}

// dialSocket makes one connection.
func (o Opener) dialSocket(ctx context.Context, r Resource) (carrier, error) {
	conn, err := o.dialTCP(ctx, r.hostPort())
	if err != nil {
		return nil, err
	}
	return &socket{conn: conn}, nil
}

// dial connects; an error says what to check.
func (o Opener) dial(ctx context.Context, network, address string) (net.Conn, error) {
	dial := o.Dial
	if dial == nil {
		dial = (&net.Dialer{}).DialContext
	}
	conn, err := dial(ctx, network, address)
	if err != nil && ctx.Err() != nil {
		return nil, err
	}
	if err != nil {
		return nil, &Error{Kind: ErrDisconnected, Err: dialHint(err)}
	}
	return conn, nil
}

// dialTCP connects so that messages leave at once and a dead peer is noticed.
func (o Opener) dialTCP(ctx context.Context, address string) (net.Conn, error) {
	conn, err := o.dial(ctx, "tcp", address)
	if err != nil {
		return nil, err
	}
	if tcp, ok := conn.(*net.TCPConn); ok {
		// Without these the link works as well, only slower to notice.
		if err := errors.Join(tcp.SetNoDelay(true), tcp.SetKeepAliveConfig(keepAlive), limitSilence(tcp)); err != nil {
			o.Log.Debug("socket options", "address", address, "error", err)
		}
	}
	return conn, nil
}

// dialHint says what to check.
func dialHint(err error) error {
	var name *net.DNSError
	switch {
	case errors.Is(err, syscall.ECONNREFUSED):
		return fmt.Errorf("%w; is the instrument on, is the port right, and does no other program hold its only connection?", err)
	case errors.As(err, &name):
		return fmt.Errorf("%w; is the name right?", err)
	case errors.Is(err, syscall.EHOSTUNREACH), errors.Is(err, syscall.ENETUNREACH), errors.Is(err, os.ErrDeadlineExceeded):
		return fmt.Errorf("%w; is the instrument on and in this network?", err)
	}
	return fmt.Errorf("%w; is the instrument on, and are address and port right?", err)
}

// socket is a carrier on a TCP connection.
type socket struct{ conn net.Conn }

func (s *socket) read(p []byte) (int, error) {
	n, err := s.conn.Read(p)
	return n, hungUp(err)
}

func (s *socket) intake() (intake, bool) { return newDirect(s.conn, hungUp) }

// hungUp says what the end of a connection means.
func hungUp(err error) error {
	switch {
	case errors.Is(err, io.EOF):
		return errors.New("the instrument has closed the connection")
	case errors.Is(err, syscall.ETIMEDOUT):
		return fmt.Errorf("the instrument has been silent to TCP for too long; is it still on and plugged in?: %w", err)
	}
	return err
}

func (s *socket) send(ctx context.Context, p []byte) error { return sendWithin(ctx, s.conn, p) }

// drop does nothing: the connection is renewed instead.
func (s *socket) drop(context.Context) error { return nil }

func (s *socket) halt() { _ = s.conn.Close() }

// close tells nothing: halt has closed the connection already.
func (s *socket) close() error { return nil }

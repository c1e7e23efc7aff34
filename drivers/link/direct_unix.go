//go:build linux || darwin

package link

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// direct is an intake without a goroutine: whoever waits for the bytes reads
// them, which is faster than being handed them. A hang-up is noticed by the
// next take.
type direct struct {
	conn  net.Conn
	raw   syscall.RawConn
	tell  func(error) error // puts the end of the stream into words
	chunk []byte
	held  []byte // read and not yet taken: a part of chunk
	err   error

	try    func(fd uintptr) bool // reads what is there into n and failed
	n      int
	failed error
}

// newDirect is false for what is no connection of the system, such as a pipe
// within the program.
func newDirect(conn net.Conn, tell func(error) error) (intake, bool) {
	s, ok := conn.(syscall.Conn)
	if !ok {
		return nil, false
	}
	raw, err := s.SyscallConn()
	if err != nil {
		return nil, false
	}
	d := &direct{conn: conn, raw: raw, tell: tell, chunk: make([]byte, 32<<10)}
	d.try = func(fd uintptr) bool {
		for {
			if d.n, d.failed = unix.Read(int(fd), d.chunk); d.failed != unix.EINTR {
				return true // also where there is nothing: don't wait
			}
		}
	}
	return d, true
}

func (d *direct) take(into []byte) ([]byte, error) {
	if len(d.held) == 0 && d.err == nil {
		d.peek()
	}
	into = append(into, d.held...)
	d.held = nil
	return into, d.err
}

// peek reads what is there, without waiting.
func (d *direct) peek() {
	err := d.raw.Read(d.try)
	n, failed := d.n, d.failed
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded):
		return // cut by the context of an operation that is over
	case err != nil:
		d.got(0, err)
	case failed == unix.EAGAIN:
	case failed != nil:
		d.got(0, os.NewSyscallError("read", failed))
	case n == 0:
		d.got(0, io.EOF)
	default:
		d.got(n, nil)
	}
}

func (d *direct) got(n int, err error) {
	d.held = d.chunk[:max(n, 0)]
	if err != nil {
		d.err = d.tell(err)
	}
}

func (d *direct) ended() error { return d.err }

func (d *direct) wait(ctx context.Context, most time.Duration) (silent bool) {
	if len(d.held) > 0 || d.err != nil || ctx.Err() != nil {
		return false
	}
	if most > 0 {
		if err := d.conn.SetReadDeadline(time.Now().Add(most)); err != nil {
			d.got(0, err)
			return false
		}
	}
	release := onEnd(ctx, func() { _ = d.conn.SetReadDeadline(time.Unix(1, 0)) })
	n, err := d.conn.Read(d.chunk)
	cut := release()
	if cut || most > 0 {
		_ = d.conn.SetReadDeadline(time.Time{}) // of a connection that is gone the next read tells
	}
	if errors.Is(err, os.ErrDeadlineExceeded) {
		d.got(n, nil)
		return !cut && n == 0
	}
	d.got(n, err)
	return false
}

// end has nothing to wait for.
func (d *direct) end(halt func()) { halt() }

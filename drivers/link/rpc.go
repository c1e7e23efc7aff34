package link

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"slices"
	"sync"
	"time"

	"bandproof/drivers/link/oncrpc"
)

// caller is a connection to one program of an RPC server. One call is made at
// a time. The reply to a call that was given up is never taken for another's.
type caller struct {
	conn    net.Conn
	program uint32
	version uint32
	xid     uint32
	given   []uint32 // calls that were given up and may still be answered
	records oncrpc.Records
	out     []byte
	broken  error // why nothing goes on
	end     sync.Once
	ended   error
}

func newCaller(conn net.Conn, program, version uint32) *caller {
	return &caller{conn: conn, program: program, version: version, xid: rand.Uint32()}
}

// replyRoom is what a reply needs beside its data, in bytes.
const replyRoom = 1024

// mostGiven bounds how many calls may be given up on one connection.
const mostGiven = 64

// call makes a call and waits for its reply, which holds at most so many bytes
// of data. Byte slices of the results are good until the next call.
func (c *caller) call(ctx context.Context, procedure uint32, args, results oncrpc.Message, most int) error {
	if c.broken != nil {
		return c.broken
	}
	if err := ctx.Err(); err != nil {
		return err // not one byte has gone out
	}
	defer c.bound(ctx)()
	c.xid++
	c.out = append(c.out[:0], 0, 0, 0, 0)
	c.out = oncrpc.Mark(oncrpc.AppendCall(c.out, c.xid, c.program, c.version, procedure, args))
	if n, err := c.conn.Write(c.out); err != nil {
		c.broken = fmt.Errorf("%d of %d bytes of a call were taken: %w", n, len(c.out), err)
		return c.broken
	}
	return c.answer(results, most)
}

// again waits for the reply to the call that was given up last.
func (c *caller) again(ctx context.Context, results oncrpc.Message, most int) error {
	if c.broken != nil || len(c.given) == 0 {
		return c.broken
	}
	c.given = c.given[:len(c.given)-1]
	defer c.bound(ctx)()
	return c.answer(results, most)
}

// pending tells whether calls were given up whose replies may still come.
func (c *caller) pending() bool { return len(c.given) > 0 }

// answer waits for the reply to the call under way.
func (c *caller) answer(results oncrpc.Message, most int) error {
	for {
		record, err := c.records.Next(c.conn, most+replyRoom)
		switch {
		case isTimeout(err) && len(c.given) < mostGiven:
			c.given = append(c.given, c.xid)
			return err
		case errors.Is(err, oncrpc.ErrLong), errors.Is(err, oncrpc.ErrValue):
			return c.nonsense(err)
		case err != nil:
			c.broken = fmt.Errorf("%w; has the instrument closed the connection?", err)
			return c.broken
		}
		reply, err := oncrpc.ParseReply(record)
		if err != nil {
			return c.nonsense(err)
		}
		if reply.XID != c.xid {
			at := slices.Index(c.given, reply.XID)
			if at < 0 {
				return c.nonsense(fmt.Errorf("reply %08x to a call that was not made; the last one was %08x", reply.XID, c.xid))
			}
			c.given = slices.Delete(c.given, at, at+1)
			continue
		}
		if reply.Status != oncrpc.Success {
			return refused(reply)
		}
		if err := oncrpc.Parse(reply.Results, results); err != nil {
			return c.nonsense(err)
		}
		return nil
	}
}

// refused is the error of a call that the server did not carry out.
func refused(r oncrpc.Reply) error {
	kind := ErrProtocol
	if r.Status == oncrpc.ProcedureUnavailable {
		kind = errors.ErrUnsupported
	}
	return &Error{Kind: kind, Err: fmt.Errorf("RPC: %s", r.Status)}
}

// nonsense ends a connection on which something came that can't be.
func (c *caller) nonsense(err error) error {
	c.broken = fmt.Errorf("the connection carries no RPC any more: %w", err)
	return &Error{Kind: ErrProtocol, Err: err}
}

// bound makes reads and writes end with the context, until it is called.
func (c *caller) bound(ctx context.Context) func() {
	cut := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(cut)
		_ = c.conn.SetDeadline(time.Unix(1, 0))
	})
	return func() {
		if !stop() {
			<-cut
			_ = c.conn.SetDeadline(time.Time{})
		}
	}
}

func (c *caller) close() error {
	c.end.Do(func() { c.ended = c.conn.Close() })
	return c.ended
}

func isTimeout(err error) bool {
	var timeout net.Error
	return errors.As(err, &timeout) && timeout.Timeout()
}

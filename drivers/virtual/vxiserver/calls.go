package vxiserver

import (
	"bytes"
	"context"
	"errors"
	"net"
	"sync"

	"bandproof/drivers/link/oncrpc"
)

// replyRoom is what a call may have beside its data, in bytes.
const replyRoom = 1024

// handler carries out one call. Results may be nil where the status is not
// success.
type handler func(ctx context.Context, c oncrpc.Call) (results oncrpc.Message, status oncrpc.Status)

// serveCalls answers the calls of one connection, one after the other, and
// closes it. The context of a call ends when the client has left.
func serveCalls(ctx context.Context, conn net.Conn, program, version uint32, most int, handle handler) error {
	ctx, cancel := context.WithCancel(ctx)
	stop := context.AfterFunc(ctx, func() { _ = conn.Close() })
	var reading sync.WaitGroup
	defer func() {
		cancel()
		stop()
		_ = conn.Close() // it may be closed already
		reading.Wait()
	}()
	calls := make(chan []byte, 4)
	var gone error
	reading.Go(func() {
		defer cancel()
		defer close(calls)
		var records oncrpc.Records
		for {
			record, err := records.Next(conn, most)
			if err != nil {
				gone = err
				return
			}
			select {
			case calls <- bytes.Clone(record):
			case <-ctx.Done():
				return
			}
		}
	})
	var out []byte
	for record := range calls {
		call, err := oncrpc.ParseCall(record)
		if err != nil {
			return err // no call: nobody to answer
		}
		out = append(out[:0], make([]byte, oncrpc.MarkSize)...)
		out = oncrpc.Mark(answer(ctx, out, call, program, version, handle))
		if _, err := conn.Write(out); err != nil {
			return err
		}
	}
	cancel()
	reading.Wait()
	if gone == nil {
		gone = errors.New("server ends")
	}
	return gone
}

// answer writes the reply to a call.
func answer(ctx context.Context, b []byte, c oncrpc.Call, program, version uint32, handle handler) []byte {
	r := oncrpc.Reply{XID: c.XID, Low: version, High: version}
	switch {
	case !c.KnownVersion():
		r.Status, r.Low, r.High = oncrpc.RPCMismatch, 2, 2
	case c.Program != program:
		r.Status = oncrpc.ProgramUnavailable
	case c.Version != version:
		r.Status = oncrpc.ProgramMismatch
	case c.Procedure == 0: // every program has it, and it does nothing
	default:
		var results oncrpc.Message
		if results, r.Status = handle(ctx, c); r.Status == oncrpc.Success {
			return oncrpc.AppendReply(b, c.XID, results)
		}
	}
	return oncrpc.Append(b, &r)
}

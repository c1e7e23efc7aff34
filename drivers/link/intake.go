package link

import (
	"context"
	"time"
)

// intake gives the bytes of one connection as they come. It is used by one
// goroutine at a time.
type intake interface {
	// take appends what has come to into, without waiting. The error is the
	// end of the stream; it comes with the last bytes.
	take(into []byte) ([]byte, error)
	// ended tells why the stream has ended, as far as that is known.
	ended() error
	// wait returns when there may be something to take, or when the context
	// has ended; silent: nothing came for so long. 0 is for ever.
	wait(ctx context.Context, most time.Duration) (silent bool)
	// end stops the reading, for which halt makes reads of the connection fail.
	end(halt func())
}

// selfReader is a carrier with an intake of its own; all others are read by a
// pump.
type selfReader interface {
	intake() (intake, bool)
}

func intakeOf(c carrier, limit int) intake {
	if r, ok := c.(selfReader); ok {
		if own, ok := r.intake(); ok {
			return own
		}
	}
	return startPump(limit, c.read)
}

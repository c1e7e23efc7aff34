package link

import "time"

// Direction tells what became of the bytes of an [Exchange].
type Direction string

const (
	// Sent bytes went to the instrument.
	Sent Direction = "sent"
	// Received bytes are one message of the instrument.
	Received Direction = "received"
	// Discarded bytes came from the instrument and were thrown away: left
	// over before a query, late, or part of a message that never ended.
	Discarded Direction = "discarded"
)

// Exchange is what went over the wire at one time in one direction.
type Exchange struct {
	At        time.Time
	Address   string
	Direction Direction
	Bytes     []byte // as on the wire, terminators included
	Note      string // what was remarkable, such as why the bytes were thrown away; else empty
}

// WireLog is told of each exchange, of all links that were opened with it and
// from their goroutines. It must return soon, and may keep the bytes.
type WireLog interface {
	Exchange(e Exchange)
}

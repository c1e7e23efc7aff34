package link

import (
	"strings"
	"time"
)

// Direction tells what became of the bytes of an [Exchange], or what happened
// instead.
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

// What follows is no message. Bytes is empty, but for Polled; where the act
// failed, Note says so.
const (
	// Opened and Closed: the link, not each connection that carries it.
	Opened Direction = "open"
	Closed Direction = "close"
	// Cleared: the link was cleared, and connected anew where it was lost.
	Cleared Direction = "clear"
	// Triggered: the instrument was told to take a reading.
	Triggered Direction = "trigger"
	// Polled: the status byte was asked for; Bytes is what it was.
	Polled Direction = "status"
	// ToRemote and ToLocal: who may work the front panel.
	ToRemote Direction = "remote"
	ToLocal  Direction = "local"
	// NoAnswer: a wait for a message ended without one; Note says why.
	NoAnswer Direction = "silence"
)

// Directions lists every direction.
func Directions() []Direction {
	return []Direction{Sent, Received, Discarded, Opened, Closed, Cleared, Triggered, Polled, ToRemote, ToLocal, NoAnswer}
}

// CarriesBytes tells whether the bytes of such an exchange went over the wire.
func (d Direction) CarriesBytes() bool { return d == Sent || d == Received || d == Discarded }

// Exchange is what went over the wire, or happened to the link, at one time.
type Exchange struct {
	At        time.Time
	Address   string // as LoggedAs gives it
	Direction Direction
	Bytes     []byte // as on the wire, terminators included
	Note      string // what was remarkable, such as why the bytes were thrown away; else empty
}

// WireLog is told of each exchange, of all links that were opened with it and
// from their goroutines. It must return soon, and may keep the bytes.
type WireLog interface {
	Exchange(e Exchange)
}

// LoggedAs is the address of an instrument in a wire log: its resource name in
// canonical form, and the adapter's where it is behind one, since behind two
// adapters two instruments may have the same. A name that is none stays as it is.
func LoggedAs(address, via string) string {
	if r, err := ParseResource(address); err == nil {
		address = r.String()
	}
	return loggedAs(address, via)
}

const loggedVia = " via "

func loggedAs(address, via string) string {
	if via == "" {
		return address
	}
	if r, err := ParseResource(via); err == nil {
		via = r.String()
	}
	return address + loggedVia + via
}

// ParseLogged reads an address of a wire log.
func ParseLogged(address string) (r, via Resource, err error) {
	own, adapter, behind := strings.Cut(address, loggedVia)
	if r, err = ParseResource(own); err == nil && behind {
		via, err = ParseResource(adapter)
	}
	return r, via, err
}

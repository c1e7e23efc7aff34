package hislip

import (
	"encoding/binary"
	"fmt"
)

// Control codes by the types of message that carry them.
const (
	// RMTDelivered, in Data, DataEnd, Trigger and AsyncStatusQuery of a client:
	// the end of a response has been handed to the caller since the last of
	// them (3.1.1).
	RMTDelivered = 1
	// Overlap is the feature bit of InitializeResponse and of the three
	// messages of the device clear (table 31). Without it: synchronised mode.
	Overlap = 1

	LockRelease, LockRequest = 0, 1 // AsyncLock

	LockFailed, LockExclusive, LockShared, LockWrong = 0, 1, 2, 3 // AsyncLockResponse
)

// Control codes of AsyncRemoteLocalControl.
const (
	RemoteDisable       = 0
	RemoteEnable        = 1
	RemoteDisableLocal  = 2 // disable remote and go to local
	RemoteEnableGo      = 3 // enable remote and go to remote
	RemoteEnableLockout = 4
	RemoteEnableGoLock  = 5 // enable remote, go to remote, lock out local
	GoLocal             = 6 // go to local; remote enable and lock-out stay
)

// Message identifiers: a client counts what it sends on the synchronous channel.
const (
	FirstID    uint32 = 0xffff_ff00 // after Initialize and after a device clear
	NextID     uint32 = 2           // modulo 2³²
	NoneSentID uint32 = FirstID - NextID
	// AnyID stands in a Data message of a server that does not know yet which
	// message it answers.
	AnyID uint32 = 0xffff_ffff
)

// Codes of FatalError (table 14). After one, both connections are closed.
const (
	FatalUnidentified = 0
	FatalHeader       = 1
	FatalChannels     = 2
	FatalSequence     = 3
	FatalClients      = 4
	FatalSecurity     = 5
)

// Codes of Error (table 16). After one, things go on.
const (
	ErrorUnidentified   = 0
	ErrorType           = 1
	ErrorControl        = 2
	ErrorVendor         = 3
	ErrorTooLarge       = 4
	ErrorAuthentication = 5
)

var fatalTexts = [...]string{"unidentified error", "poorly formed message header", "attempt to use connection without both channels established",
	"invalid initialization sequence", "server refused connection due to maximum number of clients exceeded", "secure connection failed"}

var errorTexts = [...]string{"unidentified error", "unrecognized message type", "unrecognized control code",
	"unrecognized vendor defined message", "message too large", "authentication failed"}

// Fault is a FatalError or Error that the other end has sent.
type Fault struct {
	Fatal bool
	Code  uint8
	Text  string // what the other end says about it; may be empty
}

// Error tells code and text.
func (f *Fault) Error() string {
	name, texts := "error", errorTexts[:]
	if f.Fatal {
		name, texts = "fatal error", fatalTexts[:]
	}
	meaning := "reserved"
	switch {
	case int(f.Code) < len(texts):
		meaning = texts[f.Code]
	case f.Code >= 128:
		meaning = "defined by the device"
	}
	text := fmt.Sprintf("HiSLIP %s %d (%s)", name, f.Code, meaning)
	if f.Text != "" {
		text += fmt.Sprintf(": %q", f.Text)
	}
	return text
}

// FaultOf reads a FatalError or Error; ok is false for any other message.
func FaultOf(m Message) (fault *Fault, ok bool) {
	if m.Type != FatalError && m.Type != Error {
		return nil, false
	}
	return &Fault{Fatal: m.Type == FatalError, Code: m.Control, Text: string(m.Payload)}, true
}

// Message is what Fault stands for on the wire.
func (f *Fault) Message() Message {
	t := Error
	if f.Fatal {
		t = FatalError
	}
	return Message{Type: t, Control: f.Code, Payload: []byte(f.Text)}
}

// Version is a revision of the protocol: 0x0100 is 1.0.
type Version uint16

// The versions that are spoken here.
const Version1 Version = 0x0100

// InitializeParameter is the parameter of Initialize: version and vendor; of
// InitializeResponse: version and session.
func InitializeParameter(v Version, low uint16) uint32 { return uint32(v)<<16 | uint32(low) }

// SplitParameter takes it apart.
func SplitParameter(p uint32) (Version, uint16) { return Version(p >> 16), uint16(p) }

// Size is the payload of AsyncMaximumMessageSize and its response: the longest
// message, in bytes, that the sender of it takes.
func Size(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }

// SizeOf reads it.
func SizeOf(payload []byte) (uint64, error) {
	if len(payload) != 8 {
		return 0, fmt.Errorf("a maximum message size of %d bytes instead of 8", len(payload))
	}
	return binary.BigEndian.Uint64(payload), nil
}

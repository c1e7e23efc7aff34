// Package drivers names the roles that an instrument can play on the bench and
// what the program may ask of each: [Counter], [Source], [Switch], [PowerMeter],
// [Thermometer] (a monitor is a second [Counter]), and small optional abilities that are asked for by type assertion ([LockReporter],
// [ReferenceReporter], [ErrorQueue], …).
//
// How bytes travel is the business of drivers/link, how a given instrument is
// spoken to that of drivers/profile, and what a good reading is that of
// procedures; this package knows none of them.
package drivers

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"bandproof/procedures/quantity"
)

// Instrument is what every role shares.
type Instrument interface {
	// Name is the name that the bench file gives the instrument.
	Name() string
	// Address is its VISA resource name.
	Address() string
	// Identify asks the instrument who it is. An instrument that cannot tell
	// gives an Identity with Stated false and no error.
	Identify(ctx context.Context) (Identity, error)
	// Recover clears the device, reconnects and makes sure that no late answer
	// can be taken for the next one's. It is called after any link error.
	Recover(ctx context.Context) error
	// Close ends the conversation. It is idempotent. A source switches its RF
	// off first where the link still carries it.
	Close() error
}

// Identity is what an instrument says of itself.
type Identity struct {
	Maker    string `json:"maker"`
	Model    string `json:"model"`
	Serial   string `json:"serial"`
	Firmware string `json:"firmware"`
	// Raw is the reply as it came, bytes that are no text replaced.
	Raw string `json:"raw"`
	// Stated is false where the instrument has no way to tell.
	Stated bool `json:"stated"`
}

// Counter is an instrument that measures a frequency: the unit, or a monitor.
type Counter interface {
	Instrument
	// SelectInput routes the measurement to one input, by the name that the
	// profile knows. Unknown names are an error that lists the known ones.
	SelectInput(ctx context.Context, input string) error
	// SetGate asks for a gate time and returns the one in force, read back
	// where the instrument can tell, else as asked.
	SetGate(ctx context.Context, gate quantity.Duration) (quantity.Duration, error)
	// Read takes one measurement and waits for it: at least one gate. A
	// special marker (over-range, no measurement) is a Reading, not an error;
	// an answer that is no number is an error that wraps ErrUnreadable.
	Read(ctx context.Context) (Reading, error)
	// Discard is the number of readings to throw away after the signal was
	// changed, because their gates may have begun before.
	Discard() int
}

// Reading is one value as the instrument sent it.
type Reading struct {
	// Text is the reply, verbatim; bytes that are no text are escaped.
	Text string `json:"text"`
	// Frequency is the value, every digit kept. Meaningless unless Mark is None.
	Frequency quantity.Frequency `json:"frequency"`
	// Mark tells whether the reply is a number or stands for something else.
	Mark Mark `json:"mark,omitempty"`
	// At is when the reply came.
	At time.Time `json:"at"`
	// By is the person who read it off the display; "" where the instrument sent it.
	By string `json:"by,omitempty"`
	// Twice: the entry looked wrong, and the person entered it a second time.
	Twice bool `json:"confirmed_twice,omitempty"`
	// Questioned are the entries before it that looked wrong, each with the reason.
	Questioned []Questioned `json:"questioned,omitempty"`
}

// Questioned is what a person entered and was asked about.
type Questioned struct {
	Text string `json:"text"` // as entered
	Why  string `json:"why"`
}

// Mark is what a reply stands for that is not a frequency.
type Mark string

const (
	// None marks an ordinary number.
	None Mark = ""
	// NoSignal is a reply that stands for "nothing counted" (SCPI 9.91E37).
	NoSignal Mark = "no measurement"
	// OverRange is a reply that stands for "too much" (SCPI 9.9E37).
	OverRange Mark = "over-range"
	// NoReply: the unit did not end the measurement in the time that gate and
	// link allow, and answers to other questions.
	NoReply Mark = "no reply to the measurement"
)

// Source is an instrument that makes the signal.
type Source interface {
	Instrument
	// RFOff switches the signal off by the way the profile names. It needs no
	// set-up before and may be called at any time, also twice.
	RFOff(ctx context.Context) error
	// RFOn switches the signal on, at the frequency and level set before.
	RFOn(ctx context.Context) error
	// SetFrequency sets the frequency and returns what the source reports it
	// is set to (else what was asked), once it has settled.
	SetFrequency(ctx context.Context, f quantity.Frequency) (quantity.Frequency, error)
	// SetLevel sets the level in dBm into 50 Ω, if the interlock passes it: an
	// error that wraps ErrInterlock means that nothing was sent. It returns
	// the level that the source reports.
	SetLevel(ctx context.Context, level quantity.Level) (quantity.Level, error)
	// Settle is how long after a change the signal must not be trusted. The
	// methods above have waited that long when they return, but for RFOff.
	Settle() quantity.Duration
}

// Interlock is asked by a source before any level is sent. It returns nil, or
// an error that says which input would see what.
type Interlock interface {
	Permit(source string, level quantity.Level) error
}

// LockReporter is a source that can tell whether its synthesis is locked.
type LockReporter interface {
	// Locked returns false while the output frequency can't be trusted.
	Locked(ctx context.Context) (bool, error)
}

// ReferenceReporter is an instrument that can tell which reference it uses.
type ReferenceReporter interface {
	// Reference returns "own" or "external".
	Reference(ctx context.Context) (string, error)
}

// ErrorQueue is an instrument that collects its complaints.
type ErrorQueue interface {
	// Errors empties the queue and returns its entries, oldest first.
	Errors(ctx context.Context) ([]string, error)
}

// SelfTester is an instrument with a self-test.
type SelfTester interface {
	// SelfTest runs it and returns the reply verbatim and whether it passed.
	SelfTest(ctx context.Context) (text string, passed bool, err error)
}

var (
	// ErrUnreadable: a reply that is no number and no known marker.
	ErrUnreadable = errors.New("unreadable reply")
	// ErrOutOfStep: an answer to an earlier question came late; what was read
	// since the conversation was last proven in step can't be trusted.
	ErrOutOfStep = errors.New("conversation out of step")
	// ErrInterlock: a level was refused before it was sent.
	ErrInterlock = errors.New("level refused by the interlock")
	// ErrInstrument: the instrument reported an error of its own.
	ErrInstrument = errors.New("instrument reports an error")
)

// Error says which instrument an error came from and in doing what.
type Error struct {
	Name    string // as the bench file names it
	Address string
	Doing   string // "set the gate to 1 s"
	Err     error
}

// Error names instrument, address and action.
func (e *Error) Error() string {
	cause := e.Err.Error()
	if strings.Contains(cause, e.Address) {
		return fmt.Sprintf("%s: %s: %s", e.Name, e.Doing, cause)
	}
	return fmt.Sprintf("%s at %s: %s: %s", e.Name, e.Address, e.Doing, cause)
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

package link

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Where a Config leaves a value out.
const (
	DefaultTimeout    = 5 * time.Second
	DefaultQuiet      = 200 * time.Millisecond
	DefaultGap        = 100 * time.Millisecond
	DefaultMaxMessage = 16 << 20 // bytes
	DefaultBaud       = 9600
	DefaultViaBaud    = 115200 // of a GPIB adapter's line
)

// Config is one instrument's address and how it is spoken to. Only Address is
// required; the zero value of everything else is the default.
type Config struct {
	Address string // VISA resource name, as ParseResource reads it

	// Timeout is how long an operation may take whose context has no deadline.
	// A deadline of the context always counts as it is, also a later one: only
	// the caller knows how long a gate is.
	Timeout time.Duration
	// ReadTerminator ends a reply, WriteTerminator ends what is sent: "LF" (the
	// default), "CR", "CRLF" or "none"; the characters themselves are
	// understood as well. With LF a CR before it is dropped. With "none" a
	// reply ends when nothing has come for Gap.
	ReadTerminator, WriteTerminator string
	Gap                             time.Duration
	// PlainText tells that a '#' in a reply is an ordinary character. Else
	// "#15HELLO" is a block by IEEE 488.2, whose 5 bytes may be terminators.
	PlainText bool
	// MaxMessage is the longest reply in bytes; a longer one is ErrProtocol.
	MaxMessage int
	// Quiet is how long a serial line must be silent before Clear takes it for
	// empty.
	Quiet time.Duration

	// Common tells that the instrument takes the common commands of IEEE 488.2:
	// *TRG and *STB? then stand in for trigger and status byte on serial lines
	// and raw sockets, which have none of their own.
	Common bool
	// NoDeviceClear: the instrument loses its settings by a device clear, or
	// hangs. Clear then makes a new connection instead.
	NoDeviceClear bool
	// EndByTerminator: the instrument sends no END, as some behind a GPIB gateway
	// do, so a reply ends with the last character of ReadTerminator wherever it
	// stands. VXI-11 only.
	EndByTerminator bool
	// Lock keeps other links of the instrument out while this one is open;
	// LockTimeout is how long an operation waits for another's lock. Zero does
	// not wait: some instruments refuse any other. VXI-11 only.
	Lock        bool
	LockTimeout time.Duration
	// Via is the address of the adapter or gateway that a GPIB instrument is
	// reached through, where it is not a board of this machine.
	Via string
	// NoEOI: the instrument does not assert EOI with the last byte of its
	// replies, so that on GPIB ReadTerminator ends them.
	NoEOI bool
	// LinePace is the least time from the end of one message to the next, for
	// instruments that lose what comes back to back.
	LinePace time.Duration
	// Echo tells that the instrument sends each message back before it answers
	// (serial lines and raw sockets). An echo that differs is ErrProtocol.
	Echo bool

	// Overlap asks for overlap mode (HiSLIP only): questions and answers may
	// queue up. Without it an answer that comes late is known by its identifier
	// and dropped. An instrument that does only one mode gets its way.
	Overlap bool

	// Serial lines only; those of the adapter where there is one.
	CharPace    time.Duration // pause after each character, for slow receivers
	BreakClear  bool          // Clear sends a break, which some instruments take for a device clear
	DTR, RTS    string        // modem lines once open: "on" (the default), "off"
	Baud        int           // bits per second; 9600
	DataBits    int           // 5 to 8; 8
	Parity      string        // "none", "odd", "even", "mark", "space"
	StopBits    string        // "1", "1.5", "2"
	FlowControl string        // "none", "xonxoff", "rtscts"
}

// terminators by their names.
var terminators = map[string]string{"": "\n", "LF": "\n", "CR": "\r", "CRLF": "\r\n", "NONE": "", "\n": "\n", "\r": "\r", "\r\n": "\r\n"}

// Check tells everything that is wrong with the settings, the address included,
// as an *Error. It opens nothing.
func (c Config) Check() error {
	r, err := ParseResource(c.Address)
	if err != nil {
		return err
	}
	if err := errors.Join(c.mistakes()...); err != nil {
		return &Error{Address: r.String(), Op: "open", Kind: ErrConfig, Err: err}
	}
	return nil
}

func (c Config) mistakes() (found []error) {
	wrong := func(format string, args ...any) { found = append(found, fmt.Errorf(format, args...)) }
	oneOf := func(key, got string, known ...string) {
		if got != "" && !slices.Contains(known, strings.ToLower(got)) {
			wrong("%s is %q; expected %s", key, got, strings.Join(known, ", "))
		}
	}
	for key, got := range map[string]string{"read terminator": c.ReadTerminator, "write terminator": c.WriteTerminator} {
		if _, ok := terminators[strings.ToUpper(got)]; !ok {
			wrong("%s is %q; expected LF, CR, CRLF or none", key, got)
		}
	}
	for key, got := range map[string]time.Duration{"timeout": c.Timeout, "gap": c.Gap, "quiet": c.Quiet, "line pace": c.LinePace, "character pace": c.CharPace, "lock timeout": c.LockTimeout} {
		if got < 0 {
			wrong("%s is %s; expected a time above zero", key, got)
		}
	}
	if c.EndByTerminator && terminators[strings.ToUpper(c.ReadTerminator)] == "" {
		wrong("read terminator is none, which can't end a reply; expected LF, CR or CRLF")
	}
	if c.MaxMessage < 0 {
		wrong("longest message is %d bytes; expected a number above zero", c.MaxMessage)
	}
	if c.Baud != 0 && (c.Baud < 50 || c.Baud > 4_000_000) {
		wrong("baud is %d; expected 50 to 4000000", c.Baud)
	}
	if c.DataBits != 0 && (c.DataBits < 5 || c.DataBits > 8) {
		wrong("data bits is %d; expected 5 to 8", c.DataBits)
	}
	oneOf("dtr", c.DTR, "on", "off")
	oneOf("rts", c.RTS, "on", "off")
	if c.RTS == "off" && strings.EqualFold(c.FlowControl, "rtscts") {
		wrong("rts is off, which flow control rtscts drives by itself; leave one of them out")
	}
	if c.Via != "" {
		via, err := ParseResource(c.Via)
		if err != nil {
			wrong("via: %w", err)
		} else if via.Kind != Serial && via.Kind != Socket {
			wrong("via is a %s; expected the adapter's serial port or socket, such as %s or %s", via.Kind, formOf[Serial], formOf[Socket])
		}
	}
	if c.NoEOI && terminators[strings.ToUpper(c.ReadTerminator)] == "" {
		wrong("an instrument without EOI needs a read terminator; expected LF, CR or CRLF")
	}
	oneOf("parity", c.Parity, "none", "odd", "even", "mark", "space")
	oneOf("stop bits", c.StopBits, "1", "1.5", "2")
	oneOf("flow control", c.FlowControl, "none", "xonxoff", "rtscts")
	slices.SortFunc(found, func(a, b error) int { return strings.Compare(a.Error(), b.Error()) })
	return found
}

// filled returns the settings with the defaults in place.
func (c Config) filled() Config {
	c.Timeout = or(c.Timeout, DefaultTimeout)
	c.Quiet = or(c.Quiet, DefaultQuiet)
	c.Gap = or(c.Gap, DefaultGap)
	c.MaxMessage = or(c.MaxMessage, DefaultMaxMessage)
	if c.Via != "" {
		c.Baud = or(c.Baud, DefaultViaBaud)
	}
	c.Baud = or(c.Baud, DefaultBaud)
	c.DataBits = or(c.DataBits, 8)
	c.Parity = or(strings.ToLower(c.Parity), "none")
	c.StopBits = or(c.StopBits, "1")
	c.FlowControl = or(strings.ToLower(c.FlowControl), "none")
	c.DTR, c.RTS = or(strings.ToLower(c.DTR), "on"), or(strings.ToLower(c.RTS), "on")
	c.ReadTerminator = terminators[strings.ToUpper(c.ReadTerminator)]
	c.WriteTerminator = terminators[strings.ToUpper(c.WriteTerminator)]
	return c
}

// terminated is a message as it goes out.
func (c Config) terminated(message []byte) []byte {
	line := make([]byte, 0, len(message)+len(c.WriteTerminator))
	return append(append(line, message...), c.WriteTerminator...)
}

func or[T comparable](value, fallback T) T {
	var zero T
	if value == zero {
		return fallback
	}
	return value
}

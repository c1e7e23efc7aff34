package usbtmc

import "fmt"

// Request is a class request over the control endpoint (USBTMC table 15,
// USB488 table 9).
type Request byte

const (
	InitiateAbortBulkOut    Request = 1
	CheckAbortBulkOutStatus Request = 2
	InitiateAbortBulkIn     Request = 3
	CheckAbortBulkInStatus  Request = 4
	InitiateClear           Request = 5
	CheckClearStatus        Request = 6
	GetCapabilities         Request = 7
	IndicatorPulse          Request = 64
	ReadStatusByte          Request = 128 // this and the next: USB488
	RENControl              Request = 160
	GoToLocal               Request = 161
	LocalLockout            Request = 162
)

// Status is the first byte of the answer to a request (USBTMC table 16).
type Status byte

const (
	Success               Status = 0x01
	Pending               Status = 0x02
	Failed                Status = 0x80
	TransferNotInProgress Status = 0x81
	SplitNotInProgress    Status = 0x82
	SplitInProgress       Status = 0x83
)

// CapabilitiesSize is the length of the answer to GetCapabilities, in bytes.
const CapabilitiesSize = 24

// Capabilities tells what an instrument can do (USBTMC table 37, USB488
// table 8).
type Capabilities struct {
	Pulse, TalkOnly, ListenOnly bool // of the interface
	TermChar                    bool // of the instrument: an answer can end with a character
	USB488                      bool // interface: the 488.2 USB488 kind
	Remote                      bool // interface: REN control, go to local, local lockout
	Trigger                     bool // interface: the Trigger transfer
	SCPI, SR1, RL1, DT1         bool // of the instrument
}

// Append writes the answer to GetCapabilities.
func (c Capabilities) Append(to []byte) []byte {
	var b [CapabilitiesSize]byte
	b[0] = byte(Success)
	b[3], b[13] = 1, 1 // bcdUSBTMC and bcdUSB488 1.00, least significant byte first
	b[4] = bits(c.ListenOnly, c.TalkOnly, c.Pulse)
	b[5] = bits(c.TermChar)
	b[14] = bits(c.Trigger, c.Remote, c.USB488)
	b[15] = bits(c.DT1, c.RL1, c.SR1, c.SCPI)
	return append(to, b[:]...)
}

// ParseCapabilities reads the answer to GetCapabilities.
func ParseCapabilities(p []byte) (Capabilities, error) {
	if len(p) < CapabilitiesSize {
		return Capabilities{}, fmt.Errorf("capabilities of %d bytes; expected %d", len(p), CapabilitiesSize)
	}
	if Status(p[0]) != Success {
		return Capabilities{}, fmt.Errorf("the request for capabilities ended with status %#02x", p[0])
	}
	return Capabilities{
		ListenOnly: p[4]&1 != 0, TalkOnly: p[4]&2 != 0, Pulse: p[4]&4 != 0, TermChar: p[5]&1 != 0,
		Trigger: p[14]&1 != 0, Remote: p[14]&2 != 0, USB488: p[14]&4 != 0,
		DT1: p[15]&1 != 0, RL1: p[15]&2 != 0, SR1: p[15]&4 != 0, SCPI: p[15]&8 != 0,
	}, nil
}

// Driver is how the Linux driver sums the USB488 part up in one byte: the
// interface's three bits low, the instrument's four bits from bit 4 on
// (USBTMC488_CAPABILITY_* of linux/usb/tmc.h).
func (c Capabilities) Driver() byte {
	return bits(c.Trigger, c.Remote, c.USB488, false, c.DT1, c.RL1, c.SR1, c.SCPI)
}

// FromDriver reads what Driver writes; what is not in that byte is false.
func FromDriver(b byte) Capabilities {
	return Capabilities{Trigger: b&1 != 0, Remote: b&2 != 0, USB488: b&4 != 0,
		DT1: b&16 != 0, RL1: b&32 != 0, SR1: b&64 != 0, SCPI: b&128 != 0}
}

// bits puts flags into a byte, the first into bit 0.
func bits(flags ...bool) (b byte) {
	for i, f := range flags {
		if f {
			b |= 1 << i
		}
	}
	return b
}

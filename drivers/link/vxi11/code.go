package vxi11

import "fmt"

// Code is the error of an operation (the standard's table of error values, from memory).
type Code int32

// The codes of that table.
const (
	NoError                   Code = 0
	SyntaxError               Code = 1
	DeviceNotAccessible       Code = 3
	InvalidLink               Code = 4
	ParameterError            Code = 5
	ChannelNotEstablished     Code = 6
	OperationNotSupported     Code = 8
	OutOfResources            Code = 9
	LockedByAnotherLink       Code = 11
	NoLockHeld                Code = 12
	IOTimeout                 Code = 15
	IOError                   Code = 17
	InvalidAddress            Code = 21
	Aborted                   Code = 23
	ChannelAlreadyEstablished Code = 29
)

// codes says what a code means, in the words of the table, and what to check.
var codes = map[Code]struct{ meaning, check string }{
	NoError:                   {"no error", ""},
	SyntaxError:               {"syntax error", "is the name of the device right?"},
	DeviceNotAccessible:       {"device not accessible", "is there a device of this name, and is it on?"},
	InvalidLink:               {"invalid link identifier", "the instrument has forgotten this link; was it switched off?"},
	ParameterError:            {"parameter error", "the instrument takes no such setting; is the name of the device right?"},
	ChannelNotEstablished:     {"channel not established", "the interrupt channel is not there"},
	OperationNotSupported:     {"operation not supported", "this instrument or gateway can't do it"},
	OutOfResources:            {"out of resources", "do other programs hold all links that the instrument has?"},
	LockedByAnotherLink:       {"device locked by another link", "which other program uses the instrument? a lock timeout waits for it"},
	NoLockHeld:                {"no lock held by this link", ""},
	IOTimeout:                 {"I/O timeout", "does the instrument answer this message, and is the time long enough?"},
	IOError:                   {"I/O error", "behind a gateway: is the instrument on, plugged in and at this address?"},
	InvalidAddress:            {"invalid address", "is the GPIB address right?"},
	Aborted:                   {"abort", "the operation was ended through the abort channel"},
	ChannelAlreadyEstablished: {"channel already established", "does another program hold the interrupt channel?"},
}

// Known tells whether the table has the code.
func (c Code) Known() bool { _, ok := codes[c]; return ok }

// Error names code, meaning and what to check.
func (c Code) Error() string {
	about, ok := codes[c]
	switch {
	case !ok:
		return fmt.Sprintf("VXI-11 error %d, which the standard does not know", int32(c))
	case about.check == "":
		return fmt.Sprintf("VXI-11 error %d, %s", int32(c), about.meaning)
	}
	return fmt.Sprintf("VXI-11 error %d, %s; %s", int32(c), about.meaning, about.check)
}

// Err is nil where there is no error.
func (c Code) Err() error {
	if c == NoError {
		return nil
	}
	return c
}

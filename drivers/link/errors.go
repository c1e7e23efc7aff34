package link

import (
	"errors"
	"strings"
)

// The kinds of error, for errors.Is. A kind of this table that can heal does so
// by Clear.
var (
	// ErrTimeout: the time of the operation was over.
	ErrTimeout = errors.New("timed out")
	// ErrCancelled: the caller gave up. context.Canceled is in the chain.
	ErrCancelled = errors.New("cancelled")
	// ErrDisconnected: no connection could be made, or the other end is gone.
	ErrDisconnected = errors.New("disconnected")
	// ErrClosed: Close was called on this link.
	ErrClosed = errors.New("link is closed")
	// ErrProtocol: what came can't be a message.
	ErrProtocol = errors.New("not a message")
	// ErrDirty: an answer to an earlier question may still come.
	ErrDirty = errors.New("an earlier answer may still come")
	// ErrBusy: another program, or another link of this one, has the port.
	ErrBusy = errors.New("port is in use")
	// ErrAddress: the text is not a VISA resource name, or names nothing that
	// could be opened.
	ErrAddress = errors.New("bad address")
	// ErrConfig: a setting of the link that can't be.
	ErrConfig = errors.New("bad link setting")
)

// Error says which address an error came from, in doing what, and of what kind
// it is. What this version or this system can't do has kind
// errors.ErrUnsupported.
type Error struct {
	Address string
	Op      string // "open", "write", "read", "clear" or "close"
	Kind    error  // one of the kinds above, or errors.ErrUnsupported
	Err     error  // the cause, with a hint at what to check; may be nil
}

// Error names address, operation, kind and cause, as far as they are known.
func (e *Error) Error() string {
	if e.Address == "" {
		return e.reason()
	}
	return e.Address + ": " + e.reason()
}

// reason is Error without the address.
func (e *Error) reason() string {
	text := e.Kind.Error()
	if e.Op != "" {
		text = e.Op + ": " + text
	}
	switch {
	case e.Op == "read" && e.Kind == ErrTimeout:
		text += "; " + e.silent()
	case e.Err != nil:
		text += ": " + e.Err.Error()
	}
	return text
}

// silent says what to check where no answer came.
func (e *Error) silent() string {
	switch {
	case strings.HasPrefix(e.Address, "ASRL"):
		return "is the instrument on, and do terminator and serial settings fit?"
	case strings.HasSuffix(e.Address, "::SOCKET"):
		return "is the instrument on, was it a question that it knows, and does the read terminator fit?"
	}
	return "is the instrument on, and was it a question that it knows?"
}

// Unwrap gives kind and cause, so that errors.Is finds either.
func (e *Error) Unwrap() []error {
	if e.Err == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Err}
}

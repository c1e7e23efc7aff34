package drivertest

import (
	"bytes"
	"fmt"

	"bandproof/drivers/link"
	"bandproof/drivers/wirelog"
)

// FromWireLog makes a script of what a wire log has of one instrument, by name
// or address, so that trouble that somebody logged becomes a test. Line ends
// are taken off; polls and the like, which a script can't tell, are an error.
func FromWireLog(l wirelog.Log, instrument string) (Script, error) {
	var s Script
	known := false
	for k, e := range l.Exchanges {
		if e.Direction == wirelog.Lost {
			return nil, fmt.Errorf("exchange %d: the log is not whole: %s", k+1, e.Note)
		}
		if e.Address != instrument && l.Name(e.Address) != instrument {
			continue
		}
		known = true
		message := bytes.TrimRight(e.Bytes, "\r\n")
		switch e.Direction {
		case link.Sent:
			step := Step{Act: Write, Bytes: message}
			if e.Note != "" { // it did not go out whole
				step.Err = link.ErrDisconnected
			}
			s = append(s, step)
		case link.Received:
			s = append(s, Step{Act: Read, Bytes: message})
		case link.NoAnswer:
			s = append(s, Step{Act: Read, Err: link.ErrTimeout})
		case link.Cleared:
			step := Step{Act: Clear}
			if e.Note != "" { // it failed
				step.Err = link.ErrDisconnected
			}
			s = append(s, step)
		case link.Opened, link.Closed, link.Discarded: // the driver does not see them
		default:
			return nil, fmt.Errorf("exchange %d: a script can't play %q", k+1, e.Direction)
		}
	}
	if !known {
		return nil, fmt.Errorf("the log has nothing of %q", instrument)
	}
	return s, nil
}

package virtual

import (
	"errors"
	"fmt"
	"net"
	"sync"

	"bandproof/drivers/link/hislip"
)

// hislipChannel is one connection of a session.
type hislipChannel struct {
	conn net.Conn
	in   *hislip.Reader

	mu sync.Mutex // messages go out whole
}

func (ch *hislipChannel) send(m hislip.Message) error {
	ch.mu.Lock()
	defer ch.mu.Unlock()
	_, err := ch.conn.Write(m.Append(make([]byte, 0, hislip.HeaderSize+len(m.Payload))))
	return err
}

// fatal tells the client why the session ends, and gives the same as an error.
func (ch *hislipChannel) fatal(code uint8, format string, args ...any) error {
	f := &hislip.Fault{Fatal: true, Code: code, Text: fmt.Sprintf(format, args...)}
	return errors.Join(f, ch.send(f.Message()))
}

// complain tells the client of a mistake after which things go on.
func (ch *hislipChannel) complain(code uint8, format string, args ...any) error {
	return ch.send((&hislip.Fault{Code: code, Text: fmt.Sprintf(format, args...)}).Message())
}

// refuse tells the client what was wrong with what can't be read, where
// something was.
func (ch *hislipChannel) refuse(err error) error {
	if errors.Is(err, hislip.ErrHeader) {
		return ch.fatal(hislip.FatalHeader, "%v", err)
	}
	return err
}

// next reads messages for one of the two channels. What is too long, unknown or
// meant for the other channel is answered with an error, and left out.
func (ch *hislipChannel) next(side hislip.Channel) (hislip.Message, error) {
	for {
		m, err := ch.in.Next()
		switch {
		case errors.Is(err, hislip.ErrTooLarge):
			err = ch.complain(hislip.ErrorTooLarge, "%v", err)
		case err != nil:
			return m, ch.refuse(err)
		case m.Type >= hislip.VendorSpecific:
			err = ch.complain(hislip.ErrorVendor, "%s", m.Type)
		case m.Type >= hislip.GetDescriptors, m.Type.Channel()&side == 0:
			err = ch.complain(hislip.ErrorType, "%s", m.Type)
		default:
			return m, nil
		}
		if err != nil {
			return m, err
		}
	}
}

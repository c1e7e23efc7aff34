package link

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
)

// Opener opens links. The zero value is ready for use.
type Opener struct {
	// Dial makes TCP connections; nil is net.Dialer's.
	Dial func(ctx context.Context, network, address string) (net.Conn, error)
	Log  *slog.Logger // nil: nothing is logged
	Wire WireLog      // nil: nobody is told
	// Adapters share GPIB adapters between links; nil: each link has one of
	// its own.
	Adapters *Adapters
	// System carries links on character devices; nil: the one that the program
	// runs on.
	System System
}

// Open connects to the instrument that c names. The context bounds the opening
// only, not the life of the link.
func (o Opener) Open(ctx context.Context, c Config) (Link, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	r, err := ParseResource(c.Address)
	if err != nil {
		return nil, err
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	c = c.filled()
	switch r.Kind {
	case Socket:
		return o.openSocket(ctx, r, c)
	case Serial:
		return o.openSerial(ctx, r, c)
	case HiSLIP:
		return o.openHiSLIP(ctx, r, c)
	case VXI11:
		return o.openVXI11(ctx, r, c)
	case USB:
		return o.openUSB(ctx, r, c)
	case GPIB:
		if c.Via != "" {
			return o.openVia(ctx, r, c)
		}
		return o.openBoard(ctx, r, c)
	}
	return nil, &Error{Address: r.String(), Op: "open", Kind: errors.ErrUnsupported,
		Err: fmt.Errorf("this version has no link for %s; a USB instrument of the class for test and measurement is written as %s", r.Kind, formOf[USB])}
}

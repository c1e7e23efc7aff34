//go:build unix

package faulty_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"bandproof/drivers/drivertest/faulty"
	"bandproof/drivers/link"
)

// patience is how long the driver under test waits for an answer.
const patience = 120 * time.Millisecond

// rig is a kind of link with the faults in its middle.
type rig struct {
	name string
	// counter and source are how large a conversation is.
	counter, source faulty.Extent
	// place serves an instrument of the bench behind the line, and tells how
	// the driver opens it. end takes it down.
	place func(u *truth, instrument string, line *faulty.Line) (c link.Config, o link.Opener, end func() error, err error)
}

// rigs has one entry for each kind of link.
var rigs = []rig{
	{name: "raw socket", place: placeSocket, counter: extent(260, 420), source: extent(800, 620)},
	{name: "serial", place: placeSerial, counter: extent(260, 420), source: extent(800, 620)},
}

func extent(out, in int) faulty.Extent { return faulty.Extent{Out: out, In: in, Patience: patience} }

// placeSocket: the instrument listens on TCP.
func placeSocket(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	var none link.Config
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return none, link.Opener{}, nil, err
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- u.bench.ServeListener(ctx, instrument, l) }()
	stop := func() error { cancel(); return <-served }
	p, err := faulty.NewTCP(line, l.Addr().String())
	if err != nil {
		return none, link.Opener{}, nil, errors.Join(err, stop())
	}
	c := link.Config{Address: fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", p.Port())}
	return c, link.Opener{}, func() error { return errors.Join(p.Close(), stop()) }, nil
}

// placeSerial: the instrument is at the other end of a pseudo-terminal.
func placeSerial(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	var none link.Config
	dir, err := os.MkdirTemp("", "faulty")
	if err != nil {
		return none, link.Opener{}, nil, err
	}
	near, far := net.Pipe()
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- u.bench.ServePort(ctx, instrument, far) }()
	stop := func() error { cancel(); return errors.Join(<-served, os.RemoveAll(dir)) }
	port := filepath.Join(dir, "port")
	s, err := faulty.NewSerial(line, port, near)
	if err != nil {
		return none, link.Opener{}, nil, errors.Join(err, stop())
	}
	c := link.Config{Address: "ASRL" + port + "::INSTR"}
	return c, link.Opener{}, func() error { return errors.Join(s.Close(), stop()) }, nil
}

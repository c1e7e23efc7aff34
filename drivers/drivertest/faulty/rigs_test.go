//go:build unix

package faulty_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"

	"bandproof/drivers/drivertest/faulty"
	"bandproof/drivers/link"
	"bandproof/drivers/virtual"
	"bandproof/drivers/virtual/vxiserver"
)

// patience is how long the driver under test waits for an answer.
const patience = 120 * time.Millisecond

// rig is a kind of link with the faults in its middle.
type rig struct {
	name string
	seam bool // ends at the system calls; not tried on hardware
	// counter and source are how large a conversation is.
	counter, source faulty.Extent
	// place serves an instrument of the bench behind the line, and tells how
	// the driver opens it. end takes it down.
	place func(u *truth, instrument string, line *faulty.Line) (c link.Config, o link.Opener, end func() error, err error)
}

// rigs has one entry for each kind of link.
var rigs = []rig{
	{name: "raw socket", place: placeSocket, counter: extent(260, 420), source: extent(800, 620)},
	{name: "VXI-11", place: placeVXI11("inst0"), counter: extent(3300, 2100), source: extent(11000, 6500)},
	{name: "VXI-11 gateway", place: placeVXI11("gpib0,7"), counter: extent(3300, 2100), source: extent(11000, 6500)},
	{name: "HiSLIP", place: placeHiSLIP, counter: extent(700, 700), source: extent(2400, 1800)},
	{name: "HiSLIP, overlap mode", place: placeHiSLIPOverlap, counter: extent(700, 700), source: extent(2400, 1800)},
	{name: "adapter on Ethernet", place: placeAdapterTCP, counter: extent(2600, 2400), source: extent(7000, 6000)},
	{name: "adapter on serial", place: placeAdapterSerial, counter: extent(2600, 2400), source: extent(7000, 6000)},
	{name: "serial", place: placeSerial, counter: extent(260, 420), source: extent(800, 620)},
}

func extent(out, in int) faulty.Extent { return faulty.Extent{Out: out, In: in, Patience: patience} }

// overTCP puts the line in front of a server on TCP. format is the resource
// name, with the port left out.
func overTCP(line *faulty.Line, format string, serve func(ctx context.Context, l net.Listener) error) (link.Config, link.Opener, func() error, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return link.Config{}, link.Opener{}, nil, err
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- serve(ctx, l) }()
	stop := func() error { cancel(); return <-served }
	p, err := faulty.NewTCP(line, l.Addr().String())
	if err != nil {
		return link.Config{}, link.Opener{}, nil, errors.Join(err, stop())
	}
	return link.Config{Address: fmt.Sprintf(format, p.Port())}, link.Opener{}, func() error { return errors.Join(p.Close(), stop()) }, nil
}

func placeSocket(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	return overTCP(line, "TCPIP0::127.0.0.1::%d::SOCKET", func(ctx context.Context, l net.Listener) error { return u.bench.ServeListener(ctx, instrument, l) })
}

func placeHiSLIP(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	return overTCP(line, "TCPIP0::127.0.0.1::hislip0,%d::INSTR", func(ctx context.Context, l net.Listener) error {
		return u.bench.ServeHiSLIP(ctx, l, virtual.HiSLIP{Instruments: map[string]string{"hislip0": instrument}})
	})
}

func placeHiSLIPOverlap(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	c, o, end, err := placeHiSLIP(u, instrument, line)
	c.Overlap = true
	return c, o, end, err
}

// placeVXI11: a device of a host. Its abort channel is faulty as well.
func placeVXI11(device string) func(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	return func(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
		host := vxiserver.New(map[string]func() (virtual.Conversation, error){device: func() (virtual.Conversation, error) { return u.bench.Talk(instrument) }}, vxiserver.Options{})
		c, o, end, err := overTCP(line, "TCPIP0::127.0.0.1,%d::"+device+"::INSTR", host.Serve)
		d := &detour{line: line}
		if r, bad := link.ParseResource(c.Address); bad == nil {
			d.core = fmt.Sprintf("127.0.0.1:%d", r.Port)
		}
		o.Dial = d.dial
		return c, o, func() error { return errors.Join(d.close(), end()) }, err
	}
}

// detour sends connections to other ports than the first through the line too.
type detour struct {
	line *faulty.Line
	core string

	mutex   sync.Mutex
	through map[string]*faulty.TCP
}

func (d *detour) dial(ctx context.Context, network, address string) (net.Conn, error) {
	var dialer net.Dialer
	if address == d.core {
		return dialer.DialContext(ctx, network, address)
	}
	d.mutex.Lock()
	p := d.through[address]
	if p == nil {
		var err error
		if p, err = faulty.NewTCP(d.line, address); err != nil {
			d.mutex.Unlock()
			return nil, err
		}
		if d.through == nil {
			d.through = map[string]*faulty.TCP{}
		}
		d.through[address] = p
	}
	d.mutex.Unlock()
	return dialer.DialContext(ctx, network, fmt.Sprintf("127.0.0.1:%d", p.Port()))
}

func (d *detour) close() (err error) {
	for _, p := range d.through {
		err = errors.Join(err, p.Close())
	}
	return err
}

// behind makes a bus with the instrument at address 7 and an adapter on it.
func behind(u *truth, instrument string) (*virtual.Adapter, func(), error) {
	bus, err := u.bench.Bus(map[virtual.BusAddress]string{{Primary: 7, Secondary: -1}: instrument})
	if err != nil {
		return nil, nil, err
	}
	return virtual.NewAdapter(bus, virtual.AdapterQuirks{}), bus.Close, nil
}

func placeAdapterTCP(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	a, free, err := behind(u, instrument)
	if err != nil {
		return link.Config{}, link.Opener{}, nil, err
	}
	c, o, end, err := overTCP(line, "TCPIP0::127.0.0.1::%d::SOCKET", a.ServeListener)
	c.Address, c.Via = "GPIB0::7::INSTR", c.Address
	return c, o, func() error { defer free(); return end() }, err
}

func placeAdapterSerial(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	a, free, err := behind(u, instrument)
	if err != nil {
		return link.Config{}, link.Opener{}, nil, err
	}
	c, o, end, err := overPTY(line, func(ctx context.Context, far net.Conn) error {
		if err := a.ServePort(ctx, far); ctx.Err() == nil && !errors.Is(err, io.ErrClosedPipe) {
			return err
		}
		return nil
	})
	c.Address, c.Via = "GPIB0::7::INSTR", c.Address
	return c, o, func() error { defer free(); return end() }, err
}

func placeSerial(u *truth, instrument string, line *faulty.Line) (link.Config, link.Opener, func() error, error) {
	return overPTY(line, func(ctx context.Context, far net.Conn) error { return u.bench.ServePort(ctx, instrument, far) })
}

// overPTY puts the line between a pseudo-terminal and what is at its other end.
func overPTY(line *faulty.Line, serve func(ctx context.Context, far net.Conn) error) (link.Config, link.Opener, func() error, error) {
	var none link.Config
	dir, err := os.MkdirTemp("", "faulty")
	if err != nil {
		return none, link.Opener{}, nil, err
	}
	near, far := net.Pipe()
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- serve(ctx, far) }()
	stop := func() error { cancel(); return errors.Join(<-served, os.RemoveAll(dir)) }
	port := filepath.Join(dir, "port")
	s, err := faulty.NewSerial(line, port, near)
	if err != nil {
		return none, link.Opener{}, nil, errors.Join(err, stop())
	}
	c := link.Config{Address: "ASRL" + port + "::INSTR"}
	return c, link.Opener{}, func() error { return errors.Join(s.Close(), stop()) }, nil
}

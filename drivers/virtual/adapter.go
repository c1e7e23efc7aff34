package virtual

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"strconv"
	"sync"
	"time"

	"bandproof/drivers/link/plusplus"
)

// adapterName is what the virtual adapter calls itself.
const adapterName = "virtual GPIB adapter (invented), version 1.0"

// AdapterQuirks are ways of real adapters, as users report them. The zero
// value is an adapter without any.
type AdapterQuirks struct {
	Boot          time.Duration // hears nothing for so long after a client has connected
	LeftIn        []string      // commands that another program has left it with, such as "auto 1"
	MostTimeout   int           // of ++read_tmo_ms, in milliseconds; 0: 32000
	Unknown       []string      // commands that it does not know
	Silent        []string      // queries that it does not answer
	LineEnd       string        // of its own answers; "": CR and LF
	Garbage       string        // is on the line when a client connects
	StuckOnAuto   bool          // it can't be told to leave ++auto 1
	ForgetAddress bool          // it does not change the address, and does not say so
}

// Adapter is a virtual GPIB adapter that takes the ++ controller commands. It
// keeps its settings when a client leaves, as it has its own power supply.
type Adapter struct {
	bus    *Bus
	quirks AdapterQuirks
	one    sync.Mutex // one client at a time

	at       BusAddress
	settings map[string]int
}

// NewAdapter puts an adapter on a bus.
func NewAdapter(bus *Bus, q AdapterQuirks) *Adapter {
	a := &Adapter{bus: bus, quirks: q}
	a.reset()
	for _, text := range q.LeftIn {
		if c, err := plusplus.ParseCommand([]byte(text)); err == nil {
			a.set(c.Name, c.Arguments)
		}
	}
	return a
}

// reset is power-on: what common adapters come with.
func (a *Adapter) reset() {
	a.at = BusAddress{0, -1}
	a.settings = map[string]int{"savecfg": 1, "mode": 1, "auto": 0, "eoi": 1, "eos": 0, "eot_enable": 0, "eot_char": 0, "read_tmo_ms": 1200}
}

// bounds of settings.
var adapterBounds = map[string][2]int{"savecfg": {0, 1}, "mode": {0, 1}, "auto": {0, 1}, "eoi": {0, 1}, "eos": {0, 3},
	"eot_enable": {0, 1}, "eot_char": {0, 255}, "read_tmo_ms": {1, 32000}}

// ServeListener serves one client after another until the context ends, and
// closes the listener.
func (a *Adapter) ServeListener(ctx context.Context, l net.Listener) error {
	stop := context.AfterFunc(ctx, func() { _ = l.Close() })
	defer stop()
	var sessions sync.WaitGroup
	defer sessions.Wait()
	for {
		conn, err := l.Accept()
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("virtual adapter: accept on %s: %w", l.Addr(), err)
		}
		sessions.Go(func() { _ = a.ServePort(ctx, conn) }) // that a client leaves is no error
	}
}

// ServePort serves a client over a line until the context ends or the line
// breaks, and closes it. A further client waits until the one before has left.
func (a *Adapter) ServePort(ctx context.Context, port io.ReadWriteCloser) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var shut sync.Once
	closePort := func() { shut.Do(func() { _ = port.Close() }) }
	stop := context.AfterFunc(ctx, closePort)
	defer stop()
	lines := make(chan plusplus.Line, 64)
	var reading sync.WaitGroup
	defer func() {
		cancel()
		closePort()
		reading.Wait()
	}()
	reading.Go(func() {
		defer close(lines)
		a.hear(ctx, port, lines)
		cancel() // the client is gone: nothing that it waits for matters
	})
	a.one.Lock()
	defer a.one.Unlock()
	s := &adapterSession{Adapter: a, port: port}
	if _, err := io.WriteString(port, a.quirks.Garbage); err != nil {
		return err
	}
	for line := range lines {
		if err := s.line(ctx, line); err != nil {
			return err
		}
	}
	return nil
}

// hear takes what comes apart into lines.
func (a *Adapter) hear(ctx context.Context, port io.Reader, lines chan<- plusplus.Line) {
	var scanner plusplus.Scanner
	buffer := make([]byte, 4096)
	awake := time.Now().Add(a.quirks.Boot)
	for {
		n, err := port.Read(buffer)
		if time.Now().Before(awake) {
			n = 0
		}
		for _, line := range scanner.Scan(buffer[:n]) {
			select {
			case lines <- line:
			case <-ctx.Done():
				return
			}
		}
		if err != nil {
			return
		}
	}
}

// adapterSession is one client's.
type adapterSession struct {
	*Adapter
	port io.Writer
}

func (s *adapterSession) line(ctx context.Context, l plusplus.Line) error {
	switch {
	case l.TooLong:
		return nil // lost, as in an adapter whose buffer has run over
	case !l.Command:
		return s.message(ctx, l.Text)
	}
	c, err := plusplus.ParseCommand(l.Text)
	if err != nil {
		return s.answer("Unrecognized command")
	}
	return s.command(ctx, c)
}

// message sends one to the instrument.
func (s *adapterSession) message(ctx context.Context, text []byte) error {
	text = append(text, []string{"\r\n", "\r", "\n", ""}[s.settings["eos"]]...)
	_ = s.bus.listen(s.at, text, s.settings["eoi"] == 1) // where nobody listens nothing happens, and nobody is told
	if s.settings["auto"] == 1 {
		return s.read(ctx, readToEOI)
	}
	return nil
}

func (s *adapterSession) answer(text string) error {
	_, err := io.WriteString(s.port, text+first(s.quirks.LineEnd, "\r\n"))
	return err
}

func (s *adapterSession) command(ctx context.Context, c plusplus.Command) error {
	if slices.Contains(s.quirks.Unknown, c.Name) {
		return s.answer("Unrecognized command")
	}
	silent := slices.Contains(s.quirks.Silent, c.Name)
	if _, isSetting := s.settings[c.Name]; isSetting || c.Name == "addr" {
		switch {
		case len(c.Arguments) > 0:
			s.set(c.Name, c.Arguments)
			return nil
		case silent:
			return nil
		case c.Name == "addr":
			return s.answer(plusplus.FormatAddress(s.at.Primary, s.at.Secondary))
		}
		return s.answer(strconv.Itoa(s.settings[c.Name]))
	}
	switch c.Name {
	case "ver":
		return s.answer(adapterName)
	case "read":
		return s.read(ctx, readEnd(c.Arguments))
	case "spoll":
		return s.poll(silent || len(c.Arguments) > 0) // with an address: as old firmware, no answer
	case "clr":
		s.bus.command(s.at, Conversation.Clear)
	case "trg":
		s.bus.command(s.at, Conversation.Trigger)
	case "llo":
		s.bus.command(s.at, func(c Conversation) { c.Remote(true) })
	case "loc":
		s.bus.command(s.at, func(c Conversation) { c.Remote(false) })
	case "ifc":
	case "rst":
		s.reset()
	default:
		return s.answer("Unrecognized command")
	}
	return nil
}

// set changes a setting; what is out of bounds changes nothing.
func (a *Adapter) set(name string, arguments []string) {
	if name == "addr" {
		text := arguments[0]
		if len(arguments) > 1 {
			text += " " + arguments[1]
		}
		if p, s, err := plusplus.ParseAddress(text); err == nil && !a.quirks.ForgetAddress {
			a.at = BusAddress{p, s}
		}
		return
	}
	n, err := strconv.Atoi(arguments[0])
	bounds, known := adapterBounds[name]
	switch {
	case !known || err != nil || n < bounds[0] || n > bounds[1]:
		return
	case name == "auto" && n == 0 && a.quirks.StuckOnAuto && a.settings[name] == 1:
		return
	case name == "read_tmo_ms" && a.quirks.MostTimeout > 0:
		n = min(n, a.quirks.MostTimeout)
	}
	a.settings[name] = n
}

func (s *adapterSession) poll(silent bool) error {
	c, there := s.bus.at[s.at]
	if !there || silent {
		return nil
	}
	return s.answer(strconv.Itoa(int(c.StatusByte())))
}

// Where a read ends, if not at a character.
const (
	readToEOI     = -1
	readToTimeout = -2
)

func readEnd(arguments []string) int {
	if len(arguments) == 0 {
		return readToTimeout
	}
	if n, err := strconv.Atoi(arguments[0]); err == nil && n >= 0 && n <= 255 {
		return n
	}
	return readToEOI
}

// read passes on what the instrument says until its end, or until it has said
// nothing for the read time-out.
func (s *adapterSession) read(ctx context.Context, until int) error {
	most := 4096
	if until >= 0 {
		most = 1
	}
	for {
		waiting, cancel := context.WithTimeout(ctx, time.Duration(s.settings["read_tmo_ms"])*time.Millisecond)
		part, eoi, err := s.bus.talk(waiting, s.at, most)
		cancel()
		if err != nil {
			if ctx.Err() != nil || !errors.Is(err, context.DeadlineExceeded) {
				return err
			}
			return nil
		}
		over := eoi && until == readToEOI || until >= 0 && int(part[0]) == until
		if eoi && s.settings["eot_enable"] == 1 {
			part = append(part, byte(s.settings["eot_char"]))
		}
		if _, err := s.port.Write(part); err != nil || over {
			return err
		}
	}
}

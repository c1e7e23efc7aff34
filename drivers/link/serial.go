package link

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"go.bug.st/serial"
)

// readPoll is how long one read of a port waits. The library can't be woken
// safely, so this is also how long closing may take.
const readPoll = 100 * time.Millisecond

// port is what is needed of the library's serial.Port.
type port interface {
	Read(p []byte) (int, error)
	Write(p []byte) (int, error)
	ResetOutputBuffer() error
	Break(time.Duration) error
	Close() error
}

// openSerial opens a serial port. Opening raises DTR and RTS, as all systems
// do; some adapters reset what is behind them when that happens.
//
// A late answer can't be told from a new one on a serial line, so Clear waits
// for silence, and the layer above asks for the identity before it goes on.
func (o Opener) openSerial(ctx context.Context, r Resource, c Config) (Link, error) {
	name, err := portName(r, runtime.GOOS)
	if err != nil {
		return nil, &Error{Address: r.String(), Op: "open", Kind: ErrAddress, Err: err}
	}
	return o.openStream(ctx, r, c, false, func(context.Context) (carrier, error) { return openPort(name, c) })
}

// portName is the system's name of the port.
func portName(r Resource, system string) (string, error) {
	isCOM := len(r.Device) > 3 && r.Device[:3] == "COM"
	switch {
	case system == "windows" && r.Device == "":
		return fmt.Sprintf("COM%d", r.Number), nil
	case r.Device == "":
		return "", fmt.Errorf("a port number alone names no port on this system; write the device, as in ASRL/dev/ttyUSB0::INSTR")
	case system == "windows" && !isCOM:
		return "", fmt.Errorf("port %s is no port of this system; write ASRLCOM3::INSTR", r.Device)
	case system != "windows" && isCOM:
		return "", fmt.Errorf("port %s is no port of this system; write the device, as in ASRL/dev/ttyUSB0::INSTR", r.Device)
	}
	return r.Device, nil
}

// openPort claims the port, sets it up and guards it.
func openPort(name string, c Config) (carrier, error) {
	claimed, err := claim(name)
	if err != nil {
		return nil, err
	}
	opened, err := serial.Open(name, mode(c))
	if err != nil {
		_ = claimed.release()
		return nil, portError(name, c, err)
	}
	g := &guard{port: opened}
	s := &serialPort{guard: g, claim: claimed, spare: &patientWriter{write: g.Write},
		charPace: c.CharPace, broken: c.BreakClear}
	err = opened.SetReadTimeout(readPoll)
	if err == nil {
		err = claimed.configure(c)
	}
	if err == nil {
		err = modemLines(opened, name, c)
	}
	if err != nil {
		_ = s.close()
		return nil, portError(name, c, err)
	}
	return s, nil
}

// modemLines lowers what is wanted low; opening has raised both. A port without
// modem lines, such as a pseudo-terminal, is told only where one is wanted low.
func modemLines(opened serial.Port, name string, c Config) error {
	for _, line := range []struct {
		key, value string
		set        func(bool) error
	}{{"dtr", c.DTR, opened.SetDTR}, {"rts", c.RTS, opened.SetRTS}} {
		if line.value != "off" {
			continue
		}
		if err := line.set(false); err != nil {
			return &Error{Kind: errors.ErrUnsupported, Err: fmt.Errorf("%s = \"off\": %s has no such line: %w", line.key, name, err)}
		}
	}
	return nil
}

// mode translates the settings, which Config.Check has passed.
func mode(c Config) *serial.Mode {
	return &serial.Mode{
		BaudRate: c.Baud,
		DataBits: c.DataBits,
		Parity: map[string]serial.Parity{"none": serial.NoParity, "odd": serial.OddParity, "even": serial.EvenParity,
			"mark": serial.MarkParity, "space": serial.SpaceParity}[c.Parity],
		StopBits: map[string]serial.StopBits{"1": serial.OneStopBit, "1.5": serial.OnePointFiveStopBits, "2": serial.TwoStopBits}[c.StopBits],
		// InitialStatusBits stay nil: with them a port without modem lines can't be opened.
	}
}

// portError says what to check about a port that can't be opened.
func portError(name string, c Config, err error) error {
	var known *Error
	if errors.As(err, &known) {
		return known
	}
	var port *serial.PortError
	if !errors.As(err, &port) {
		return &Error{Kind: ErrDisconnected, Err: fmt.Errorf("%w; is the adapter of %s plugged in?", err, name)}
	}
	switch {
	case port.Code() == serial.PortBusy:
		return &Error{Kind: ErrBusy, Err: fmt.Errorf("another program has %s open", name)}
	case port.Code() == serial.PortNotFound:
		return &Error{Kind: ErrDisconnected, Err: fmt.Errorf("there is no %s; is the adapter plugged in?", name)}
	case port.Code() == serial.PermissionDenied:
		return &Error{Kind: ErrAddress, Err: fmt.Errorf("%s may not be opened by this user; is the user in the group that owns the device?", name)}
	case strings.Contains(port.Error(), "configuring"): // the library hides the code of a refused setting
		return &Error{Kind: errors.ErrUnsupported, Err: fmt.Errorf("%s can't do %d baud, %d data bits, parity %s, %s stop bits on this system: %w",
			name, c.Baud, c.DataBits, c.Parity, c.StopBits, port)}
	}
	return &Error{Kind: ErrAddress, Err: fmt.Errorf("%s is no serial port that could be used: %w", name, port)}
}

var errPortClosed = errors.New("the port is closed")

// guard keeps every call off a port that is closed, or being closed: the
// library would use its old descriptor, which may be another file by then.
type guard struct {
	halted atomic.Bool
	mutex  sync.RWMutex // Close holds it alone
	closed bool
	port   port
}

// use calls f with the open port.
func (g *guard) use(f func(port) (int, error)) (int, error) {
	if g.halted.Load() {
		return 0, errPortClosed
	}
	g.mutex.RLock()
	defer g.mutex.RUnlock()
	if g.closed {
		return 0, errPortClosed
	}
	return f(g.port)
}

func (g *guard) Read(p []byte) (int, error) {
	return g.use(func(o port) (int, error) { return o.Read(p) })
}

func (g *guard) Write(p []byte) (int, error) {
	return g.use(func(o port) (int, error) { return o.Write(p) })
}

func (g *guard) ResetOutputBuffer() error {
	_, err := g.use(func(o port) (int, error) { return 0, o.ResetOutputBuffer() })
	return err
}

func (g *guard) Break(d time.Duration) error {
	_, err := g.use(func(o port) (int, error) { return 0, o.Break(d) })
	return err
}

// halt refuses calls from now on; those under way end by themselves.
func (g *guard) halt() { g.halted.Store(true) }

// Close waits for the calls under way. What was not yet sent is dropped first:
// a system may wait 30 s for an instrument that takes no more.
func (g *guard) Close() error {
	_ = g.ResetOutputBuffer() // also ends a write that hangs, where the system can
	g.halt()
	g.mutex.Lock()
	defer g.mutex.Unlock()
	if g.closed {
		return nil
	}
	g.closed = true
	_ = g.port.ResetOutputBuffer() // what a hanging write had left
	return g.port.Close()
}

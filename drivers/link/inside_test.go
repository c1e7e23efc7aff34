package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"go.bug.st/serial"
)

func TestConfigCheck(t *testing.T) {
	good := Config{Address: "ASRL/dev/x::INSTR", ReadTerminator: "crlf", WriteTerminator: "\r", Parity: "Odd", StopBits: "1.5", FlowControl: "RTSCTS", Baud: 1200, DataBits: 7}
	if err := good.Check(); err != nil {
		t.Errorf("good settings: %v", err)
	}
	filled := good.filled()
	if filled.ReadTerminator != "\r\n" || filled.WriteTerminator != "\r" || filled.Parity != "odd" || filled.FlowControl != "rtscts" ||
		filled.Timeout != DefaultTimeout || filled.Quiet != DefaultQuiet || filled.Gap != DefaultGap || filled.MaxMessage != DefaultMaxMessage {
		t.Errorf("filled in: %+v", filled)
	}
	bad := Config{Address: "ASRL/dev/x::INSTR", ReadTerminator: "LFCR", WriteTerminator: ";", Timeout: -1, Gap: -1, Quiet: -1, MaxMessage: -1,
		Baud: 49, DataBits: 9, Parity: "some", StopBits: "3", FlowControl: "dtr"}
	err := bad.Check()
	for _, key := range []string{"read terminator", "write terminator", "timeout", "gap", "quiet", "longest message", "baud", "data bits", "parity", "stop bits", "flow control", "ASRL/dev/x"} {
		if !errors.Is(err, ErrConfig) || !strings.Contains(err.Error(), key) {
			t.Errorf("bad settings: %v; want one that names %s", err, key)
		}
	}
	if err := (Config{Address: "x"}).Check(); !errors.Is(err, ErrAddress) {
		t.Errorf("bad address: %v", err)
	}
}

func TestPortName(t *testing.T) {
	tests := []struct {
		resource, system, want string
	}{
		{"ASRL3::INSTR", "windows", "COM3"},
		{"ASRLCOM12::INSTR", "windows", "COM12"},
		{"ASRL/dev/ttyUSB0::INSTR", "windows", ""},
		{"ASRL/dev/ttyUSB0::INSTR", "linux", "/dev/ttyUSB0"},
		{"ASRL/dev/cu.usbserial-1::INSTR", "darwin", "/dev/cu.usbserial-1"},
		{"ASRLCOM3::INSTR", "linux", ""},
		{"ASRL3::INSTR", "linux", ""},
		{"ASRL3::INSTR", "darwin", ""},
	}
	for _, test := range tests {
		r, err := ParseResource(test.resource)
		if err != nil {
			t.Fatal(err)
		}
		got, err := portName(r, test.system)
		if got != test.want || (err == nil) != (test.want != "") {
			t.Errorf("%s on %s is %q, %v; want %q", test.resource, test.system, got, err, test.want)
		}
	}
}

func TestModeTranslatesTheSettings(t *testing.T) {
	tests := []struct {
		config Config
		want   serial.Mode
	}{
		{Config{}, serial.Mode{BaudRate: 9600, DataBits: 8, Parity: serial.NoParity, StopBits: serial.OneStopBit}},
		{Config{Baud: 300, DataBits: 7, Parity: "even", StopBits: "2"}, serial.Mode{BaudRate: 300, DataBits: 7, Parity: serial.EvenParity, StopBits: serial.TwoStopBits}},
		{Config{Parity: "odd", StopBits: "1.5"}, serial.Mode{BaudRate: 9600, DataBits: 8, Parity: serial.OddParity, StopBits: serial.OnePointFiveStopBits}},
		{Config{Parity: "mark"}, serial.Mode{BaudRate: 9600, DataBits: 8, Parity: serial.MarkParity}},
		{Config{Parity: "space"}, serial.Mode{BaudRate: 9600, DataBits: 8, Parity: serial.SpaceParity}},
	}
	for _, test := range tests {
		if got := mode(test.config.filled()); *got != test.want {
			t.Errorf("mode of %+v is %+v, want %+v", test.config, *got, test.want)
		}
	}
}

// The library's Write takes fewer bytes than it was given, and says nothing.
func TestPatientWriterGoesOnAfterShortWrites(t *testing.T) {
	var got bytes.Buffer
	w := patientWriter{write: func(p []byte) (int, error) { return got.Write(p[:min(3, len(p))]) }}
	if err := w.send(context.Background(), []byte("0123456789")); err != nil || got.String() != "0123456789" {
		t.Errorf("wrote %q, %v", got.String(), err)
	}
	w.write = func([]byte) (int, error) { return 0, nil }
	if err := w.send(context.Background(), []byte("x")); err == nil {
		t.Error("a port that takes nothing: no error")
	}
	w.write = func([]byte) (int, error) { return 0, io.ErrClosedPipe }
	if err := w.send(context.Background(), []byte("x")); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("a port that fails: %v", err)
	}
}

// The library's Write can't be ended: it must be given up, and nothing may be
// written before it has ended.
func TestPatientWriterGivesUpWaiting(t *testing.T) {
	free := make(chan struct{})
	var mutex sync.Mutex
	var got []string
	w := patientWriter{write: func(p []byte) (int, error) {
		<-free
		mutex.Lock()
		defer mutex.Unlock()
		got = append(got, string(p))
		return len(p), nil
	}}
	for _, message := range []string{"A", "B"} {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
		defer cancel()
		if err := w.send(ctx, []byte(message)); !errors.Is(err, context.DeadlineExceeded) {
			t.Fatalf("send %s: %v; want its deadline", message, err)
		}
	}
	close(free)
	if err := w.wait(context.Background()); err != nil {
		t.Fatal(err)
	}
	if err := w.send(context.Background(), []byte("C")); err != nil || fmt.Sprint(got) != "[A C]" {
		t.Errorf("wrote %v, %v; want the one that was stuck and the last", got, err)
	}
}

func TestPumpTurnsAPanicIntoItsEnd(t *testing.T) {
	p := startPump(100, func([]byte) (int, error) { var none []int; return none[16], nil })
	<-p.done
	if _, err := p.take(nil); err == nil || !strings.Contains(err.Error(), "out of range") {
		t.Errorf("end of the pump: %v; want the panic", err)
	}
}

func TestPumpHoldsALimitedNumberOfBytes(t *testing.T) {
	reads := make(chan struct{}, 1000)
	p := startPump(10, func(b []byte) (int, error) { reads <- struct{}{}; return copy(b, "01234"), nil })
	time.Sleep(50 * time.Millisecond)
	if n := len(reads); n > 3 {
		t.Errorf("%d reads of 5 bytes for a limit of 10; want 3 at most", n)
	}
	if got, err := p.take(nil); string(got) != "0123401234" || err != nil {
		t.Errorf("took %q, %v", got, err)
	}
	close(p.stop)
	<-p.done
	if _, err := p.take(nil); !errors.Is(err, errPumpStopped) {
		t.Errorf("end: %v", err)
	}
}

// strictPort fails the test when a method is called after Close.
type strictPort struct {
	t       *testing.T
	mutex   sync.Mutex
	closed  bool
	reading chan struct{}
	calls   []string
}

func (p *strictPort) called(name string) {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if p.closed {
		p.t.Errorf("%s after Close", name)
	}
	p.calls = append(p.calls, name)
	p.closed = name == "close"
}

func (p *strictPort) Read([]byte) (int, error) {
	p.called("read")
	close(p.reading)
	time.Sleep(50 * time.Millisecond)
	p.called("end of read")
	return 0, nil
}
func (p *strictPort) Write(b []byte) (int, error) { p.called("write"); return len(b), nil }
func (p *strictPort) ResetOutputBuffer() error    { p.called("reset"); return nil }
func (p *strictPort) Break(time.Duration) error   { p.called("break"); return nil }
func (p *strictPort) Close() error                { p.called("close"); return nil }

func TestSerialDropForgetsWhatIsNotYetSent(t *testing.T) {
	port := &strictPort{t: t}
	s := &serialPort{guard: &guard{port: port}, spare: &patientWriter{}}
	if err := s.drop(context.Background()); err != nil || strings.Join(port.calls, ", ") != "reset" {
		t.Errorf("drop: %v, calls %v; want one reset", err, port.calls)
	}
}

func TestGuardKeepsCallsOffAClosedPort(t *testing.T) {
	port := &strictPort{t: t, reading: make(chan struct{})}
	g := &guard{port: port}
	ended := make(chan struct{})
	go func() { defer close(ended); g.Read(make([]byte, 1)) }()
	<-port.reading
	for range 2 {
		if err := g.Close(); err != nil {
			t.Fatal(err)
		}
	}
	<-ended
	if _, err := g.Read(make([]byte, 1)); !errors.Is(err, errPortClosed) {
		t.Errorf("read after close: %v", err)
	}
	if _, err := g.Write([]byte("x")); !errors.Is(err, errPortClosed) {
		t.Errorf("write after close: %v", err)
	}
	if err := g.ResetOutputBuffer(); !errors.Is(err, errPortClosed) {
		t.Errorf("reset after close: %v", err)
	}
	if got := strings.Join(port.calls, ", "); got != "read, reset, end of read, reset, close" {
		t.Errorf("calls: %s", got)
	}
}

// The broadcast address of a network (RFC 919, section 7: host part all ones).
func TestBroadcastAddressOfANetwork(t *testing.T) {
	for network, want := range map[string]string{"192.0.2.7/24": "192.0.2.255", "10.1.2.3/8": "10.255.255.255", "198.51.100.9/30": "198.51.100.11", "192.0.2.1/32": "192.0.2.1"} {
		ip, n, err := net.ParseCIDR(network)
		if err != nil {
			t.Fatal(err)
		}
		if got := broadcastOf(&net.IPNet{IP: ip, Mask: n.Mask}).String(); got != want {
			t.Errorf("%s: %s; want %s", network, got, want)
		}
	}
}

func TestAddressesInAWireLog(t *testing.T) {
	behind := LoggedAs("gpib::7::instr", "asrl/dev/ttyUSB0::instr")
	if want := "GPIB0::7::INSTR via ASRL/dev/ttyUSB0::INSTR"; behind != want {
		t.Fatalf("got %q; want %q", behind, want)
	}
	r, via, err := ParseLogged(behind)
	if err != nil || r.Primary != 7 || via.Device != "/dev/ttyUSB0" {
		t.Errorf("%+v, %+v, %v", r, via, err)
	}
	if got := LoggedAs("no address", ""); got != "no address" {
		t.Errorf("got %q", got)
	}
}

// What dials may go on looking at its context after it has returned, as the
// dialling of several addresses at once does.
func TestContextOfDialOutlivesTheOpening(t *testing.T) {
	var kept context.Context
	r := Resource{Kind: VXI11, Host: "h", LANDevice: "inst0"}
	o := Opener{Log: slog.New(slog.DiscardHandler)}
	k, err := o.openMessages(t.Context(), r, Config{}.filled(), func(ctx context.Context) (messenger, error) {
		kept = ctx
		return &canned{answers: []string{"1\n", "2\n"}}, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	for range 2 {
		if v := kept.Value("key"); v != nil || kept.Err() == nil {
			t.Errorf("after the opening the context holds %v and has ended by %v", v, kept.Err())
		}
		if _, err := k.Query(t.Context(), []byte("A?")); err != nil {
			t.Fatal(err)
		}
	}
}

func TestErrorWithoutAddressNamesNone(t *testing.T) {
	inner := &Error{Kind: ErrProtocol, Err: errors.New("cause")}
	outer := &Error{Address: "A", Op: "clear", Kind: ErrDisconnected, Err: fmt.Errorf("device clear: %w", inner)}
	if got, want := outer.Error(), "A: clear: disconnected: device clear: not a message: cause"; got != want {
		t.Errorf("%q; want %q", got, want)
	}
}

// More connections than an instrument can want are not served, and closing
// twice is as good as once.
func TestServiceRequestsAreBounded(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := takeRequests(l)
	refused := make(chan error, 1)
	for range mostCallers + 1 {
		conn, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		go func() {
			_, err := conn.Read(make([]byte, 1))
			select {
			case refused <- err:
			default:
			}
		}()
	}
	if err := <-refused; err == nil {
		t.Error("a connection too many gives bytes")
	}
	for range 2 {
		if err := r.close(); err != nil {
			t.Error(err)
		}
	}
	if _, open := <-r.out; open {
		t.Error("a request came out of nothing")
	}
}

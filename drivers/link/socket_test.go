package link_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/link"
)

// listen gives a TCP port on this machine and its resource name.
func listen(t testing.TB) (*net.TCPListener, string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l.(*net.TCPListener), address(l)
}

func address(l net.Listener) string {
	return fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", l.Addr().(*net.TCPAddr).Port)
}

func accept(t *testing.T, l *net.TCPListener) net.Conn {
	t.Helper()
	if err := l.SetDeadline(time.Now().Add(20 * time.Second)); err != nil {
		t.Fatal(err)
	}
	conn, err := l.Accept()
	if err != nil {
		t.Fatalf("no connection came: %v", err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

func socketWire(t *testing.T) drivertest.Wire {
	l, address := listen(t)
	return drivertest.Wire{
		Config: link.Config{Address: address},
		Far:    func(t *testing.T) drivertest.Far { return accept(t, l) },
		Renews: true,
	}
}

func TestSocketConforms(t *testing.T) { drivertest.Conformance(t, socketWire) }

// A recorded link must behave as the link below it.
func TestRecordedSocketConforms(t *testing.T) {
	drivertest.Conformance(t, func(t *testing.T) drivertest.Wire {
		w := socketWire(t)
		w.Wrap = func(l link.Link) link.Link { return drivertest.NewRecord(l) }
		return w
	})
}

func TestOpenSocketTellsWhatToCheck(t *testing.T) {
	l, free := listen(t)
	l.Close()
	tests := []struct {
		name, address string
		dial          func(ctx context.Context, network, address string) (net.Conn, error)
		kind          error
		says          string
	}{
		{"refused", free, nil, link.ErrDisconnected, "is the port right"},
		{"no such name", "TCPIP0::no-such-host.invalid::5025::SOCKET",
			func(context.Context, string, string) (net.Conn, error) {
				return nil, &net.DNSError{Err: "no such host", IsNotFound: true}
			},
			link.ErrDisconnected, "is the name right"},
		{"never answers", "TCPIP0::192.0.2.1::5025::SOCKET",
			func(ctx context.Context, _, _ string) (net.Conn, error) { <-ctx.Done(); return nil, ctx.Err() },
			link.ErrTimeout, "deadline"},
		{"bad name", "TCPIP0::192.0.2.300::5025::SOCKET", nil, link.ErrAddress, "IPv4"},
		{"no link yet", "USB0::0x1234::0x5678::S::RAW", nil, errors.ErrUnsupported, "USB0::0x1234::0x5678::SERIAL::INSTR"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			_, err := link.Opener{Dial: test.dial}.Open(context.Background(), link.Config{Address: test.address, Timeout: 200 * time.Millisecond})
			if !errors.Is(err, test.kind) || !strings.Contains(err.Error(), test.says) || !strings.Contains(err.Error(), test.address) {
				t.Errorf("open %s: %v; want kind %q, the address and %q", test.address, err, test.kind, test.says)
			}
		})
	}
}

// Some instruments refuse a new connection until they have noticed that the
// old one is gone.
func TestSocketClearTriesAgainWhileRefused(t *testing.T) {
	l, address := listen(t)
	var mutex sync.Mutex
	dials := 0
	dial := func(ctx context.Context, network, address string) (net.Conn, error) {
		mutex.Lock()
		defer mutex.Unlock()
		dials++
		if dials == 2 || dials == 3 {
			return nil, errors.New("refused for now")
		}
		return (&net.Dialer{}).DialContext(ctx, network, address)
	}
	k, err := link.Opener{Dial: dial}.Open(context.Background(), link.Config{Address: address, Timeout: 20 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	accept(t, l)
	if err := k.Clear(context.Background()); err != nil || dials != 4 {
		t.Fatalf("clear: %v after %d dials; want success at the 4th", err, dials)
	}
	accept(t, l)
	dials = 1
	mutex.Lock() // the dial hangs
	ctx, cancel := context.WithCancel(context.Background())
	time.AfterFunc(20*time.Millisecond, func() { cancel(); mutex.Unlock() })
	if err := k.Clear(ctx); !errors.Is(err, link.ErrCancelled) {
		t.Errorf("cancelled clear: %v; want cancelled", err)
	}
	if _, err := k.Read(context.Background()); !errors.Is(err, link.ErrDisconnected) {
		t.Errorf("read after a clear that failed: %v; want disconnected", err)
	}
}

// The instrument takes nothing: the buffers on the way fill up.
func TestSocketWriteEndsWithItsContext(t *testing.T) {
	l, address := listen(t)
	k, err := link.Opener{}.Open(context.Background(), link.Config{Address: address})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	accept(t, l)
	huge := make([]byte, 64<<20)
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	err = k.Write(ctx, huge)
	if !errors.Is(err, link.ErrTimeout) {
		t.Fatalf("write: %v; want timed out", err)
	}
	if err := k.Write(context.Background(), []byte("A")); !errors.Is(err, link.ErrDirty) || errors.Is(err, link.ErrTimeout) {
		t.Errorf("write after half a message: %v; want dirty and nothing else", err)
	}
}

// wires collects exchanges.
type wires struct {
	mutex sync.Mutex
	all   []string
}

func (w *wires) Exchange(e link.Exchange) {
	w.mutex.Lock()
	defer w.mutex.Unlock()
	line := fmt.Sprintf("%s %q", e.Direction, e.Bytes)
	if e.At.IsZero() || e.Address == "" {
		line += " without time or address"
	}
	w.all = append(w.all, line)
}

func TestWireLogTellsEveryByte(t *testing.T) {
	l, address := listen(t)
	var log wires
	k, err := link.Opener{Wire: &log}.Open(context.Background(), link.Config{Address: address})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	far := accept(t, l)
	far.Write([]byte("1\r\nLEFT OVER\n"))
	if _, err := k.Read(context.Background()); err != nil {
		t.Fatal(err)
	}
	time.Sleep(100 * time.Millisecond)
	go func() {
		far.Read(make([]byte, 100))
		far.Write([]byte("#12\n\n\n"))
	}()
	if _, err := k.Query(context.Background(), []byte("A?")); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	if _, err := k.Query(ctx, []byte("B?")); !errors.Is(err, link.ErrTimeout) {
		t.Fatal(err)
	}
	far.Write([]byte("HALF"))
	time.Sleep(100 * time.Millisecond)
	k.Close()
	want := []string{`open ""`, `received "1\r\n"`, `discarded "LEFT OVER\n"`, `sent "A?\n"`, `received "#12\n\n\n"`,
		`sent "B?\n"`, `silence ""`, `discarded "HALF"`, `close ""`}
	if got := strings.Join(log.all, "; "); got != strings.Join(want, "; ") {
		t.Errorf("wire log\n got %s\nwant %s", got, strings.Join(want, "; "))
	}
}

func BenchmarkSocketQuery(b *testing.B) {
	l, address := listen(b)
	go func() {
		conn, err := l.Accept()
		if err != nil {
			return
		}
		defer conn.Close()
		for p := make([]byte, 100); ; {
			if _, err := conn.Read(p); err != nil {
				return
			}
			conn.Write([]byte("+1.0000000000E+7\n"))
		}
	}()
	k, err := link.Opener{}.Open(context.Background(), link.Config{Address: address})
	if err != nil {
		b.Fatal(err)
	}
	defer k.Close()
	for b.Loop() {
		if _, err := k.Query(context.Background(), []byte("FETC?")); err != nil {
			b.Fatal(err)
		}
	}
}

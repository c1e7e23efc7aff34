package link_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"bandproof/drivers/link"
	"bandproof/drivers/virtual"

	"github.com/stretchr/testify/require"
)

// box is an instrument on a bus that does what a test tells it to.
type box struct {
	answer func(message string) // called for each message

	mutex   sync.Mutex
	out     []piece
	came    chan struct{}
	heard   []string
	status  byte
	cleared int
	remote  []bool
	trigger int
}

type piece struct {
	bytes string
	eoi   bool
}

// newBox is an instrument that answers each question with its name and the
// question.
func newBox(name string) *box {
	b := &box{came: make(chan struct{})}
	b.answer = func(m string) {
		if q, ok := strings.CutSuffix(m, "?\n"); ok {
			b.say(name+" "+q+"\n", true)
		}
	}
	return b
}

func (b *box) say(text string, eoi bool) {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	b.out = append(b.out, piece{text, eoi})
	close(b.came)
	b.came = make(chan struct{})
}

func (b *box) Receive(message []byte) {
	b.mutex.Lock()
	b.heard = append(b.heard, string(message))
	b.mutex.Unlock()
	b.answer(string(message))
}

func (b *box) Send(ctx context.Context, most int) ([]byte, bool, error) {
	for {
		b.mutex.Lock()
		came := b.came
		if len(b.out) > 0 {
			p := &b.out[0]
			n := min(most, len(p.bytes))
			part, end := p.bytes[:n], false
			if p.bytes = p.bytes[n:]; p.bytes == "" {
				end = p.eoi
				b.out = b.out[1:]
			}
			b.mutex.Unlock()
			return []byte(part), end, nil
		}
		b.mutex.Unlock()
		select {
		case <-came:
		case <-ctx.Done():
			return nil, false, ctx.Err()
		}
	}
}

func (b *box) Clear() {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	b.cleared++
	b.out = nil
}

func (b *box) Trigger() {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	b.trigger++
}

func (b *box) StatusByte() byte {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	if len(b.out) > 0 {
		return b.status | 16
	}
	return b.status
}

func (b *box) Remote(on bool) {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	b.remote = append(b.remote, on)
}

func (b *box) Close() {}

func (b *box) messages() []string {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	return append([]string(nil), b.heard...)
}

// serveAdapter serves an adapter with instruments behind it and gives its address.
func serveAdapter(t *testing.T, q virtual.AdapterQuirks, at map[virtual.BusAddress]virtual.Conversation) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	bus := virtual.NewBus(at)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- virtual.NewAdapter(bus, q).ServeListener(ctx, l) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-served)
		bus.Close()
	})
	host, port, err := net.SplitHostPort(l.Addr().String())
	require.NoError(t, err)
	return "TCPIP0::" + host + "::" + port + "::SOCKET"
}

func at(primary int) virtual.BusAddress { return virtual.BusAddress{Primary: primary, Secondary: -1} }

func openVia(t *testing.T, o link.Opener, c link.Config) link.Link {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	l, err := o.Open(ctx, c)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, l.Close()) })
	return l
}

func within(t *testing.T, d time.Duration) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), d)
	t.Cleanup(cancel)
	return ctx
}

func TestAdapterCarriesMessages(t *testing.T) {
	a, b := newBox("A"), newBox("B")
	via := serveAdapter(t, virtual.AdapterQuirks{}, map[virtual.BusAddress]virtual.Conversation{at(7): a, {Primary: 7, Secondary: 3}: b})
	o := link.Opener{Adapters: &link.Adapters{}}
	la := openVia(t, o, link.Config{Address: "GPIB0::7::INSTR", Via: via})
	lb := openVia(t, o, link.Config{Address: "GPIB0::7::3::INSTR", Via: via})
	ctx := within(t, 20*time.Second)
	for i := range 3 {
		for name, l := range map[string]link.Link{"A": la, "B": lb} {
			got, err := l.Query(ctx, []byte("Q?"))
			require.NoError(t, err, "%d", i)
			require.Equal(t, name+" Q", string(got))
		}
	}
	// Every byte arrives as it was sent, and comes back.
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	a.answer = func(string) { a.say("#3256"+string(all)+"\n", true) }
	got, err := la.Query(ctx, append([]byte("++spoll"), all...))
	require.NoError(t, err)
	require.Equal(t, append([]byte("#3256"), all...), got)
	heard := a.messages()
	require.Equal(t, "++spoll"+string(all)+"\n", heard[len(heard)-1])

	require.NoError(t, la.Trigger(ctx))
	require.NoError(t, lb.Remote(ctx))
	require.NoError(t, lb.Local(ctx))
	a.mutex.Lock()
	a.status = 0x41
	a.mutex.Unlock()
	status, err := la.StatusByte(ctx)
	require.NoError(t, err)
	require.Equal(t, byte(0x41), status)
	require.NoError(t, la.Clear(ctx))
	require.Equal(t, 1, a.trigger)
	require.Equal(t, 1, a.cleared)
	require.Equal(t, []bool{true, false}, b.remote)
	require.Equal(t, 0, b.cleared+b.trigger)
}

// A gate may be longer than any read time-out that an adapter takes.
func TestAdapterWaitsForLongGates(t *testing.T) {
	for name, q := range map[string]virtual.AdapterQuirks{"as told": {}, "limited": {MostTimeout: 100}, "can't be read back": {Silent: []string{"read_tmo_ms"}}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a := newBox("A")
			a.answer = func(string) {
				time.AfterFunc(1300*time.Millisecond, func() { a.say("+1.23", false) })
				time.AfterFunc(2200*time.Millisecond, func() { a.say("E+06\n", true) }) // later than a slice after its beginning
			}
			l := openVia(t, link.Opener{}, link.Config{Address: "GPIB0::7::INSTR", Via: serveAdapter(t, q, map[virtual.BusAddress]virtual.Conversation{at(7): a})})
			got, err := l.Query(within(t, 20*time.Second), []byte("READ?"))
			require.NoError(t, err)
			require.Equal(t, "+1.23E+06", string(got))
		})
	}
}

// What one instrument says late is neither the next reply of its own nor that
// of its neighbour.
func TestAdapterKeepsLateRepliesApart(t *testing.T) {
	a, b := newBox("A"), newBox("B")
	a.answer = func(m string) {
		if strings.HasPrefix(m, "SLOW") {
			time.AfterFunc(200*time.Millisecond, func() { a.say("LATE\n", true) })
			return
		}
		a.say("A "+m, true)
	}
	via := serveAdapter(t, virtual.AdapterQuirks{}, map[virtual.BusAddress]virtual.Conversation{at(7): a, at(8): b})
	o := link.Opener{Adapters: &link.Adapters{}}
	la := openVia(t, o, link.Config{Address: "GPIB0::7::INSTR", Via: via})
	lb := openVia(t, o, link.Config{Address: "GPIB0::8::INSTR", Via: via})
	for range 5 {
		_, err := la.Query(within(t, 100*time.Millisecond), []byte("SLOW?"))
		require.ErrorIs(t, err, link.ErrTimeout)
		got, err := lb.Query(within(t, 20*time.Second), []byte("Q?"))
		require.NoError(t, err)
		require.Equal(t, "B Q", string(got))
		_, err = la.Query(within(t, 20*time.Second), []byte("Q?"))
		require.ErrorIs(t, err, link.ErrDirty)
		time.Sleep(200 * time.Millisecond) // the reply is there
		require.NoError(t, la.Clear(within(t, 20*time.Second)))
		got, err = la.Query(within(t, 20*time.Second), []byte("Q?"))
		require.NoError(t, err)
		require.Equal(t, "A Q?", string(got))
	}
	require.Equal(t, 0, b.cleared)
}

func TestAdapterIsSharedByManyAtOnce(t *testing.T) {
	const instruments, each = 5, 30
	boxes := map[virtual.BusAddress]virtual.Conversation{}
	for i := range instruments {
		boxes[at(i+1)] = newBox(fmt.Sprint("N", i+1))
	}
	via := serveAdapter(t, virtual.AdapterQuirks{}, boxes)
	o := link.Opener{Adapters: &link.Adapters{}}
	var group sync.WaitGroup
	for i := range instruments {
		l := openVia(t, o, link.Config{Address: fmt.Sprintf("GPIB0::%d::INSTR", i+1), Via: via, Common: i%2 == 0})
		group.Go(func() {
			for n := range each {
				limit := 20 * time.Second
				if n%10 == 9 { // some give up
					limit = 300 * time.Microsecond
				}
				ctx, cancel := context.WithTimeout(context.Background(), limit)
				got, err := l.Query(ctx, fmt.Appendf(nil, "Q%d?", n))
				cancel()
				if err == nil {
					if want := fmt.Sprintf("N%d Q%d", i+1, n); string(got) != want {
						t.Errorf("answer %q; want %q", got, want)
					}
					continue
				}
				if limit == 20*time.Second {
					t.Errorf("instrument %d: %v", i+1, err)
				}
				ctx, cancel = context.WithTimeout(context.Background(), 20*time.Second)
				if err := l.Clear(ctx); err != nil {
					t.Errorf("clear of %d: %v", i+1, err)
				}
				cancel()
			}
		})
	}
	group.Wait()
}

// An instrument that measures must not keep the others from the adapter, where
// its status byte tells when it has something to say.
func TestAdapterServesOthersDuringALongGate(t *testing.T) {
	a, b := newBox("A"), newBox("B")
	a.answer = func(string) {}
	via := serveAdapter(t, virtual.AdapterQuirks{}, map[virtual.BusAddress]virtual.Conversation{at(7): a, at(8): b})
	o := link.Opener{Adapters: &link.Adapters{}}
	la := openVia(t, o, link.Config{Address: "GPIB0::7::INSTR", Via: via, Common: true})
	lb := openVia(t, o, link.Config{Address: "GPIB0::8::INSTR", Via: via, Common: true})
	result := make(chan error, 1)
	go func() {
		got, err := la.Query(within(t, 30*time.Second), []byte("READ?"))
		if string(got) != "DONE" {
			err = errors.Join(err, fmt.Errorf("answer %q", got))
		}
		result <- err
	}()
	for i := range 50 {
		got, err := lb.Query(within(t, 20*time.Second), []byte("Q?"))
		require.NoError(t, err)
		require.Equal(t, "B Q", string(got))
		if i == 40 {
			a.say("DONE\n", true)
		}
	}
	require.NoError(t, <-result)
}

func TestAdapterQuirks(t *testing.T) {
	for _, row := range []struct {
		name string
		q    virtual.AdapterQuirks
		// want: "" works; else part of the error of opening
		want string
	}{
		{"was left reading by itself", virtual.AdapterQuirks{LeftIn: []string{"auto 1", "eos 0", "eot_enable 0", "mode 0", "addr 3"}}, ""},
		{"keeps reading by itself", virtual.AdapterQuirks{LeftIn: []string{"auto 1"}, StuckOnAuto: true}, "++auto 0 and says 1"},
		{"starts slowly when its port is opened", virtual.AdapterQuirks{Boot: 1200 * time.Millisecond}, ""},
		{"says something when its port is opened", virtual.AdapterQuirks{Garbage: "hello\r\n+1.2"}, ""},
		{"knows no savecfg", virtual.AdapterQuirks{Unknown: []string{"savecfg"}}, ""},
		{"tells no settings", virtual.AdapterQuirks{Silent: []string{"read_tmo_ms", "auto", "mode", "eoi", "eos", "eot_enable", "eot_char"}}, ""},
		{"ends its lines with LF", virtual.AdapterQuirks{LineEnd: "\n"}, ""},
		{"takes no long time-out", virtual.AdapterQuirks{MostTimeout: 300}, ""},
		{"does not take the address", virtual.AdapterQuirks{ForgetAddress: true}, "told to address 7 and says that it addresses 0"},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			via := serveAdapter(t, row.q, map[virtual.BusAddress]virtual.Conversation{at(7): newBox("A")})
			l, err := link.Opener{}.Open(within(t, 20*time.Second), link.Config{Address: "GPIB0::7::INSTR", Via: via})
			if row.want != "" {
				require.ErrorContains(t, err, row.want)
				return
			}
			require.NoError(t, err)
			defer func() { require.NoError(t, l.Close()) }()
			got, err := l.Query(within(t, 20*time.Second), []byte("Q?"))
			require.NoError(t, err)
			require.Equal(t, "A Q", string(got))
			_, err = l.Query(within(t, 50*time.Millisecond), []byte("NOTHING"))
			require.ErrorIs(t, err, link.ErrTimeout)
			require.NoError(t, l.Clear(within(t, 20*time.Second)))
			got, err = l.Query(within(t, 20*time.Second), []byte("Q?"))
			require.NoError(t, err)
			require.Equal(t, "A Q", string(got))
		})
	}
}

func TestAdapterWithInstrumentsThatKnowNoEOI(t *testing.T) {
	for end, text := range map[string]string{"LF": "\n", "CR": "\r", "CRLF": "\r\n"} {
		a := newBox("A")
		a.answer = func(string) { a.say("1.5"+text, false) }
		l := openVia(t, link.Opener{}, link.Config{Address: "GPIB0::7::INSTR", NoEOI: true, ReadTerminator: end,
			Via: serveAdapter(t, virtual.AdapterQuirks{}, map[virtual.BusAddress]virtual.Conversation{at(7): a})})
		for range 2 {
			got, err := l.Query(within(t, 20*time.Second), []byte("Q?"))
			require.NoError(t, err, end)
			require.Equal(t, "1.5", string(got))
		}
	}
}

func TestAdapterThatIsMissing(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	host, port, _ := net.SplitHostPort(l.Addr().String())
	via := "TCPIP0::" + host + "::" + port + "::SOCKET"
	_, err = link.Opener{}.Open(within(t, 300*time.Millisecond), link.Config{Address: "GPIB0::7::INSTR", Via: via})
	require.ErrorIs(t, err, link.ErrTimeout)
	require.ErrorContains(t, err, "++ver")
	require.NoError(t, l.Close())
	_, err = link.Opener{}.Open(within(t, 300*time.Millisecond), link.Config{Address: "GPIB0::7::INSTR", Via: via})
	require.ErrorIs(t, err, link.ErrDisconnected)
	_, err = link.Opener{}.Open(t.Context(), link.Config{Address: "GPIB0::7::INSTR", Via: "GPIB0::7::INSTR"})
	require.ErrorIs(t, err, link.ErrConfig)
	_, err = link.Opener{}.Open(t.Context(), link.Config{Address: "GPIB0::7::INSTR", Via: via, NoEOI: true, ReadTerminator: "none"})
	require.ErrorIs(t, err, link.ErrConfig)
}

// A connection that breaks is told to every instrument behind it, and each can
// come back.
func TestAdapterThatComesBack(t *testing.T) {
	a, b := newBox("A"), newBox("B")
	via := serveAdapter(t, virtual.AdapterQuirks{}, map[virtual.BusAddress]virtual.Conversation{at(7): a, at(8): b})
	var mutex sync.Mutex
	var conns []net.Conn
	o := link.Opener{Adapters: &link.Adapters{}, Dial: func(ctx context.Context, network, address string) (net.Conn, error) {
		conn, err := (&net.Dialer{}).DialContext(ctx, network, address)
		mutex.Lock()
		defer mutex.Unlock()
		conns = append(conns, conn)
		return conn, err
	}}
	la := openVia(t, o, link.Config{Address: "GPIB0::7::INSTR", Via: via})
	lb := openVia(t, o, link.Config{Address: "GPIB0::8::INSTR", Via: via})
	require.Len(t, conns, 1)
	require.NoError(t, conns[0].Close())
	for _, l := range []link.Link{la, lb} {
		_, err := l.Query(within(t, 20*time.Second), []byte("Q?"))
		require.ErrorIs(t, err, link.ErrDisconnected)
		require.NoError(t, l.Clear(within(t, 20*time.Second)))
		got, err := l.Query(within(t, 20*time.Second), []byte("Q?"))
		require.NoError(t, err)
		require.True(t, bytes.HasSuffix(got, []byte(" Q")), "%q", got)
	}
	require.Len(t, conns, 2)
}

// What sends lines without end at the place of an adapter is no adapter, and
// takes neither time nor memory for that.
func TestEndlessLinesAreNoAdapter(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		conn, err := l.Accept()
		if err != nil {
			return
		}
		defer conn.Close()
		for lines := bytes.Repeat([]byte("\n1\n"), 300<<10); err == nil; {
			_, err = conn.Write(lines)
		}
	}()
	via := fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", l.Addr().(*net.TCPAddr).Port)
	begin := time.Now()
	_, err = link.Opener{}.Open(within(t, time.Second), link.Config{Address: "GPIB0::7::INSTR", Via: via})
	require.Error(t, err)
	t.Logf("refused after %s: %v", time.Since(begin), err)
	<-gone
}

// One link leaves an adapter while another comes: the adapter takes one
// connection, and the new link waits for it.
func TestAdapterIsTakenAndLeftAtOnce(t *testing.T) {
	a, b := newBox("A"), newBox("B")
	bus := virtual.NewBus(map[virtual.BusAddress]virtual.Conversation{at(7): a, at(8): b})
	defer bus.Close()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- virtual.NewAdapter(bus, virtual.AdapterQuirks{}).ServeListener(ctx, l) }()
	defer func() { cancel(); require.NoError(t, <-served) }()
	var mutex sync.Mutex
	open, most := 0, 0
	o := link.Opener{Adapters: &link.Adapters{}, Dial: func(ctx context.Context, network, address string) (net.Conn, error) {
		conn, err := (&net.Dialer{}).DialContext(ctx, network, address)
		if err != nil {
			return nil, err
		}
		mutex.Lock()
		defer mutex.Unlock()
		open++
		most = max(most, open)
		return &slowToClose{Conn: conn, closed: func() {
			mutex.Lock()
			defer mutex.Unlock()
			open--
		}}, nil
	}}
	via := fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", l.Addr().(*net.TCPAddr).Port)
	first, err := o.Open(within(t, 20*time.Second), link.Config{Address: "GPIB0::7::INSTR", Via: via})
	require.NoError(t, err)
	closing := make(chan error, 1)
	go func() { closing <- first.Close() }()
	for range 3 {
		second, err := o.Open(within(t, 20*time.Second), link.Config{Address: "GPIB0::8::INSTR", Via: via})
		require.NoError(t, err)
		go func() { closing <- second.Close() }()
	}
	for range 4 {
		require.NoError(t, <-closing)
	}
	mutex.Lock()
	defer mutex.Unlock()
	require.Equal(t, 1, most, "connections to the adapter at once")
	require.Zero(t, open)
}

// slowToClose takes its time to let go, as serial ports do.
type slowToClose struct {
	net.Conn
	once   sync.Once
	closed func()
}

func (s *slowToClose) Close() error {
	err := s.Conn.Close()
	s.once.Do(func() {
		time.Sleep(100 * time.Millisecond)
		s.closed()
	})
	return err
}

package virtual_test

import (
	"context"
	"net"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"bandproof/drivers/virtual"
)

// FuzzHiSLIPServer lets a client say anything on either channel of a session.
// Whatever that is: no panic, and the server takes the next client and ends
// when it is told to.
func FuzzHiSLIPServer(f *testing.F) {
	f.Add([]byte("HS\x07\x00\xff\xff\xff\x00\x00\x00\x00\x00\x00\x00\x00\x05*IDN?"), []byte("HS\x13\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00"))
	f.Add([]byte("HS\x08\x01\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00HS\x0c\x00\xff\xff\xff\x00\x00\x00\x00\x00\x00\x00\x00\x00"), []byte("HS\x15\x01\xff\xff\xff\x00\x00\x00\x00\x00\x00\x00\x00\x00"))
	f.Add([]byte("GET / HTTP/1.1\r\n\r\n"), []byte("HS\x0f\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x08\xff\xff\xff\xff\xff\xff\xff\xff"))
	s, err := virtual.DefaultScenario()
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, onSync, onAsync []byte) {
		b, err := virtual.New(s, virtual.Options{Clock: virtual.NewInstantClock()})
		require.NoError(t, err)
		l := &pipes{conns: make(chan net.Conn), over: make(chan struct{})}
		ctx, cancel := context.WithCancel(context.Background())
		served := make(chan error, 1)
		go func() {
			served <- b.ServeHiSLIP(ctx, l, virtual.HiSLIP{Instruments: map[string]string{"hislip0": "counter"}, MaxMessage: 4096})
		}()
		for _, says := range [][2][]byte{{onSync, onAsync}, {}} {
			sync, async := hisWire{t, l.dial()}, hisWire{t, l.dial()}
			sync.says(his{kind: hisInitialize, parameter: 0x0100 << 16})
			m := sync.hears()
			require.Equal(t, byte(hisInitialized), m.kind, "%q", m.payload)
			async.says(his{kind: hisAsync, parameter: m.parameter & 0xffff})
			require.Equal(t, byte(hisAsyncResponse), async.hears().kind)
			both := make(chan struct{})
			go func() { defer close(both); _, _ = async.conn.Write(says[1]) }()
			go drop(sync.conn)
			go drop(async.conn)
			_, _ = sync.conn.Write(says[0]) // the server may have had enough
			<-both
			require.NoError(t, sync.conn.Close())
			require.NoError(t, async.conn.Close())
		}
		cancel()
		require.NoError(t, <-served)
		require.NoError(t, b.Close())
	})
}

func drop(c net.Conn) {
	p := make([]byte, 4096)
	for {
		if _, err := c.Read(p); err != nil {
			return
		}
	}
}

// pipes is a listener within the process.
type pipes struct {
	conns chan net.Conn
	once  sync.Once
	over  chan struct{}
}

func (l *pipes) dial() net.Conn {
	near, far := net.Pipe()
	l.conns <- far
	return near
}

func (l *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-l.conns:
		return c, nil
	case <-l.over:
		return nil, net.ErrClosed
	}
}

func (l *pipes) Close() error {
	l.once.Do(func() { close(l.over) })
	return nil
}

func (l *pipes) Addr() net.Addr { return &net.TCPAddr{} }

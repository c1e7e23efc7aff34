package virtual_test

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bandproof/drivers/scpi"
	"bandproof/drivers/virtual"
)

// his is a HiSLIP message, or what is expected of one.
type his struct {
	kind, control byte
	parameter     uint32
	payload       string
}

// Types by IVI-6.1 table 4.
const (
	hisInitialize, hisInitialized, hisFatal, hisError         = 0, 1, 2, 3
	hisData, hisDataEnd, hisCleared, hisClearAck              = 6, 7, 8, 9
	hisRemote, hisTrigger, hisInterrupted, hisAsyncInterrupt  = 10, 12, 13, 14
	hisSize, hisSizeResponse, hisAsync, hisAsyncResponse      = 15, 16, 17, 18
	hisClear, hisService, hisStatus, hisStatusResponse, hisAC = 19, 20, 21, 22, 23
)

// hisWire is one end of a connection, written without the code under test.
type hisWire struct {
	*testing.T
	conn net.Conn
}

func (w hisWire) says(list ...his) {
	w.Helper()
	for _, m := range list {
		p := binary.BigEndian.AppendUint32([]byte{'H', 'S', m.kind, m.control}, m.parameter)
		p = append(binary.BigEndian.AppendUint64(p, uint64(len(m.payload))), m.payload...)
		_, err := w.conn.Write(p)
		require.NoError(w, err)
	}
}

func (w hisWire) hears() his {
	w.Helper()
	var head [16]byte
	require.NoError(w, w.conn.SetReadDeadline(time.Now().Add(20*time.Second)))
	_, err := io.ReadFull(w.conn, head[:])
	require.NoError(w, err)
	require.Equal(w, "HS", string(head[:2]))
	p := make([]byte, binary.BigEndian.Uint64(head[8:]))
	_, err = io.ReadFull(w.conn, p)
	require.NoError(w, err)
	return his{head[2], head[3], binary.BigEndian.Uint32(head[4:]), string(p)}
}

// ends waits until the server has closed the connection.
func (w hisWire) ends() {
	w.Helper()
	require.NoError(w, w.conn.SetReadDeadline(time.Now().Add(20*time.Second)))
	_, err := io.Copy(io.Discard, w.conn)
	if !errors.Is(err, syscall.ECONNRESET) {
		require.NoError(w, err)
	}
}

// hisServer serves the counter as hislip0 and LF as hislip1.
func hisServer(t *testing.T, h virtual.HiSLIP) (dial func() hisWire) {
	t.Helper()
	s, err := virtual.DefaultScenario()
	require.NoError(t, err)
	b, err := virtual.New(s, virtual.Options{Follow: true})
	require.NoError(t, err)
	h.Instruments = map[string]string{"hislip0": "counter", "hislip1": "LF"}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- b.ServeHiSLIP(ctx, l, h) }()
	t.Cleanup(func() {
		cancel() // with sessions open
		require.NoError(t, <-served)
		require.NoError(t, b.Close())
	})
	return func() hisWire {
		conn, err := net.Dial("tcp", l.Addr().String())
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		return hisWire{t, conn}
	}
}

// hisSession opens a session with the counter.
func hisSession(t *testing.T, h virtual.HiSLIP) (sync, async hisWire) {
	t.Helper()
	dial := hisServer(t, h)
	sync = dial()
	sync.says(his{kind: hisInitialize, parameter: 0x0100 << 16, payload: "hislip0"})
	m := sync.hears()
	require.Equal(t, byte(hisInitialized), m.kind)
	require.Equal(t, uint32(0x0100), m.parameter>>16, "version")
	async = dial()
	async.says(his{kind: hisAsync, parameter: m.parameter & 0xffff})
	require.Equal(t, byte(hisAsyncResponse), async.hears().kind)
	return sync, async
}

const first = 0xffffff00 // identifier of the first message

func fault(kind, code byte) func(*testing.T, his) {
	return func(t *testing.T, m his) {
		t.Helper()
		require.Equal(t, []byte{kind, code}, []byte{m.kind, m.control}, "%q", m.payload)
		require.NotEmpty(t, m.payload)
	}
}

// Mistakes that end the connection, with the codes of IVI-6.1 table 14.
func TestHiSLIPServerFatalErrors(t *testing.T) {
	for _, row := range []struct {
		name string
		says func(dial func() hisWire) hisWire
		want byte
	}{
		{"no header", func(dial func() hisWire) hisWire {
			w := dial()
			_, err := w.conn.Write([]byte("GET / HTTP/1.1\r\n"))
			require.NoError(w, err)
			return w
		}, 1},
		{"no asynchronous channel", func(dial func() hisWire) hisWire {
			w := dial()
			w.says(his{kind: hisInitialize, parameter: 0x0100 << 16})
			require.Equal(w, byte(hisInitialized), w.hears().kind)
			w.says(his{hisDataEnd, 0, first, "*IDN?"})
			return w
		}, 2},
		{"data first", func(dial func() hisWire) hisWire { w := dial(); w.says(his{kind: hisDataEnd}); return w }, 3},
		{"no such session", func(dial func() hisWire) hisWire { w := dial(); w.says(his{kind: hisAsync, parameter: 999}); return w }, 3},
		{"no such sub-address", func(dial func() hisWire) hisWire {
			w := dial()
			w.says(his{kind: hisInitialize, payload: "hislip8"})
			return w
		}, 3},
		{"a second asynchronous channel", func(dial func() hisWire) hisWire {
			w := dial()
			w.says(his{kind: hisInitialize, parameter: 0x0100 << 16})
			session := w.hears().parameter & 0xffff
			async := dial()
			async.says(his{kind: hisAsync, parameter: session})
			require.Equal(w, byte(hisAsyncResponse), async.hears().kind)
			again := dial()
			again.says(his{kind: hisAsync, parameter: session})
			return again
		}, 3},
		{"more clients than it takes", func(dial func() hisWire) hisWire {
			w, other := dial(), dial()
			w.says(his{kind: hisInitialize, payload: "hislip1"})
			require.Equal(w, byte(hisInitialized), w.hears().kind)
			other.says(his{kind: hisInitialize, payload: "hislip1"})
			return other
		}, 4},
	} {
		t.Run(row.name, func(t *testing.T) {
			w := row.says(hisServer(t, virtual.HiSLIP{}))
			w.T = t
			fault(hisFatal, row.want)(t, w.hears())
			w.ends()
		})
	}
}

// Mistakes after which things go on, with the codes of IVI-6.1 table 16.
func TestHiSLIPServerErrors(t *testing.T) {
	sync, async := hisSession(t, virtual.HiSLIP{MaxMessage: 100})
	for _, row := range []struct {
		name string
		on   hisWire
		m    his
		want byte
	}{
		{"reserved type", sync, his{kind: 40}, 1},
		{"encryption", sync, his{kind: 28}, 1},
		{"asynchronous message", sync, his{kind: hisStatus}, 1},
		{"a second Initialize", sync, his{kind: hisInitialize}, 1},
		{"DeviceClearComplete out of turn", sync, his{kind: hisCleared}, 1},
		{"vendor-specific", sync, his{kind: 200}, 3},
		{"too large", sync, his{kind: hisDataEnd, parameter: first, payload: strings.Repeat("x", 85)}, 4},
		{"reserved type, asynchronous", async, his{kind: 99}, 1},
		{"synchronous message", async, his{kind: hisDataEnd}, 1},
		{"lock", async, his{kind: 4, control: 1}, 1},
		{"remote code", async, his{kind: hisRemote, control: 7}, 2},
		{"vendor-specific, asynchronous", async, his{kind: 128}, 3},
		{"a maximum size of no room", async, his{kind: hisSize, payload: "\x00\x00\x00\x00\x00\x00\x00\x10"}, 0},
	} {
		t.Log(row.name)
		row.on.says(row.m)
		fault(hisError, row.want)(t, row.on.hears())
	}
	sync.says(his{hisDataEnd, 0, first, "SYST:ERR?"})
	require.Equal(t, his{hisDataEnd, 0, first, "0,\"No error\"\n"}, sync.hears())
}

// The sizes are each side's own (table 28); a response is cut to the client's.
func TestHiSLIPServerCutsResponses(t *testing.T) {
	sync, async := hisSession(t, virtual.HiSLIP{MaxMessage: 5000})
	async.says(his{kind: hisSize, payload: "\x00\x00\x00\x00\x00\x00\x00\x16"}) // 6 of payload
	require.Equal(t, his{kind: hisSizeResponse, payload: "\x00\x00\x00\x00\x00\x00\x13\x88"}, async.hears())
	sync.says(his{hisData, 0, first, "SYST:"}, his{hisDataEnd, 0, first + 2, "ERR?\n"})
	require.Equal(t, his{hisData, 0, first + 2, "0,\"No "}, sync.hears())
	require.Equal(t, his{hisData, 0, first + 2, "error\""}, sync.hears())
	require.Equal(t, his{hisDataEnd, 0, first + 2, "\n"}, sync.hears())
}

// A response that is not ready when the next message comes gives way: both
// channels tell so (3.1.1). One that was sent and not taken is told of in the
// error queue only.
func TestHiSLIPServerInterrupts(t *testing.T) {
	sync, async := hisSession(t, virtual.HiSLIP{})
	sync.says(his{hisDataEnd, 0, first, "SENS:FREQ:APER 100;:READ?"}, his{hisDataEnd, 0, first + 2, "SYST:ERR?"})
	require.Equal(t, his{kind: hisInterrupted, parameter: first + 2}, sync.hears())
	require.Equal(t, his{kind: hisAsyncInterrupt, parameter: first + 2}, async.hears())
	m := sync.hears()
	require.Equal(t, byte(hisDataEnd), m.kind)
	require.Equal(t, uint32(first+2), m.parameter)
	require.Contains(t, m.payload, "-410,")

	sync.says(his{hisDataEnd, 0, first + 4, "SYST:ERR?"}) // not told that the last one was delivered
	m = sync.hears()
	require.Equal(t, uint32(first+4), m.parameter)
	require.Contains(t, m.payload, "-410,")
	sync.says(his{hisDataEnd, 1, first + 6, "*CLS"}, his{hisDataEnd, 1, first + 8, "SYST:ERR?"}) // told twice: nothing is lost
	require.Equal(t, his{hisDataEnd, 0, first + 8, "0,\"No error\"\n"}, sync.hears())
}

// Message available, by what the client says it knows (3.1.1).
func TestHiSLIPServerTellsOfAResponse(t *testing.T) {
	sync, async := hisSession(t, virtual.HiSLIP{})
	available := func(control byte, id uint32) bool {
		async.says(his{kind: hisStatus, control: control, parameter: id})
		m := async.hears()
		require.Equal(t, byte(hisStatusResponse), m.kind)
		return m.control&scpi.MessageAvailable != 0
	}
	require.False(t, available(0, first-2))
	sync.says(his{hisDataEnd, 0, first, "*IDN?"})
	sync.hears()
	require.True(t, available(0, first))
	require.False(t, available(0, first-2), "the client has sent something that did not come yet")
	require.True(t, available(0, first))
	require.False(t, available(1, first), "delivered")
	require.False(t, available(0, first))
	sync.says(his{hisDataEnd, 0, first + 2, "SYST:ERR?"}) // the delivery was told before
	require.Equal(t, "0,\"No error\"\n", sync.hears().payload)
}

// Service is requested when the summary bit rises (IEEE 488.2, 11.3.3, from
// memory), also when that is long after the message.
func TestHiSLIPServerRequestsService(t *testing.T) {
	sync, async := hisSession(t, virtual.HiSLIP{})
	sync.says(his{hisDataEnd, 0, first, "*CLS;*ESE 1;*SRE 32;*OPC"})
	require.Equal(t, his{kind: hisService, control: 0x60}, async.hears())
	sync.says(his{hisDataEnd, 0, first + 2, "*ESR?"})
	sync.hears()
	sync.says(his{hisDataEnd, 1, first + 4, "SENS:FREQ:APER 0.3;:INIT;*OPC"})
	require.Equal(t, his{kind: hisService, control: 0x60}, async.hears())
	async.says(his{kind: hisStatus, parameter: first + 4})
	require.Equal(t, byte(0x60), async.hears().control)
}

// In overlap mode questions queue up, and the identifiers are the server's own
// (from memory).
func TestHiSLIPServerOverlaps(t *testing.T) {
	sync, async := hisSession(t, virtual.HiSLIP{})
	async.says(his{kind: hisClear})
	require.Equal(t, his{kind: hisAC}, async.hears())
	sync.says(his{hisDataEnd, 0, first, "*IDN?"}, his{kind: hisCleared, control: 1})
	require.Equal(t, his{kind: hisClearAck, control: 1}, sync.hears())
	sync.says(his{hisDataEnd, 0, first, "SENS:FREQ:APER 0.1;:READ?"}, his{hisTrigger, 0, first + 2, ""}, his{hisDataEnd, 0, first + 4, "SYST:ERR?"})
	require.NotContains(t, sync.hears().payload, "error")
	require.Equal(t, his{hisDataEnd, 0, first + 2, "0,\"No error\"\n"}, sync.hears())
	async.says(his{kind: hisStatus, parameter: first})
	require.NotZero(t, async.hears().control&scpi.MessageAvailable, "the second was not delivered")
	async.says(his{kind: hisStatus, parameter: first + 2})
	require.Zero(t, async.hears().control&scpi.MessageAvailable)
}

// A device clear in the middle of a message and of a gate.
func TestHiSLIPServerClears(t *testing.T) {
	sync, async := hisSession(t, virtual.HiSLIP{OneMode: true})
	sync.says(his{hisDataEnd, 0, first, "SENS:FREQ:APER 100;:SENS:FREQ:APER?"})
	want := sync.hears().payload
	sync.says(his{hisDataEnd, 1, first + 2, "READ?"}, his{hisData, 0, first + 4, "*CLS;:SYST:"})
	async.says(his{kind: hisClear})
	require.Equal(t, his{kind: hisAC}, async.hears())
	sync.says(his{hisDataEnd, 0, first + 6, "ERR?"}, his{kind: hisCleared, control: 1})
	require.Equal(t, his{kind: hisClearAck}, sync.hears(), "it does no other mode")
	sync.says(his{hisDataEnd, 0, first, "SENS:FREQ:APER?;:SYST:ERR?"})
	require.Equal(t, his{hisDataEnd, 0, first, strings.TrimSpace(want) + ";0,\"No error\"\n"}, sync.hears())
}

func TestHiSLIPServerNeedsInstrumentsThatThereAre(t *testing.T) {
	s, err := virtual.DefaultScenario()
	require.NoError(t, err)
	b, err := virtual.New(s, virtual.Options{})
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	err = b.ServeHiSLIP(context.Background(), l, virtual.HiSLIP{Instruments: map[string]string{"hislip0": "nobody"}})
	require.ErrorContains(t, err, `no instrument "nobody"`)
	_, err = l.Accept()
	require.ErrorIs(t, err, net.ErrClosed)
}

package link_test

import (
	"context"
	"fmt"
	"net"
	"testing"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/link"
	"bandproof/drivers/virtual"

	"github.com/stretchr/testify/require"
)

// dropper is a dialler whose connections can be cut.
type dropper struct{ conns chan net.Conn }

func (d *dropper) dial(ctx context.Context, network, address string) (net.Conn, error) {
	conn, err := (&net.Dialer{}).DialContext(ctx, network, address)
	if err == nil {
		d.conns <- conn
	}
	return conn, err
}

func (d *dropper) cut(*testing.T) {
	for {
		select {
		case conn := <-d.conns:
			_ = conn.(*net.TCPConn).CloseWrite() // the other end closes then, as if it had been first
		default:
			return
		}
	}
}

// adapterWire serves a scripted instrument behind an adapter, with a neighbour
// that has a link of its own to the same adapter.
func adapterWire(q virtual.AdapterQuirks, address string, place virtual.BusAddress, common bool) func(t *testing.T) drivertest.MessageWire {
	return func(t *testing.T) drivertest.MessageWire {
		i, d := drivertest.NewInstrument(), &dropper{make(chan net.Conn, 1000)}
		via := serveAdapter(t, q, map[virtual.BusAddress]virtual.Conversation{place: i.Talk(), at(30): newBox("NEIGHBOUR")})
		o := link.Opener{Adapters: &link.Adapters{}, Dial: d.dial}
		openVia(t, o, link.Config{Address: "GPIB0::30::INSTR", Via: via})
		return drivertest.MessageWire{Config: link.Config{Address: address, Via: via, Common: common}, Opener: o, Instrument: i, Cut: d.cut}
	}
}

func TestAdapterConforms(t *testing.T) {
	drivertest.MessageConformance(t, adapterWire(virtual.AdapterQuirks{}, "GPIB0::7::INSTR", at(7), false))
}

// With a status byte that tells of replies, others are served meanwhile.
func TestAdapterWithPollingConforms(t *testing.T) {
	drivertest.MessageConformance(t, adapterWire(virtual.AdapterQuirks{LineEnd: "\n", MostTimeout: 400}, "GPIB0::7::3::INSTR", virtual.BusAddress{Primary: 7, Secondary: 3}, true))
}

func TestAdapterOnASerialLineConforms(t *testing.T) {
	drivertest.MessageConformance(t, func(t *testing.T) drivertest.MessageWire {
		name := t.TempDir() + "/adapter"
		p, err := virtual.OpenPTY(name)
		if err != nil {
			t.Skipf("NOT RUN, this system gives no pseudo-terminals: %v", err)
		}
		i := drivertest.NewInstrument()
		bus := virtual.NewBus(map[virtual.BusAddress]virtual.Conversation{at(7): i.Talk()})
		ctx, cancel := context.WithCancel(context.Background())
		served := make(chan error, 1)
		go func() { served <- virtual.NewAdapter(bus, virtual.AdapterQuirks{}).ServePort(ctx, p) }()
		t.Cleanup(func() {
			cancel()
			<-served // ends with the error of the port that was closed
			bus.Close()
		})
		return drivertest.MessageWire{Config: link.Config{Address: "GPIB0::7::INSTR", Via: "ASRL" + name + "::INSTR"}, Instrument: i}
	})
}

// One query is a mark, the message, and the read: two round trips on the
// adapter's line.
func BenchmarkAdapterQuery(b *testing.B) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	bus := virtual.NewBus(map[virtual.BusAddress]virtual.Conversation{at(7): newBox("A")})
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- virtual.NewAdapter(bus, virtual.AdapterQuirks{}).ServeListener(ctx, l) }()
	defer func() { cancel(); require.NoError(b, <-served) }()
	via := fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", l.Addr().(*net.TCPAddr).Port)
	i, err := link.Opener{}.Open(ctx, link.Config{Address: "GPIB0::7::INSTR", Via: via})
	require.NoError(b, err)
	defer func() { require.NoError(b, i.Close()) }()
	for b.Loop() {
		_, err := i.Query(ctx, []byte("Q?"))
		require.NoError(b, err)
	}
}

package link_test

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"testing"
	"time"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/link"
	"bandproof/drivers/virtual"
)

// bareHiSLIP is a client of a few lines: synchronised mode, a deadline on each
// round trip, and nothing that can go wrong is treated.
type bareHiSLIP struct {
	conn net.Conn
	in   *bufio.Reader
	id   uint32
	rmt  byte
}

func (c *bareHiSLIP) send(conn net.Conn, t, control byte, parameter uint32, payload string) error {
	p := append([]byte{'H', 'S', t, control}, binary.BigEndian.AppendUint32(nil, parameter)...)
	p = append(binary.BigEndian.AppendUint64(p, uint64(len(payload))), payload...)
	_, err := conn.Write(p)
	return err
}

func (c *bareHiSLIP) next(in io.Reader) (t byte, parameter uint32, payload []byte, err error) {
	var head [16]byte
	if _, err := io.ReadFull(in, head[:]); err != nil {
		return 0, 0, nil, err
	}
	payload = make([]byte, binary.BigEndian.Uint64(head[8:]))
	_, err = io.ReadFull(in, payload)
	return head[2], binary.BigEndian.Uint32(head[4:]), payload, err
}

// query is one round trip.
func (c *bareHiSLIP) query(question string) ([]byte, error) {
	if err := c.conn.SetDeadline(time.Now().Add(5 * time.Second)); err != nil {
		return nil, err
	}
	if err := c.send(c.conn, 7, c.rmt, c.id, question); err != nil {
		return nil, err
	}
	t, id, answer, err := c.next(c.in)
	if err == nil && (t != 7 || id != c.id) {
		err = fmt.Errorf("type %d for %x", t, id)
	}
	c.id, c.rmt = c.id+2, 1
	return answer, err
}

// openBare opens a session by hand and gives its asynchronous channel too.
func openBare(t testing.TB, address, subAddress string) (*bareHiSLIP, net.Conn) {
	t.Helper()
	c := &bareHiSLIP{id: 0xffffff00}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	var err error
	c.conn, err = net.Dial("tcp", address)
	must(err)
	c.in = bufio.NewReader(c.conn)
	must(c.send(c.conn, 0, 0, 0x0100<<16, subAddress))
	_, session, _, err := c.next(c.in)
	must(err)
	async, err := net.Dial("tcp", address)
	must(err)
	must(c.send(async, 17, 0, session&0xffff, ""))
	_, _, _, err = c.next(async)
	must(err)
	t.Cleanup(func() { _ = c.conn.Close(); _ = async.Close() })
	return c, async
}

func BenchmarkHiSLIPAgainstBare(b *testing.B) {
	_, address := hislipBench(b, virtual.Options{}, virtual.HiSLIP{}, 2)
	k := openHiSLIP(b, link.Config{Address: address(0)})
	r, err := link.ParseResource(address(0))
	if err != nil {
		b.Fatal(err)
	}
	c, _ := openBare(b, fmt.Sprintf("%s:%d", r.Host, r.Port), r.LANDevice)
	ours := func() error {
		_, err := k.Query(context.Background(), []byte("*IDN?")) // the link's own time counts
		return err
	}
	bare := func() error {
		_, err := c.query("*IDN?\n")
		return err
	}
	drivertest.Ratio(b, ours, bare)
}

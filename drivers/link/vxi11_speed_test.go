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
	"bandproof/drivers/virtual/vxiserver"
)

// bareVXI11 is a client of a few lines: a deadline on each call, and nothing
// that can go wrong is treated.
type bareVXI11 struct {
	conn net.Conn
	in   *bufio.Reader
	xid  uint32
	link uint32
	call []byte
}

// rpc makes a call whose arguments are numbers and then some text, and gives
// the results behind the error code.
func (c *bareVXI11) rpc(procedure uint32, text string, args ...uint32) ([]byte, error) {
	if err := c.conn.SetDeadline(time.Now().Add(5 * time.Second)); err != nil {
		return nil, err
	}
	c.xid++
	b := append(c.call[:0], 0, 0, 0, 0)
	for _, n := range []uint32{c.xid, 0, 2, 0x0607AF, 1, procedure, 0, 0, 0, 0} {
		b = binary.BigEndian.AppendUint32(b, n)
	}
	for _, n := range args {
		b = binary.BigEndian.AppendUint32(b, n)
	}
	if text != "" {
		b = append(binary.BigEndian.AppendUint32(b, uint32(len(text))), text...)
		b = append(b, "\x00\x00\x00"[:-len(text)&3]...)
	}
	binary.BigEndian.PutUint32(b, 1<<31|uint32(len(b)-4))
	c.call = b
	if _, err := c.conn.Write(b); err != nil {
		return nil, err
	}
	var head [4]byte
	if _, err := io.ReadFull(c.in, head[:]); err != nil {
		return nil, err
	}
	reply := make([]byte, binary.BigEndian.Uint32(head[:])&^(1<<31))
	if _, err := io.ReadFull(c.in, reply); err != nil {
		return nil, err
	}
	if len(reply) < 28 || binary.BigEndian.Uint32(reply) != c.xid || binary.BigEndian.Uint32(reply[24:]) != 0 {
		return nil, fmt.Errorf("reply %x", reply)
	}
	return reply[28:], nil
}

// query is one round trip, of two calls.
func (c *bareVXI11) query(question string) ([]byte, error) {
	if _, err := c.rpc(11, question, c.link, 5000, 0, 8); err != nil {
		return nil, err
	}
	r, err := c.rpc(12, "", c.link, 4096, 5000, 0, 0, 0)
	if err != nil {
		return nil, err
	}
	return r[8 : 8+binary.BigEndian.Uint32(r[4:])], nil
}

// BenchmarkVXI11 compares the link with the bare client on the same virtual
// instrument: the counter of the built-in bench.
func BenchmarkVXI11(b *testing.B) {
	s, err := virtual.DefaultScenario()
	if err != nil {
		b.Fatal(err)
	}
	bench, err := virtual.New(s, virtual.Options{Clock: virtual.NewInstantClock()})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = bench.Close() })
	l, _ := listen(b)
	port := vxiHost(b, l, vxiserver.Options{}, map[string]func() (virtual.Conversation, error){
		"inst0": func() (virtual.Conversation, error) { return bench.Talk("counter") }})
	k, err := link.Opener{}.Open(context.Background(), link.Config{Address: fmt.Sprintf("TCPIP0::127.0.0.1,%d::inst0::INSTR", port)})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = k.Close() })
	conn, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = conn.Close() })
	bare := &bareVXI11{conn: conn, in: bufio.NewReader(conn)}
	created, err := bare.rpc(10, "inst0", 1, 0, 0)
	if err != nil {
		b.Fatal(err)
	}
	bare.link = binary.BigEndian.Uint32(created)
	const question = "*IDN?"
	drivertest.Ratio(b,
		func() error { _, err := k.Query(context.Background(), []byte(question)); return err },
		func() error { _, err := bare.query(question + "\n"); return err })
}

package link_test

import (
	"bufio"
	"context"
	"io"
	"net"
	"testing"
	"time"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/link"
	"bandproof/drivers/virtual"
)

// benchOn serves the counter of the virtual bench to two clients at a time.
func benchOn(b *testing.B) (*virtual.Bench, net.Listener) {
	b.Helper()
	s, err := virtual.DefaultScenario()
	if err != nil {
		b.Fatal(err)
	}
	s.Counter.Link.Clients = 2
	bench, err := virtual.New(s, virtual.Options{})
	if err != nil {
		b.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- bench.ServeListener(ctx, "counter", l) }()
	b.Cleanup(func() {
		cancel()
		if err := <-served; err != nil {
			b.Error(err)
		}
		bench.Close()
	})
	return bench, l
}

// BenchmarkSocketAgainstBare compares with a client of a few lines: write with
// a deadline, read a line with a deadline.
func BenchmarkSocketAgainstBare(b *testing.B) {
	_, l := benchOn(b)
	host, port, _ := net.SplitHostPort(l.Addr().String())
	k, err := link.Opener{}.Open(context.Background(), link.Config{Address: "TCPIP0::" + host + "::" + port + "::SOCKET"})
	if err != nil {
		b.Fatal(err)
	}
	defer k.Close()
	conn, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close()
	in := bufio.NewReader(conn)
	ours := func() error {
		_, err := k.Query(context.Background(), []byte("*IDN?")) // the link's own time counts
		return err
	}
	bare := func() error {
		if err := conn.SetDeadline(time.Now().Add(5 * time.Second)); err != nil {
			return err
		}
		if _, err := io.WriteString(conn, "*IDN?\n"); err != nil {
			return err
		}
		_, err := in.ReadBytes('\n')
		return err
	}
	drivertest.Ratio(b, ours, bare)
}

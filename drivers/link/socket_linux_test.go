package link_test

import (
	"context"
	"errors"
	"io"
	"net"
	"testing"
	"time"

	"bandproof/drivers/link"

	"golang.org/x/sys/unix"
)

// A half-open connection: the instrument was switched off and on, so that its
// end of the connection is gone and it never said so. TCP_REPAIR closes a
// socket without a word to the other end.
func TestSocketNoticesAHalfOpenConnection(t *testing.T) {
	l, address := listen(t)
	serve := make(chan net.Conn, 2)
	go func() {
		for range 2 {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			serve <- conn
			go func() {
				defer conn.Close()
				for p := make([]byte, 100); ; {
					if _, err := conn.Read(p); err != nil {
						return
					}
					io.WriteString(conn, "1\n")
				}
			}()
		}
	}()
	k := open(t, link.Config{Address: address})
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if got, err := k.Query(ctx, []byte("A?")); err != nil || string(got) != "1" {
		t.Fatalf("before: %q, %v", got, err)
	}
	raw, err := (<-serve).(*net.TCPConn).SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	var refused error
	if err := raw.Control(func(fd uintptr) {
		refused = unix.SetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_REPAIR, 1)
		if refused == nil {
			// The socket that takes its number is closed in its stead.
			var spare int
			if spare, refused = unix.Socket(unix.AF_INET, unix.SOCK_STREAM|unix.SOCK_NONBLOCK, 0); refused == nil {
				refused = unix.Dup3(spare, int(fd), unix.O_CLOEXEC)
				unix.Close(spare)
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	if errors.Is(refused, unix.EPERM) {
		t.Skip("NOT RUN: only root may close a connection without telling the other end")
	} else if refused != nil {
		t.Fatal(refused)
	}
	_, err = k.Query(ctx, []byte("A?"))
	if !errors.Is(err, link.ErrDisconnected) || !errors.Is(err, unix.ECONNRESET) {
		t.Fatalf("over a half-open connection: %v; want that it is disconnected", err)
	}
	if err := k.Clear(ctx); err != nil {
		t.Fatal(err)
	}
	if got, err := k.Query(ctx, []byte("A?")); err != nil || string(got) != "1" {
		t.Errorf("on the new connection: %q, %v", got, err)
	}
}

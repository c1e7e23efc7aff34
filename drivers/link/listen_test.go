package link_test

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/link"

	"github.com/stretchr/testify/require"
)

// talker connects a link to an instrument that sends what the test writes.
func talker(t *testing.T, c link.Config) (link.Link, net.Conn) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	c.Address = fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", l.Addr().(*net.TCPAddr).Port)
	k, err := link.Opener{}.Open(t.Context(), c)
	require.NoError(t, err)
	t.Cleanup(func() { _ = k.Close() })
	far, err := l.Accept()
	require.NoError(t, err)
	t.Cleanup(func() { _ = far.Close() })
	return k, far
}

// Listen takes a message only if it began after the call: nothing that was
// there, and not the rest of a message that was under way.
func TestListenTakesWhatBeginsAfterwards(t *testing.T) {
	for _, row := range []struct{ name, terminator, before, after, want string }{
		{"nothing was there", "LF", "", "one\ntwo\n", "one"},
		{"whole messages were there", "LF", "old\nolder\r\n", "one\ntwo\n", "one"},
		{"part of a message was there", "LF", "old\nhal", "f\none\n", "one"},
		{"the line end of another kind was there", "CR", "old\r\n", "one\r\n", "one"},
		{"a CR was there whose LF is to come", "LF", "old\r", "\none\r\ntwo\r\n", "one"},
		{"half a line end was there", "CRLF", "old\r\nhal", "f\r\none\r\n", "one"},
	} {
		t.Run(row.name, func(t *testing.T) {
			k, far := talker(t, link.Config{ReadTerminator: row.terminator})
			_, err := far.Write([]byte("first" + map[string]string{"LF": "\n", "CR": "\r", "CRLF": "\r\n"}[row.terminator]))
			require.NoError(t, err)
			first, err := k.Read(t.Context())
			require.NoError(t, err)
			require.Equal(t, "first", string(first))
			_, err = far.Write([]byte(row.before))
			require.NoError(t, err)
			time.Sleep(100 * time.Millisecond) // until it has come: nothing shows that
			type result struct {
				message []byte
				err     error
			}
			over := make(chan result, 1)
			go func() {
				message, err := link.Listen(t.Context(), k)
				over <- result{message, err}
			}()
			time.Sleep(100 * time.Millisecond) // until it listens: nothing shows that
			_, err = far.Write([]byte(row.after))
			require.NoError(t, err)
			got := <-over
			require.NoError(t, got.err)
			require.Equal(t, row.want, string(got.message))
		})
	}
}

func TestListenEndsWithItsContext(t *testing.T) {
	k, far := talker(t, link.Config{})
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	_, err := link.Listen(ctx, k)
	require.ErrorIs(t, err, link.ErrTimeout)
	_, err = far.Write([]byte("on\nand on\n"))
	require.NoError(t, err)
	_, err = k.Read(t.Context())
	require.NoError(t, err, "silence leaves the link as it was")
	require.NoError(t, far.Close())
	_, err = link.Listen(t.Context(), k)
	for err == nil {
		_, err = link.Listen(t.Context(), k)
	}
	require.ErrorIs(t, err, link.ErrDisconnected)
}

// Any other link gives the second message: the first may have waited.
func TestListenOnALinkThatCannotTell(t *testing.T) {
	k, far := talker(t, link.Config{})
	_, err := far.Write([]byte("one\ntwo\nthree\n"))
	require.NoError(t, err)
	got, err := link.Listen(t.Context(), struct{ link.Link }{k})
	require.NoError(t, err)
	require.Equal(t, "two", string(got))
}

// What waited unasked is thrown away whole, however much it is: else a question
// would be answered by what had come long before.
func TestQueryThrowsAwayAllThatWaited(t *testing.T) {
	k, far := talker(t, link.Config{})
	stale := strings.Repeat("1.0E+07\n", 20_000) // 160 kB
	_, err := far.Write([]byte(stale))
	require.NoError(t, err)
	time.Sleep(200 * time.Millisecond) // until it has come: nothing shows that
	go func() {
		question := make([]byte, 100)
		if _, err := far.Read(question); err == nil {
			_, _ = far.Write([]byte("fresh\n"))
		}
	}()
	answer, err := k.Query(t.Context(), []byte("READ?"))
	require.NoError(t, err)
	require.Equal(t, "fresh", string(answer))
}

// An instrument that talks without end takes neither the program's memory nor
// its time.
func TestEndlessTalkEndsListenAndQuery(t *testing.T) {
	for name, act := range map[string]func(link.Link) error{
		"listen": func(k link.Link) error { _, err := link.Listen(t.Context(), k); return err },
		"query":  func(k link.Link) error { _, err := k.Query(t.Context(), []byte("A?")); return err },
	} {
		t.Run(name, func(t *testing.T) {
			k, far := talker(t, link.Config{MaxMessage: 1000})
			_, err := far.Write(bytes.Repeat([]byte("x"), 300<<10))
			require.NoError(t, err)
			time.Sleep(200 * time.Millisecond) // until it has come: nothing shows that
			require.ErrorIs(t, act(k), link.ErrProtocol)
			_, err = k.Read(t.Context())
			require.ErrorIs(t, err, link.ErrDirty)
		})
	}
}

package link

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"testing"
	"time"
)

func FuzzMark(f *testing.F) {
	f.Add([]byte("1.5\n\x04adapter 1.0\r\n501\r\nrest"), "adapter 1.0", "501", false)
	f.Add([]byte("adapter 1.0\n"), "adapter 1.0", "", true)
	f.Add([]byte("aaa\n1\n"), "a", "1", false)
	f.Fuzz(func(t *testing.T, in []byte, version, number string, plain bool) {
		before, after, ok := cutMark(in, version, number, plain)
		if !ok {
			return
		}
		mark := in[len(before) : len(in)-len(after)]
		if !bytes.HasPrefix(in, before) || !bytes.HasSuffix(in, after) || !bytes.HasPrefix(mark, []byte(version)) ||
			!bytes.HasSuffix(mark, []byte("\n")) || !plain && !bytes.Contains(mark, []byte(number)) {
			t.Errorf("%q with %q, %q is cut into %q, %q, %q", in, version, number, before, mark, after)
		}
		if _, _, again := cutMark(before, version, number, plain); again {
			t.Errorf("%q holds a mark before the first one", in)
		}
		holdsMark(in, version)
	})
}

// Whatever an adapter says, opening and asking end in time, and only with an
// answer that had the end of one.
func FuzzWhatAnAdapterSays(f *testing.F) {
	f.Add([]byte("adapter 1.0\r\n501\r\nadapter 1.0\r\n502\r\n"))
	f.Add([]byte("\n\n\r\n\x04"))
	f.Fuzz(func(t *testing.T, said []byte) {
		near, far := net.Pipe()
		done := make(chan struct{})
		go func() {
			defer close(done)
			go func() { _, _ = io.Copy(io.Discard, far) }() // ends with far
			_, _ = far.Write(said)
		}()
		o := Opener{Dial: func(context.Context, string, string) (net.Conn, error) { return near, nil }}
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
		defer cancel()
		l, err := o.Open(ctx, Config{Address: "GPIB0::7::INSTR", Via: "TCPIP0::adapter::1234::SOCKET"})
		if err == nil {
			_ = l.Close()
		}
		var known *Error
		if err != nil && !errors.As(err, &known) {
			t.Errorf("error without a kind: %v", err)
		}
		_ = far.Close()
		_ = near.Close()
		<-done
	})
}

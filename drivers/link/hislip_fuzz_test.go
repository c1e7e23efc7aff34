package link_test

import (
	"bytes"
	"context"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"bandproof/drivers/link"
	"bandproof/drivers/link/hislip"
)

// FuzzHiSLIPSession lets an instrument say anything on either channel once the
// session is open. Whatever that is: no panic, every operation ends soon after
// its time, and an answer is one that carries the question's identifier.
func FuzzHiSLIPSession(f *testing.F) {
	answer := hislip.Message{Type: hislip.DataEnd, Parameter: hislip.FirstID, Payload: []byte("1.5\n")}.Append(nil)
	f.Add(answer, []byte(nil))
	f.Add(hislip.Message{Type: hislip.Data, Parameter: hislip.AnyID, Payload: []byte("1.")}.Append(nil), hislip.Message{Type: hislip.AsyncInterrupted}.Append(nil))
	f.Add(append(hislip.Message{Type: hislip.Interrupted}.Append(nil), answer...), hislip.Message{Type: hislip.AsyncInterrupted}.Append(nil))
	f.Add(hislip.Message{Type: hislip.DeviceClearAcknowledge, Control: 1}.Append(nil), hislip.Message{Type: hislip.AsyncDeviceClearAcknowledge, Control: 1}.Append(nil))
	f.Add([]byte("HTTP/1.1 400 Bad Request\r\n\r\n"), hislip.Message{Type: hislip.AsyncStatusResponse, Control: 0x50}.Append(nil))
	f.Add(hislip.Message{Type: hislip.FatalError, Control: 9}.Append(nil), hislip.Message{Type: hislip.Error, Control: 200}.Append(nil))
	f.Fuzz(func(t *testing.T, onSync, onAsync []byte) {
		const limit = 15 * time.Millisecond
		far := &babbler{says: [2][]byte{onSync, onAsync}}
		l, err := link.Opener{Dial: far.dial}.Open(context.Background(), link.Config{Address: "TCPIP0::192.0.2.7::hislip0::INSTR", Timeout: 20 * time.Second})
		if err != nil {
			t.Fatal(err) // the first bytes are good
		}
		within := func(do func(ctx context.Context)) {
			ctx, cancel := context.WithTimeout(context.Background(), limit)
			defer cancel()
			begin := time.Now()
			do(ctx)
			if took := time.Since(begin); took > 20*time.Second {
				t.Errorf("took %s", took)
			}
		}
		within(func(ctx context.Context) {
			got, err := l.Query(ctx, []byte("A?"))
			end := hislip.Header{Type: hislip.DataEnd, Parameter: hislip.FirstID}.Append(nil)[4:8]
			if err == nil && !bytes.Contains(onSync, end) {
				t.Errorf("answer %q is not to this question", got)
			}
		})
		within(func(ctx context.Context) { _, _ = l.StatusByte(ctx) })
		within(func(ctx context.Context) { _ = l.Clear(ctx) })
		if err := l.Close(); err != nil {
			t.Error(err)
		}
		far.serving.Wait()
	})
}

// babbler opens sessions as it should, and then says what it has to say.
type babbler struct {
	says    [2][]byte // on the synchronous and the asynchronous channel
	serving sync.WaitGroup
}

func (b *babbler) dial(context.Context, string, string) (net.Conn, error) {
	near, far := net.Pipe()
	b.serving.Go(func() {
		defer func() { _ = far.Close() }()
		in := hislip.NewReader(far, 1<<20)
		m, err := in.Next()
		if err != nil {
			return
		}
		says := b.says[0]
		if m.Type == hislip.Initialize {
			say(far, hislip.Message{Type: hislip.InitializeResponse, Parameter: hislip.InitializeParameter(hislip.Version1, 1)})
			_, err = in.Next() // the question
		} else {
			says = b.says[1]
			say(far, hislip.Message{Type: hislip.AsyncInitializeResponse})
			if _, err = in.Next(); err == nil {
				say(far, hislip.Message{Type: hislip.AsyncMaximumMessageSizeResponse, Payload: hislip.Size(100)})
			}
		}
		if err != nil {
			return
		}
		b.serving.Go(func() { _, _ = far.Write(says) })
		_, _ = io.Copy(io.Discard, far)
	})
	return near, nil
}

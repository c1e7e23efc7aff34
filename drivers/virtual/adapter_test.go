package virtual_test

import (
	"context"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/virtual"

	"github.com/stretchr/testify/require"
)

// adapterWith serves an adapter with the default bench's counter at 7 and a
// source at 12:3, and gives the client's end.
func adapterWith(t testing.TB, q virtual.AdapterQuirks) (client net.Conn) {
	t.Helper()
	s, err := virtual.DefaultScenario()
	require.NoError(t, err)
	b, err := virtual.New(s, virtual.Options{Clock: virtual.NewInstantClock(), Follow: true})
	require.NoError(t, err)
	bus, err := b.Bus(map[virtual.BusAddress]string{{Primary: 7, Secondary: -1}: "counter", {Primary: 12, Secondary: 3}: "LF"})
	require.NoError(t, err)
	near, far := net.Pipe()
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- virtual.NewAdapter(bus, q).ServePort(ctx, far) }()
	t.Cleanup(func() {
		cancel()
		<-served // the error of the line that was closed
		_ = near.Close()
		bus.Close()
		require.NoError(t, b.Close())
	})
	return near
}

// says sends lines and checks what comes back, byte for byte.
func says(t *testing.T, c net.Conn, lines, want string) {
	t.Helper()
	require.NoError(t, c.SetDeadline(time.Now().Add(20*time.Second)))
	_, err := io.WriteString(c, lines)
	require.NoError(t, err)
	got := make([]byte, len(want))
	n, err := io.ReadFull(c, got)
	require.NoError(t, err, "after %q came %q; want %q", lines, got[:n], want)
	require.Equal(t, want, string(got))
}

func TestAdapterByteForByte(t *testing.T) {
	c := adapterWith(t, virtual.AdapterQuirks{})
	says(t, c, "++addr 7\n++addr\n", "7\r\n")
	says(t, c, "*IDN?\n++read eoi\n", "Invented Instruments,Demo Counter Three,DC3-0042,1.4\n")
	says(t, c, "++eot_enable 1\r\n++eot_char 4\r\n++eos 3\r\nSYST:ERR?\r\n++read eoi\r\n", "0,\"No error\"\n\x04")
	says(t, c, "++addr 12 99\n++addr\n", "12 99\r\n")
	says(t, c, "FREQ 1\x1b+2E6\n++nonsense\n", "Unrecognized command\r\n") // 1 with a suffix that is none
	says(t, c, "++spoll\n", "4\r\n")                                       // an entry in the error queue
	says(t, c, "SYST:ERR?\n++read 44\n++clr\n++ver\n", "-131,virtual GPIB adapter (invented), version 1.0\r\n")
	says(t, c, "++read_tmo_ms 33000\n++read_tmo_ms 20\n++read_tmo_ms\n++read eoi\n++auto\n", "20\r\n0\r\n") // nothing to read: silence
	says(t, c, "++auto 1\n*OPC?\n", "1\n\x04")
	says(t, c, "++auto 0\n++eoi 0\n*OPC\x1b\n\n++eoi\n++eoi 1\n*OPC?\n++read eoi\n", "0\r\n1\n\x04")
	says(t, c, "++addr 5\n*IDN?\n++read eoi\n++spoll\n++trg\n++ver\n", "virtual GPIB adapter (invented), version 1.0\r\n") // nobody there
	says(t, c, "++rst\n++addr\n", "0\r\n")
}

func TestBusRefusesAddressesThatCannotBe(t *testing.T) {
	s, err := virtual.DefaultScenario()
	require.NoError(t, err)
	b, err := virtual.New(s, virtual.Options{Clock: virtual.NewInstantClock()})
	require.NoError(t, err)
	defer func() { require.NoError(t, b.Close()) }()
	_, err = b.Bus(map[virtual.BusAddress]string{{Primary: 31, Secondary: -1}: "counter"})
	require.ErrorContains(t, err, "expected 0 to 30")
	_, err = b.Bus(map[virtual.BusAddress]string{{Primary: 3, Secondary: -1}: "nobody"})
	require.ErrorContains(t, err, "nobody")
}

// An adapter takes any bytes, and answers for itself afterwards.
func FuzzAdapter(f *testing.F) {
	for _, text := range []string{"++addr 7\n*IDN?\n++read eoi\n", "++auto 1\n++read 10\n++spoll\n", "\x1b", "++\n++addr\n++eot_char 999\n", "++addr 12 99\n++clr\n++trg\n++llo\n++loc\n++ifc\n++rst\n"} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, sent []byte) {
		c := adapterWith(t, virtual.AdapterQuirks{MostTimeout: 1})
		require.NoError(t, c.SetDeadline(time.Now().Add(30*time.Second)))
		heard := make(chan string, 1)
		go func() {
			var all strings.Builder
			chunk := make([]byte, 4096)
			for !strings.Contains(all.String(), "version 1.0") {
				n, err := c.Read(chunk)
				all.Write(chunk[:n])
				if err != nil {
					break
				}
			}
			heard <- all.String()
		}()
		_, err := c.Write(append([]byte("++read_tmo_ms 1\n"), sent...))
		if err == nil {
			_, err = io.WriteString(c, "\n\n++ver\n") // a second end, where the first was escaped
		}
		require.Contains(t, <-heard, "version 1.0", "%v", err)
	})
}

package link_test

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bandproof/drivers/link"
)

// The bytes of each transaction of IVI-6.1 as client and server have to send
// them. Numbers of tables and sections are those of revision 2.0; what they say
// is as the design specification of the public module gotmc/hislip retells it,
// and for overlap mode, remote and local from memory. C is
// the client, S the server; s the synchronous channel, a the asynchronous one.
// A header is written as its fields: type, control code, parameter, length.
const (
	hisOpen = `
		Cs 4853 00 00 01005a5a 0000000000000007 'hislip0'
		Ss 4853 01 00 01000007 0000000000000000
		Ca 4853 11 00 00000007 0000000000000000
		Sa 4853 12 00 00005858 0000000000000000
		Ca 4853 0f 00 00000000 0000000000000008 0000000000100000
		Sa 4853 10 00 00000000 0000000000000008 0000000000000018`
	hisClear = `
		Ca 4853 13 00 00000000 0000000000000000
		Sa 4853 17 00 00000000 0000000000000000
		Cs 4853 08 00 00000000 0000000000000000
		Ss 4853 09 00 00000000 0000000000000000`
	hisClearOverlap = `
		Ca 4853 13 00 00000000 0000000000000000
		Sa 4853 17 01 00000000 0000000000000000
		Cs 4853 08 01 00000000 0000000000000000
		Ss 4853 09 01 00000000 0000000000000000`
)

// hisTest is one row: what is done with the link, and what is then on the wire.
type hisTest struct {
	name     string
	config   link.Config
	exchange string
	do       func(t *testing.T, ctx context.Context, l link.Link)
}

func answers(question, want string) func(*testing.T, context.Context, link.Link) {
	return func(t *testing.T, ctx context.Context, l link.Link) {
		got, err := l.Query(ctx, []byte(question))
		require.NoError(t, err)
		require.Equal(t, want, string(got))
	}
}

func inTurn(list ...func(*testing.T, context.Context, link.Link)) func(*testing.T, context.Context, link.Link) {
	return func(t *testing.T, ctx context.Context, l link.Link) {
		for _, do := range list {
			do(t, ctx, l)
		}
	}
}

func works(do func(l link.Link, ctx context.Context) error) func(*testing.T, context.Context, link.Link) {
	return func(t *testing.T, ctx context.Context, l link.Link) { require.NoError(t, do(l, ctx)) }
}

func fails(kind error, says string, do func(l link.Link, ctx context.Context) error) func(*testing.T, context.Context, link.Link) {
	return func(t *testing.T, ctx context.Context, l link.Link) {
		err := do(l, ctx)
		require.ErrorIs(t, err, kind)
		require.ErrorContains(t, err, says)
	}
}

func query(question string) func(l link.Link, ctx context.Context) error {
	return func(l link.Link, ctx context.Context) error {
		_, err := l.Query(ctx, []byte(question))
		return err
	}
}

var hisTests = []hisTest{
	{name: "query, and the next one tells that the response was delivered (3.1.1)", exchange: hisOpen + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 07 00 ffffff00 0000000000000004 '1.5' 0a
		Cs 4853 07 01 ffffff02 0000000000000003 'B?' 0a
		Ss 4853 07 00 ffffff02 0000000000000003 '22' 0a`,
		do: inTurn(answers("A?", "1.5"), answers("B?", "22"))},
	{name: "the server takes 24 bytes a message: 8 of payload (table 28)", exchange: hisOpen + `
		Cs 4853 06 00 ffffff00 0000000000000008 'ABCDEFGH'
		Cs 4853 06 00 ffffff02 0000000000000008 'IJKLMNOP'
		Cs 4853 07 00 ffffff04 0000000000000003 'Q?' 0a
		Ss 4853 06 00 ffffffff 0000000000000003 '1.2'
		Ss 4853 06 00 ffffff04 0000000000000002 '34'
		Ss 4853 07 00 ffffff04 0000000000000002 '5' 0a`,
		do: answers("ABCDEFGHIJKLMNOPQ?", "1.2345")},
	{name: "an answer to an earlier question is dropped, also in parts (3.1.1)", exchange: hisOpen + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Cs 4853 07 00 ffffff02 0000000000000003 'B?' 0a
		Ss 4853 06 00 ffffffff 0000000000000003 '111'
		Ss 4853 07 00 ffffff00 0000000000000002 '1' 0a
		Ss 4853 07 00 ffffff02 0000000000000002 '2' 0a`,
		do: inTurn(works(func(l link.Link, ctx context.Context) error { return l.Write(ctx, []byte("A?")) }), answers("B?", "2"))},
	{name: "interrupted: synchronous channel first (3.1.1)", exchange: hisOpen + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Cs 4853 07 00 ffffff02 0000000000000003 'B?' 0a
		Ss 4853 06 00 ffffffff 0000000000000003 '111'
		Ss 4853 0d 00 ffffff02 0000000000000000
		Ss 4853 07 00 ffffff02 0000000000000002 '2' 0a
		Sa 4853 0e 00 ffffff02 0000000000000000
		Cs 4853 07 01 ffffff04 0000000000000003 'C?' 0a
		Ss 4853 07 00 ffffff04 0000000000000002 '3' 0a`,
		do: inTurn(works(func(l link.Link, ctx context.Context) error { return l.Write(ctx, []byte("A?")) }), answers("B?", "2"), answers("C?", "3"))},
	{name: "status query: last identifier, and before any message", exchange: hisOpen + `
		Ca 4853 15 00 fffffefe 0000000000000000
		Sa 4853 16 00 00000000 0000000000000000
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 07 00 ffffff00 0000000000000002 '1' 0a
		Ca 4853 15 01 ffffff00 0000000000000000
		Sa 4853 16 50 00000000 0000000000000000
		Ca 4853 15 00 ffffff00 0000000000000000
		Sa 4853 16 41 00000000 0000000000000000`,
		do: inTurn(status(0), answers("A?", "1"), status(0x50), status(0x41))},
	{name: "a request for service comes at any time", exchange: hisOpen + `
		Sa 4853 14 40 00000000 0000000000000000
		Ca 4853 15 00 fffffefe 0000000000000000
		Sa 4853 14 40 00000000 0000000000000000
		Sa 4853 16 42 00000000 0000000000000000`,
		do: status(0x42)},
	{name: "trigger counts as a message", exchange: hisOpen + `
		Cs 4853 0c 00 ffffff00 0000000000000000
		Cs 4853 07 00 ffffff02 0000000000000003 'A?' 0a
		Ss 4853 07 00 ffffff02 0000000000000002 '1' 0a`,
		do: inTurn(works(link.Link.Trigger), answers("A?", "1"))},
	{name: "remote with lock-out, and local", exchange: hisOpen + `
		Ca 4853 0a 05 fffffefe 0000000000000000
		Sa 4853 0b 00 00000000 0000000000000000
		Ca 4853 0a 02 fffffefe 0000000000000000
		Sa 4853 0b 00 00000000 0000000000000000`,
		do: inTurn(works(link.Link.Remote), works(link.Link.Local))},
	{name: "device clear: identifiers begin anew, what was under way is dropped (6.12)", exchange: hisOpen + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ca 4853 13 00 00000000 0000000000000000
		Ss 4853 07 00 ffffff00 0000000000000002 '1' 0a
		Sa 4853 17 00 00000000 0000000000000000
		Ss 4853 0d 00 ffffff00 0000000000000000
		Cs 4853 08 00 00000000 0000000000000000
		Ss 4853 09 00 00000000 0000000000000000
		Cs 4853 07 00 ffffff00 0000000000000003 'B?' 0a
		Ss 4853 07 00 ffffff00 0000000000000002 '2' 0a`,
		do: inTurn(works(func(l link.Link, ctx context.Context) error { return l.Write(ctx, []byte("A?")) }), works(link.Link.Clear), answers("B?", "2"))},
	{name: "overlap mode is asked for by a device clear (6.12, table 31)", config: link.Config{Overlap: true}, exchange: hisOpen + hisClearOverlap + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 07 00 ffffff00 0000000000000002 '1' 0a
		Ca 4853 15 01 ffffff00 0000000000000000
		Sa 4853 16 00 00000000 0000000000000000
		Cs 4853 07 00 ffffff02 0000000000000003 'B?' 0a
		Ss 4853 07 00 ffffff00 0000000000000002 '1' 0a
		Ss 4853 07 00 ffffff02 0000000000000002 '2' 0a`,
		do: inTurn(answers("A?", "1"), status(0), answers("B?", "2"))},
	{name: "overlap mode: what came without being asked is no answer", config: link.Config{Overlap: true}, exchange: hisOpen + hisClearOverlap + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 07 00 00000001 0000000000000004 '1.5' 0a
		Ca 4853 15 01 00000001 0000000000000000
		Sa 4853 16 00 00000000 0000000000000000
		Ss 4853 07 00 00000003 0000000000000004 '9.9' 0a
		Cs 4853 07 00 ffffff02 0000000000000003 'B?' 0a
		Ss 4853 07 00 00000005 0000000000000003 '22' 0a`,
		do: inTurn(answers("A?", "1.5"), status(0), func(*testing.T, context.Context, link.Link) { time.Sleep(100 * time.Millisecond) }, // until it has come: nothing shows that
			answers("B?", "22"))},
	{name: "the server keeps to synchronised mode", config: link.Config{Overlap: true}, exchange: hisOpen +
		strings.Replace(hisClearOverlap, "4853 09 01", "4853 09 00", 1) + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 07 00 fffffefe 0000000000000002 '0' 0a
		Ss 4853 07 00 ffffff00 0000000000000002 '1' 0a`,
		do: answers("A?", "1")},
	{name: "the server prefers overlap mode and gives it up", exchange: strings.Replace(hisOpen, "4853 01 00", "4853 01 01", 1) + hisClear + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 07 00 ffffff00 0000000000000002 '1' 0a`,
		do: answers("A?", "1")},
	{name: "the server prefers overlap mode and has no device clear", exchange: strings.Replace(hisOpen, "4853 01 00", "4853 01 01", 1) + `
		Ca 4853 13 00 00000000 0000000000000000
		Sa 4853 03 01 00000000 0000000000000000
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 07 00 fffffe00 0000000000000002 '1' 0a`,
		do: answers("A?", "1")},
	{name: "error: message too large (table 16)", exchange: hisOpen + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 03 04 00000000 0000000000000004 'over'`,
		do: fails(link.ErrProtocol, "message too large", query("A?"))},
	{name: "error: unknown message, on the asynchronous channel (table 16)", exchange: hisOpen + `
		Ca 4853 0a 05 fffffefe 0000000000000000
		Sa 4853 03 01 00000000 0000000000000000`,
		do: fails(errors.ErrUnsupported, "unrecognized message type", link.Link.Remote)},
	{name: "fatal error: the session is over (table 14)", exchange: hisOpen + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 02 80 00000000 0000000000000003 'hot'`,
		do: inTurn(fails(link.ErrDisconnected, `"hot"`, query("A?")), fails(link.ErrDisconnected, "", query("B?")))},
	{name: "fatal error on the asynchronous channel", exchange: hisOpen + `
		Ca 4853 15 00 fffffefe 0000000000000000
		Sa 4853 02 00 00000000 0000000000000000`,
		do: fails(link.ErrDisconnected, "unidentified", func(l link.Link, ctx context.Context) error { _, err := l.StatusByte(ctx); return err })},
	{name: "what is no message ends the session with fatal error 1", exchange: hisOpen + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 312e350a 312e350a 312e350a 312e350a
		Cs 4853 02 01 00000000 0000000000000000`,
		do: fails(link.ErrProtocol, "no HiSLIP message", query("A?"))},
	{name: "a message that has no place here is answered with error 1", exchange: hisOpen + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 1c 00 00000000 0000000000000000
		Cs 4853 03 01 00000000 0000000000000008 'StartTLS'
		Ss 4853 07 00 ffffff00 0000000000000002 '1' 0a`,
		do: answers("A?", "1")},
	{name: "a longer answer than was agreed on", exchange: hisOpen + `
		Cs 4853 07 00 ffffff00 0000000000000003 'A?' 0a
		Ss 4853 07 00 ffffff00 0000000000200000`,
		do: fails(link.ErrProtocol, "message too large", query("A?"))},
}

func status(want byte) func(*testing.T, context.Context, link.Link) {
	return func(t *testing.T, ctx context.Context, l link.Link) {
		got, err := l.StatusByte(ctx)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
}

func TestHiSLIPExchanges(t *testing.T) {
	for _, row := range hisTests {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			c, served := scripted(t, row.exchange)
			c.Overlap = row.config.Overlap
			l, err := link.Opener{}.Open(context.Background(), c)
			if err != nil {
				t.Fatalf("%v; server: %v", err, <-served)
			}
			ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
			defer cancel()
			row.do(t, ctx, l)
			require.NoError(t, <-served)
			require.NoError(t, l.Close())
		})
	}
}

// Refusals while a session is opened.
func TestHiSLIPRefusedSessions(t *testing.T) {
	hello := "\n" + strings.Split(hisOpen, "\n")[1]
	for _, row := range []struct {
		name, exchange string
		kind           error
		says           string
	}{
		{"no such instrument", hello + "\nSs 4853 02 03 00000000 0000000000000000", link.ErrDisconnected, `sub-address "hislip0"`},
		{"too many clients", hello + "\nSs 4853 02 04 00000000 0000000000000000", link.ErrBusy, "does another program"},
		{"encrypted sessions only", hello + "\nSs 4853 02 05 00000000 0000000000000000", errors.ErrUnsupported, "not encrypted"},
		{"another protocol", hello + "\nSs 48545450 2f312e31 20343030 204e6f70", link.ErrProtocol, "speak HiSLIP"},
		{"another message", hello + "\nSs 4853 07 00 ffffff00 0000000000000000", link.ErrProtocol, "DataEnd came instead of InitializeResponse"},
		{"no asynchronous channel", strings.Join(strings.Split(hisOpen, "\n")[:4], "\n") + "\nSa 4853 02 02 00000000 0000000000000000", link.ErrDisconnected, "both channels"},
		{"no maximum size", strings.Join(strings.Split(hisOpen, "\n")[:6], "\n") + "\nSa 4853 03 01 00000000 0000000000000000", link.ErrProtocol, "AsyncMaximumMessageSize"},
		{"room for no payload", strings.Replace(hisOpen, "0000000000000018", "0000000000000010", 1), link.ErrProtocol, "at most 16 bytes"},
		{"a size of four bytes", strings.Replace(hisOpen, "0000000000000008 0000000000000018", "0000000000000004 00100000", 1), link.ErrProtocol, "4 bytes instead of 8"},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			c, served := scripted(t, row.exchange)
			_, err := link.Opener{}.Open(context.Background(), c)
			require.ErrorIs(t, err, row.kind)
			require.ErrorContains(t, err, row.says)
			<-served
		})
	}
}

// scripted is a server that hears and says exactly these bytes. What it came to
// is given when the exchange is over or has gone wrong.
func scripted(t *testing.T, exchange string) (link.Config, <-chan error) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	served, over := make(chan error, 1), make(chan struct{})
	channels := map[byte]net.Conn{}
	go func() {
		defer close(over)
		served <- playHiSLIP(l, channels, exchange)
	}()
	t.Cleanup(func() {
		_ = l.Close()
		<-over
		for _, c := range channels {
			_ = c.Close()
		}
	})
	return link.Config{Address: fmt.Sprintf("TCPIP0::127.0.0.1::hislip0,%d::INSTR", l.Addr().(*net.TCPAddr).Port), Timeout: 20 * time.Second}, served
}

func playHiSLIP(l net.Listener, channels map[byte]net.Conn, exchange string) error {
	for line := range strings.Lines(exchange) {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		p, err := wireBytes(line[3:])
		if err != nil {
			return fmt.Errorf("%s: %w", line, err)
		}
		conn := channels[line[1]]
		if conn == nil {
			if conn, err = l.Accept(); err != nil {
				return err
			}
			channels[line[1]] = conn
			if err := conn.SetDeadline(time.Now().Add(20 * time.Second)); err != nil {
				return err
			}
		}
		if line[0] == 'S' {
			if _, err := conn.Write(p); err != nil {
				return fmt.Errorf("%s: %w", line, err)
			}
			continue
		}
		got := make([]byte, len(p))
		if n, err := io.ReadFull(conn, got); err != nil || string(got) != string(p) {
			return fmt.Errorf("client sent\n%x\nin place of\n%x (%s)\n%v", got[:n], p, line, err)
		}
	}
	return nil
}

// wireBytes reads hexadecimal bytes and 'texts'.
func wireBytes(text string) (p []byte, err error) {
	for _, field := range strings.Fields(text) {
		if strings.HasPrefix(field, "'") {
			p = append(p, strings.Trim(field, "'")...)
			continue
		}
		part, err := hex.DecodeString(field)
		if err != nil {
			return nil, err
		}
		p = append(p, part...)
	}
	if len(p) < 16 || string(p[:2]) == "HS" && binary.BigEndian.Uint64(p[8:]) < uint64(len(p)-16) {
		return nil, errors.New("the length in the header does not fit")
	}
	return p, nil
}

package wirelog_test

import (
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/wirelog"

	"github.com/stretchr/testify/require"
)

// logOf makes a log of one counter: each line is an offset in milliseconds and
// what stands behind the address.
func logOf(t *testing.T, address string, lines ...string) wirelog.Log {
	t.Helper()
	text := "# bandproof wire log 1\n# program: p\n# begun: 2026-11-25T11:20:33.000000Z\n# instrument: counter " + address + "\n"
	for _, l := range lines {
		ms, what, _ := strings.Cut(l, " ")
		text += "2026-11-25T11:20:33." + ms + "000Z " + address + " " + what + "\n"
	}
	l, err := wirelog.Parse("x", []byte(text))
	require.NoError(t, err)
	return l
}

// played serves a log and returns where, and what came of it.
func played(t *testing.T, l wirelog.Log) (address string, ended <-chan error) {
	t.Helper()
	p, err := l.Play("counter", drivers.WallClock{})
	require.NoError(t, err)
	at, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	end := make(chan error, 1)
	go func() { end <- p.ServeListener(ctx, at) }()
	t.Cleanup(cancel)
	_, port, _ := net.SplitHostPort(at.Addr().String())
	return "TCPIP0::127.0.0.1::" + port + "::SOCKET", end
}

func open(t *testing.T, address string) link.Link {
	t.Helper()
	k, err := link.Opener{}.Open(t.Context(), link.Config{Address: address})
	require.NoError(t, err)
	t.Cleanup(func() { _ = k.Close() })
	return k
}

// The whole trouble of one conversation happens again: an answer, a silence, a
// late answer that is thrown away, a new connection, something unasked.
func TestTroubleIsReproduced(t *testing.T) {
	at, ended := played(t, logOf(t, counterAt, `001 open -`, `010 sent "*IDN?\n"`, `020 received "A,B,1,2\n"`,
		`030 sent "READ?\n"`, `930 silence - "timed out"`, `940 discarded "LATE\n" "link is cleared"`, `950 clear -`,
		`960 sent "*IDN?\n"`, `970 received "A,B,1,2\r\n"`, `975 discarded "STRAY\n" "came before the query was sent"`, `980 sent "READ?\n"`, `985 received "1.5\n"`, `990 close -`))
	k := open(t, at)
	answer, err := k.Query(t.Context(), []byte("*IDN?"))
	require.NoError(t, err)
	require.Equal(t, "A,B,1,2", string(answer))

	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	_, err = k.Query(ctx, []byte("READ?"))
	require.ErrorIs(t, err, link.ErrTimeout, "as it was silent then")
	require.NoError(t, k.Clear(t.Context()))
	answer, err = k.Query(t.Context(), []byte("*IDN?"))
	require.NoError(t, err)
	require.Equal(t, "A,B,1,2", string(answer))
	answer, err = k.Read(t.Context()) // unasked
	require.NoError(t, err)
	require.Equal(t, "STRAY", string(answer))
	answer, err = k.Query(t.Context(), []byte("READ?"))
	require.NoError(t, err)
	require.Equal(t, "1.5", string(answer))
	require.NoError(t, k.Close())
	require.NoError(t, <-ended, "the log is at its end")
}

func TestTheFirstDifferenceIsTold(t *testing.T) {
	short := []string{`001 open -`, `010 sent "FREQ 1\n"`, `020 sent "READ?\n"`, `030 received "1\n"`, `040 close -`}
	for _, row := range []struct {
		name, send string
		read       int
		want       string
	}{
		{"another byte", "FREQ 2\n", 0, `line 6 of the log: byte 6 differs: the client has sent "FREQ 2\n", the log has "FREQ 1\n"`},
		{"another terminator", "FREQ 1\r\n", 0, `byte 7 differs`},
		{"left in a message", "FREQ", 0, `line 6 of the log: the client has left after 4 bytes of "FREQ 1\n"`},
		{"left before the end", "FREQ 1\n", 0, `line 7 of the log: the client has left; the log goes on with "READ?\n"`},
		{"more after the end", "FREQ 1\nREAD?\n*RST\n", 2, `after the end of the log: the client has sent "*RST\n"`},
	} {
		t.Run(row.name, func(t *testing.T) {
			at, ended := played(t, logOf(t, counterAt, short...))
			part := strings.Split(at, "::")
			c, err := net.Dial("tcp", part[1]+":"+part[2])
			require.NoError(t, err)
			_, err = io.WriteString(c, row.send)
			require.NoError(t, err)
			_, err = io.ReadFull(c, make([]byte, row.read))
			require.NoError(t, err)
			if strings.HasPrefix(row.name, "left") {
				require.NoError(t, c.Close())
			}
			err = <-ended
			var d *wirelog.Difference
			require.ErrorAs(t, err, &d)
			require.ErrorContains(t, err, row.want)
			_ = c.Close()
		})
	}
}

func TestAClientMayKnockAndLeave(t *testing.T) {
	at, ended := played(t, logOf(t, counterAt, `001 open -`, `010 sent "A\n"`, `040 close -`))
	require.NoError(t, open(t, at).Close())
	k := open(t, at)
	require.NoError(t, k.Write(t.Context(), []byte("A")))
	require.NoError(t, k.Close())
	require.NoError(t, <-ended)
}

func TestMessagesOfOtherLinksGetTheirLineEnds(t *testing.T) {
	at, ended := played(t, logOf(t, "TCPIP0::192.0.2.7::inst0::INSTR", `001 open -`, `002 status "P"`, `010 sent "A?"`, `020 received "1"`, `040 close -`))
	k := open(t, at)
	answer, err := k.Query(t.Context(), []byte("A?"))
	require.NoError(t, err)
	require.Equal(t, "1", string(answer))
	require.NoError(t, k.Close())
	require.NoError(t, <-ended)
}

func TestWhatCannotBePlayed(t *testing.T) {
	l := logOf(t, counterAt, `001 open -`, `002 lost - "3 exchanges are missing"`)
	_, err := l.Play("counter", drivers.WallClock{})
	require.ErrorContains(t, err, "line 6: exchanges are missing here")
	_, err = l.Play("source", drivers.WallClock{})
	require.ErrorContains(t, err, `nothing of "source"; it has counter`)
}

func TestPlayingEndsWithItsContext(t *testing.T) {
	p, err := logOf(t, counterAt, `001 open -`, `010 sent "A\n"`, `900 received "B\n"`).Play("counter", drivers.WallClock{})
	require.NoError(t, err)
	near, far := net.Pipe()
	ctx, cancel := context.WithCancel(t.Context())
	end := make(chan error, 1)
	go func() { end <- p.ServePort(ctx, far) }()
	_, err = near.Write([]byte("A\n"))
	require.NoError(t, err)
	cancel()
	require.NoError(t, <-end)
	_, err = near.Read(make([]byte, 1))
	require.True(t, errors.Is(err, io.EOF), err)
}

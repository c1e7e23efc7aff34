//go:build unix

package virtual

import (
	"bufio"
	"context"
	"io"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestPTYClientsComeAndGo(t *testing.T) {
	b := newBench(t, Options{}, nil)
	link := filepath.Join(t.TempDir(), "lf")
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.ServePTY(ctx, "LF", link) }()
	require.Eventually(t, func() bool { _, err := os.Stat(link); return err == nil }, 5*time.Second, time.Millisecond)
	for range 3 {
		f, err := os.OpenFile(link, os.O_RDWR, 0)
		require.NoError(t, err)
		c := newClient(t, f)
		require.Equal(t, "Invented Instruments,Demo Source Low,DSL-0007,2.0", c.ask("*IDN?"))
		require.NoError(t, f.Close())
	}
	cancel()
	require.NoError(t, <-done)
	_, err := os.Lstat(link)
	require.ErrorIs(t, err, os.ErrNotExist, "the link is removed")
}

func TestPTYIsRawAndDrainsBeforeHangUp(t *testing.T) {
	link := filepath.Join(t.TempDir(), "raw")
	p, err := OpenPTY(link)
	require.NoError(t, err)
	f, err := os.OpenFile(link, os.O_RDWR, 0)
	require.NoError(t, err)
	defer func() { _ = f.Close() }()
	bytes := []byte{0x03, 0x11, 0x13, 0x00, '\r', '\n', 0xff}
	_, err = f.Write(bytes)
	require.NoError(t, err)
	got := make([]byte, len(bytes))
	_, err = io.ReadFull(p, got)
	require.NoError(t, err)
	require.Equal(t, bytes, got, "to the instrument")

	_, err = p.Write(bytes)
	require.NoError(t, err)
	closed := make(chan error, 1)
	go func() { closed <- p.Close() }()
	time.Sleep(20 * time.Millisecond) // the hang-up is under way
	_, err = io.ReadFull(f, got)
	require.NoError(t, err)
	require.Equal(t, bytes, got, "to the client")
	require.NoError(t, <-closed)
	require.NoError(t, p.Close(), "twice")
}

func TestPTYCloseEndsARead(t *testing.T) {
	p, err := OpenPTY(filepath.Join(t.TempDir(), "x"))
	require.NoError(t, err)
	ended := make(chan error, 1)
	go func() {
		_, err := p.Read(make([]byte, 1))
		ended <- err
	}()
	time.Sleep(20 * time.Millisecond)
	require.NoError(t, p.Close())
	select {
	case err := <-ended:
		require.Error(t, err)
	case <-time.After(5 * time.Second):
		t.Fatal("Read did not end with Close")
	}
}

func TestPTYTellsWhetherItsNameLeadsToIt(t *testing.T) {
	link := filepath.Join(t.TempDir(), "name")
	p, err := OpenPTY(link)
	require.NoError(t, err)
	require.True(t, p.Reached())
	other, err := OpenPTY(link) // the name is another terminal's now
	require.NoError(t, err)
	require.False(t, p.Reached())
	require.True(t, other.Reached())
	require.NoError(t, p.Close())
	require.True(t, other.Reached(), "a name that is another's stays")
	require.NoError(t, other.Close())
	require.False(t, other.Reached())
}

func TestPTYRefusesToReplaceAFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(path, []byte("precious"), 0o600))
	_, err := OpenPTY(path)
	require.ErrorContains(t, err, "no symbolic link")
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "precious", string(text))
	_, err = OpenPTY(filepath.Join(t.TempDir(), "no", "such", "dir"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

// At 300 baud a character takes a thirtieth of a second; with 7 bits the top
// bit is lost both ways.
func TestSerialLinesArePacedAndMasked(t *testing.T) {
	clock := NewInstantClock()
	b := newBench(t, Options{Clock: clock}, func(s *Scenario) {
		s.Counter.Link.Baud, s.Counter.Link.DataBits = 300, 7
	})
	near, far := net.Pipe()
	running(t, func(ctx context.Context) error { return b.ServePort(ctx, "counter", far) })
	start := clock.Now()
	_, err := near.Write([]byte{'*' | 0x80, 'O', 'P', 'C' | 0x80, '?', '\n'})
	require.NoError(t, err)
	reply, err := bufio.NewReader(near).ReadString('\n')
	require.NoError(t, err)
	require.Equal(t, "1\n", reply)
	require.InDelta(t, (6+2)*10/300.0, clock.Now().Sub(start).Seconds(), 1e-6)

	require.NoError(t, b.SetFaults([]Fault{{Name: "garbage"}}))
	r := bufio.NewReader(near)
	_, err = near.Write([]byte("*OPC?\n"))
	require.NoError(t, err)
	reply, err = r.ReadString('\n')
	require.NoError(t, err)
	for _, c := range []byte(reply) {
		require.Less(t, c, byte(0x80), "%q", reply)
	}
}

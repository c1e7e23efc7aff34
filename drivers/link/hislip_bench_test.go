package link_test

import (
	"context"
	"errors"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bandproof/drivers/link"
	"bandproof/drivers/virtual"
)

// hislipBench serves the built-in bench by HiSLIP, its instruments as hislip0,
// hislip1 and so on, and gives the address of each.
func hislipBench(t testing.TB, clock virtual.Options, h virtual.HiSLIP, clients ...int) (b *virtual.Bench, address func(i int) string) {
	t.Helper()
	s, err := virtual.DefaultScenario()
	require.NoError(t, err)
	for _, n := range clients {
		s.Counter.Link.Clients = n
	}
	b, err = virtual.New(s, clock)
	require.NoError(t, err)
	h.Instruments = map[string]string{}
	for i, x := range b.Instruments() {
		h.Instruments["hislip"+string(rune('0'+i))] = x.Name
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- b.ServeHiSLIP(ctx, l, h) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-served)
		require.NoError(t, b.Close())
	})
	_, port, err := net.SplitHostPort(l.Addr().String())
	require.NoError(t, err)
	return b, func(i int) string {
		return "TCPIP0::127.0.0.1::hislip" + string(rune('0'+i)) + "," + port + "::INSTR"
	}
}

func openHiSLIP(t testing.TB, c link.Config) link.Link {
	t.Helper()
	c.Timeout = 20 * time.Second
	l, err := link.Opener{}.Open(context.Background(), c)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, l.Close()) })
	return l
}

func ask(t testing.TB, l link.Link, question string) string {
	t.Helper()
	answer, err := l.Query(context.Background(), []byte(question))
	require.NoError(t, err, question)
	return string(answer)
}

func TestHiSLIPTalksToTheBench(t *testing.T) {
	for _, mode := range []struct {
		name     string
		server   virtual.HiSLIP
		overlap  bool
		settings link.Config
	}{
		{name: "synchronised"},
		{name: "overlap asked for", settings: link.Config{Overlap: true}},
		{name: "server prefers overlap", server: virtual.HiSLIP{Overlap: true}},
		{name: "server does overlap only", server: virtual.HiSLIP{Overlap: true, OneMode: true}},
		{name: "server does synchronised only", server: virtual.HiSLIP{OneMode: true}, settings: link.Config{Overlap: true}},
		{name: "short messages", server: virtual.HiSLIP{MaxMessage: 20}},
	} {
		t.Run(mode.name, func(t *testing.T) {
			b, address := hislipBench(t, virtual.Options{Clock: virtual.NewInstantClock(), Follow: true}, mode.server)
			c := mode.settings
			c.Address = address(0)
			l := openHiSLIP(t, c)
			ctx := context.Background()
			require.Contains(t, ask(t, l, "*IDN?"), ",")
			require.NoError(t, l.Write(ctx, []byte("SENS:FREQ:APER 0.5")))
			require.Equal(t, "0.5", ask(t, l, "SENS:FREQ:APER?"))
			require.NoError(t, l.Write(ctx, []byte("*IDN?"))) // not read
			require.NoError(t, l.Clear(ctx))
			require.Equal(t, "0.5", ask(t, l, "SENS:FREQ:APER?"))
			require.Equal(t, `0,"No error"`, ask(t, l, "SYST:ERR?"))

			require.NoError(t, l.Remote(ctx))
			require.True(t, b.Remote(b.Instruments()[0].Name))
			require.NoError(t, l.Local(ctx))
			require.False(t, b.Remote(b.Instruments()[0].Name))

			require.NoError(t, l.Write(ctx, []byte("FUNC \"FREQ 1\"")))
			require.NoError(t, l.Trigger(ctx))
			require.NotEmpty(t, ask(t, l, "FETC?"))

			// A response that waits is in the status byte until it is read.
			require.NoError(t, l.Write(ctx, []byte("*IDN?")))
			require.Eventually(t, func() bool {
				status, err := l.StatusByte(ctx)
				return err == nil && status&16 != 0
			}, 20*time.Second, time.Millisecond)
			_, err := l.Read(ctx)
			require.NoError(t, err)
			status, err := l.StatusByte(ctx)
			require.NoError(t, err)
			require.Zero(t, status&16)
			require.Equal(t, `0,"No error"`, ask(t, l, "SYST:ERR?"))

			other := openHiSLIP(t, link.Config{Address: address(1), Overlap: mode.settings.Overlap})
			require.NotEqual(t, ask(t, l, "*IDN?"), ask(t, other, "*IDN?"))
		})
	}
}

// The instrument is busy with a gate of a second; a device clear ends that.
func TestHiSLIPClearEndsALongGate(t *testing.T) {
	for _, overlap := range []bool{false, true} {
		_, address := hislipBench(t, virtual.Options{Follow: true}, virtual.HiSLIP{})
		l := openHiSLIP(t, link.Config{Address: address(0), Overlap: overlap})
		ctx := context.Background()
		require.NoError(t, l.Write(ctx, []byte("SENS:FREQ:APER 100")))
		short, cancel := context.WithTimeout(ctx, 100*time.Millisecond)
		_, err := l.Query(short, []byte("READ?"))
		cancel()
		require.ErrorIs(t, err, link.ErrTimeout)
		_, err = l.Query(ctx, []byte("*IDN?"))
		require.ErrorIs(t, err, link.ErrDirty)
		require.NoError(t, l.Clear(ctx))
		require.Contains(t, ask(t, l, "*IDN?"), ",")
		require.Equal(t, `0,"No error"`, ask(t, l, "SYST:ERR?"))
	}
}

// A question that goes unread gives way to the next, which gets its own answer.
func TestHiSLIPAnswersOnlyTheLastQuestion(t *testing.T) {
	for name, first := range map[string]string{"answered at once": "*IDN?", "still measuring": "SENS:FREQ:APER 100;:READ?"} {
		t.Run(name, func(t *testing.T) {
			_, address := hislipBench(t, virtual.Options{Follow: true}, virtual.HiSLIP{})
			l := openHiSLIP(t, link.Config{Address: address(0)})
			for range 20 {
				require.NoError(t, l.Write(context.Background(), []byte(first)))
				require.True(t, strings.HasPrefix(ask(t, l, "SYST:ERR?"), `-410,`))
				require.Equal(t, `0,"No error"`, ask(t, l, "SYST:ERR?"))
			}
		})
	}
}

func TestHiSLIPRefusals(t *testing.T) {
	_, address := hislipBench(t, virtual.Options{}, virtual.HiSLIP{})
	ctx := context.Background()
	_, err := link.Opener{}.Open(ctx, link.Config{Address: address(9)})
	require.ErrorIs(t, err, link.ErrDisconnected)
	require.ErrorContains(t, err, "hislip9")
	require.ErrorContains(t, err, "hislip0, hislip1")

	openHiSLIP(t, link.Config{Address: address(0)})
	_, err = link.Opener{}.Open(ctx, link.Config{Address: address(0)})
	require.ErrorIs(t, err, link.ErrBusy)
	require.ErrorContains(t, err, "another program")
	require.False(t, errors.Is(err, link.ErrDisconnected))
}

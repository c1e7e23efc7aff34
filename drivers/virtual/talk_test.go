package virtual_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/scpi"
	"bandproof/drivers/virtual"

	"github.com/stretchr/testify/require"
)

// talk opens a conversation with the counter of the default bench.
func talk(t *testing.T, instrument string) (*virtual.Bench, *virtual.Talk) {
	t.Helper()
	s, err := virtual.DefaultScenario()
	require.NoError(t, err)
	b, err := virtual.New(s, virtual.Options{Clock: virtual.NewInstantClock(), Follow: true})
	require.NoError(t, err)
	k, err := b.Talk(instrument)
	require.NoError(t, err)
	t.Cleanup(func() {
		k.Close()
		require.NoError(t, b.Close())
	})
	return b, k
}

// whole reads a response message to its END.
func whole(t *testing.T, k *virtual.Talk, most int) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	var text strings.Builder
	for {
		part, end, err := k.Send(ctx, most)
		require.NoError(t, err)
		require.LessOrEqual(t, len(part), most)
		text.Write(part)
		if end {
			return text.String()
		}
	}
}

func TestTalkCarriesWholeMessages(t *testing.T) {
	_, k := talk(t, "counter")
	k.Receive([]byte("*IDN?\n"))
	got := whole(t, k, 5)
	require.Contains(t, got, ",")
	require.True(t, strings.HasSuffix(got, "\n"), "%q", got)
	k.Receive([]byte("SYST:ERR?")) // END alone ends a message
	require.Equal(t, "0,\"No error\"\n", whole(t, k, 100))
}

// IEEE 488.2 clause 6.3.2.3 (from memory): a new message before the response
// was read drops it; code -410.
func TestTalkInterruptsAResponseThatNobodyRead(t *testing.T) {
	_, k := talk(t, "counter")
	k.Receive([]byte("*IDN?"))
	waitFor(t, func() bool { return k.StatusByte()&scpi.MessageAvailable != 0 })
	k.Receive([]byte("SYST:ERR?"))
	require.Contains(t, whole(t, k, 100), "-410,")
	require.Zero(t, k.StatusByte()&scpi.MessageAvailable)
}

func TestTalkClearDropsEverythingButSettings(t *testing.T) {
	_, k := talk(t, "counter")
	k.Receive([]byte("SENS:FREQ:APER 0.5"))
	k.Receive([]byte("*IDN?"))
	waitFor(t, func() bool { return k.StatusByte()&scpi.MessageAvailable != 0 })
	k.Clear()
	require.Zero(t, k.StatusByte()&scpi.MessageAvailable)
	k.Receive([]byte("SENS:FREQ:APER?;:SYST:ERR?"))
	require.Equal(t, "0.5;0,\"No error\"\n", whole(t, k, 100))
}

func TestTalkTriggersAndTellsRemote(t *testing.T) {
	b, k := talk(t, "counter")
	require.False(t, b.Remote("counter"))
	k.Remote(true)
	require.True(t, b.Remote("counter"))
	k.Receive([]byte("FUNC \"FREQ 1\""))
	k.Trigger()
	k.Receive([]byte("FETC?"))
	require.NotEmpty(t, strings.TrimSpace(whole(t, k, 100)))
	k.Receive([]byte("SYST:ERR?"))
	require.Equal(t, "0,\"No error\"\n", whole(t, k, 100))
}

func TestTalkEndsWithItsContextAndWithClose(t *testing.T) {
	_, k := talk(t, "counter")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, _, err := k.Send(ctx, 10)
	require.ErrorIs(t, err, context.Canceled)
	ended := make(chan error, 1)
	go func() {
		_, _, err := k.Send(context.Background(), 10)
		ended <- err
	}()
	k.Close()
	require.Error(t, <-ended)
}

func waitFor(t *testing.T, ready func() bool) {
	t.Helper()
	require.Eventually(t, ready, 20*time.Second, time.Millisecond)
}

//go:build linux

package link_test

import (
	"context"
	"net"
	"testing"
	"time"

	"bandproof/drivers/link"
	"bandproof/drivers/link/oncrpc"

	"github.com/stretchr/testify/require"
)

// Portmappers on real UDP: one that has VXI-11, one that has not, one that
// talks nonsense, and one that answers another question.
func TestWhoHasVXI11AnswersABroadcast(t *testing.T) {
	var to []string
	for _, answer := range []func(call oncrpc.Call) []byte{
		func(c oncrpc.Call) []byte { p := oncrpc.Port(1024); return oncrpc.AppendReply(nil, c.XID, &p) },
		func(c oncrpc.Call) []byte { p := oncrpc.Port(0); return oncrpc.AppendReply(nil, c.XID, &p) },
		func(oncrpc.Call) []byte { return []byte("nonsense") },
		func(c oncrpc.Call) []byte { p := oncrpc.Port(7); return oncrpc.AppendReply(nil, c.XID+1, &p) },
	} {
		// Each has an address of its own in 127.0.0.0/8, as hosts of a network have.
		conn, err := net.ListenPacket("udp4", "127.0.0."+string(rune('1'+len(to)))+":0")
		require.NoError(t, err)
		defer func() { _ = conn.Close() }()
		to = append(to, conn.LocalAddr().String())
		go func() {
			b := make([]byte, 2048)
			n, from, err := conn.ReadFrom(b)
			if err != nil {
				return
			}
			c, err := oncrpc.ParseCall(b[:n])
			if err != nil || c.Program != oncrpc.PortmapProgram || c.Procedure != oncrpc.PortmapGetPort {
				return
			}
			var asked oncrpc.Mapping
			if oncrpc.Parse(c.Args, &asked) != nil || asked.Program != 395183 || asked.Version != 1 || asked.Protocol != oncrpc.TCP {
				return
			}
			_, _ = conn.WriteTo(answer(c), from)
		}()
	}
	hosts, err := link.AskVXI11(t.Context(), to, 2*time.Second)
	require.NoError(t, err)
	require.Equal(t, []string{"127.0.0.1"}, hosts)

	_, err = link.AskVXI11(t.Context(), []string{"no port"}, 10*time.Millisecond)
	require.ErrorContains(t, err, "ask no port for VXI-11")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	hosts, err = link.AskVXI11(ctx, to, time.Hour) // ends at once
	require.NoError(t, err)
	require.Empty(t, hosts)
}

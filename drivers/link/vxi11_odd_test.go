package link_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/link"
	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
	"bandproof/drivers/virtual"
	"bandproof/drivers/virtual/vxiserver"

	"github.com/stretchr/testify/require"
)

// odd is an instrument whose replies a test writes by hand. It gets each call
// and gives the bytes to send, in records; nil hangs up.
type odd func(c oncrpc.Call) [][]byte

// oddVXI11 serves it to one client after the other and gives its address.
func oddVXI11(t *testing.T, serve odd) string {
	t.Helper()
	l, _ := listen(t)
	var serving sync.WaitGroup
	serving.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			serving.Go(func() {
				defer conn.Close()
				var records oncrpc.Records
				for {
					record, err := records.Next(conn, 1<<20)
					if err != nil {
						return
					}
					call, err := oncrpc.ParseCall(slices.Clone(record))
					if err != nil {
						return
					}
					replies := serve(call)
					if replies == nil {
						return
					}
					for _, r := range replies {
						if _, err := conn.Write(oncrpc.Mark(append(make([]byte, oncrpc.MarkSize), r...))); err != nil {
							return
						}
					}
				}
			})
		}
	})
	t.Cleanup(func() { l.Close(); serving.Wait() })
	return fmt.Sprintf("TCPIP0::127.0.0.1,%d::inst0::INSTR", l.Addr().(*net.TCPAddr).Port)
}

func replies(c oncrpc.Call, m oncrpc.Message) [][]byte {
	return [][]byte{oncrpc.AppendReply(nil, c.XID, m)}
}

// sane is an instrument that answers "1" to everything, with one procedure
// made odd.
func sane(procedure uint32, serve odd) odd {
	return func(c oncrpc.Call) [][]byte {
		if c.Procedure == procedure && c.Program == vxi11.Core {
			return serve(c)
		}
		switch c.Procedure {
		case vxi11.CreateLink:
			return replies(c, &vxi11.CreateLinkResp{Link: 1, MaxReceive: 1024})
		case vxi11.DeviceWrite:
			var a vxi11.WriteParms
			_ = oncrpc.Parse(c.Args, &a)
			return replies(c, &vxi11.WriteResp{Size: uint32(len(a.Data))})
		case vxi11.DeviceRead:
			return replies(c, &vxi11.ReadResp{Reason: vxi11.EndIndicator, Data: []byte("1\n")})
		}
		return replies(c, &vxi11.Error{})
	}
}

// Each code of the standard that an instrument answers is an error of a kind
// that says what can be done, with the code in the chain.
func TestVXI11CodesAreKinds(t *testing.T) {
	tests := []struct {
		code vxi11.Code
		kind error
		says string
	}{
		{vxi11.InvalidLink, link.ErrDisconnected, "switched off"},
		{vxi11.ParameterError, link.ErrProtocol, "parameter error"},
		{vxi11.OperationNotSupported, link.ErrProtocol, "read: not a message: the instrument answers: VXI-11 error 8, operation not supported"},
		{vxi11.OutOfResources, link.ErrBusy, "other programs"},
		{vxi11.LockedByAnotherLink, link.ErrBusy, "which other program"},
		{vxi11.IOTimeout, link.ErrTimeout, ""},
		{vxi11.IOError, link.ErrDisconnected, "plugged in"},
		{vxi11.Aborted, link.ErrDirty, "abort channel"},
		{vxi11.ChannelAlreadyEstablished, link.ErrBusy, "interrupt channel"},
		{vxi11.Code(99), link.ErrProtocol, "does not know"},
	}
	for _, test := range tests {
		t.Run(fmt.Sprint(int(test.code)), func(t *testing.T) {
			at := oddVXI11(t, sane(vxi11.DeviceRead, func(c oncrpc.Call) [][]byte { return replies(c, &vxi11.ReadResp{Error: vxi11.Error{Code: test.code}}) }))
			k, err := link.Opener{}.Open(t.Context(), link.Config{Address: at})
			require.NoError(t, err)
			defer k.Close()
			_, err = k.Query(t.Context(), []byte("A?"))
			require.ErrorIs(t, err, test.kind)
			if test.code != vxi11.OperationNotSupported { // its kind must not stay in the chain: every instrument can read
				require.ErrorIs(t, err, test.code)
			}
			require.ErrorContains(t, err, test.says)
			require.NotContains(t, err.Error(), ": : ")
		})
	}
}

// What an instrument can't do spoils nothing.
func TestVXI11Unsupported(t *testing.T) {
	at := oddVXI11(t, sane(vxi11.DeviceTrigger, func(c oncrpc.Call) [][]byte {
		return replies(c, &vxi11.Error{Code: vxi11.OperationNotSupported})
	}))
	k, err := link.Opener{}.Open(t.Context(), link.Config{Address: at})
	require.NoError(t, err)
	defer k.Close()
	err = k.Trigger(t.Context())
	require.ErrorIs(t, err, errors.ErrUnsupported)
	require.ErrorIs(t, err, vxi11.OperationNotSupported)
	answer, err := k.Query(t.Context(), []byte("A?"))
	require.NoError(t, err)
	require.Equal(t, "1", string(answer))
}

// What an instrument must not answer is no message, and never a panic or a hang.
func TestVXI11OddInstruments(t *testing.T) {
	long := strings.Repeat("x", 3000)
	calls := 0
	tests := []struct {
		name      string
		procedure uint32
		serve     odd
		kind      error // nil: all is well
	}{
		{"reply of another call", vxi11.DeviceRead, func(c oncrpc.Call) [][]byte {
			c.XID -= 1000
			return replies(c, &vxi11.ReadResp{Reason: vxi11.EndIndicator, Data: []byte("STALE\n")})
		}, link.ErrProtocol},
		{"hang-up", vxi11.DeviceRead, func(oncrpc.Call) [][]byte { return nil }, link.ErrDisconnected},
		{"no RPC", vxi11.DeviceRead, func(oncrpc.Call) [][]byte { return [][]byte{[]byte("1\n")} }, link.ErrProtocol},
		{"short reply", vxi11.DeviceRead, func(c oncrpc.Call) [][]byte { return replies(c, &vxi11.Error{}) }, link.ErrProtocol},
		{"no such procedure", vxi11.DeviceRead, func(c oncrpc.Call) [][]byte {
			return [][]byte{oncrpc.Append(nil, &oncrpc.Reply{XID: c.XID, Status: oncrpc.ProcedureUnavailable})}
		}, link.ErrProtocol},
		{"garbage arguments", vxi11.DeviceRead, func(c oncrpc.Call) [][]byte {
			return [][]byte{oncrpc.Append(nil, &oncrpc.Reply{XID: c.XID, Status: oncrpc.GarbageArguments})}
		}, link.ErrProtocol},
		{"parts without bytes for ever", vxi11.DeviceRead, func(c oncrpc.Call) [][]byte { return replies(c, &vxi11.ReadResp{}) }, link.ErrProtocol},
		{"more than was asked for", vxi11.DeviceRead, func(c oncrpc.Call) [][]byte {
			return replies(c, &vxi11.ReadResp{Reason: vxi11.EndIndicator, Data: make([]byte, 1<<20)})
		}, link.ErrProtocol},
		{"END without bytes", vxi11.DeviceRead, func(c oncrpc.Call) [][]byte {
			calls++
			if calls%2 == 1 {
				return replies(c, &vxi11.ReadResp{Data: []byte("1")})
			}
			return replies(c, &vxi11.ReadResp{Reason: vxi11.EndIndicator})
		}, nil},
		{"takes nothing", vxi11.DeviceWrite, func(c oncrpc.Call) [][]byte { return replies(c, &vxi11.WriteResp{}) }, link.ErrProtocol},
		{"takes too much", vxi11.DeviceWrite, func(c oncrpc.Call) [][]byte { return replies(c, &vxi11.WriteResp{Size: 1 << 31}) }, link.ErrProtocol},
		{"takes less", vxi11.DeviceWrite, func(c oncrpc.Call) [][]byte { return replies(c, &vxi11.WriteResp{Size: 7}) }, nil},
		{"tells no receive size", vxi11.CreateLink, func(c oncrpc.Call) [][]byte { return replies(c, &vxi11.CreateLinkResp{Link: 1}) }, nil},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			at := oddVXI11(t, sane(test.procedure, test.serve))
			k, err := link.Opener{}.Open(t.Context(), link.Config{Address: at, Timeout: 10 * time.Second, MaxMessage: 1000, WriteTerminator: "none"})
			require.NoError(t, err)
			defer k.Close()
			answer, err := k.Query(t.Context(), []byte(long+"123456789012"[:(7-3000%7)%7]))
			if test.kind != nil {
				require.ErrorIs(t, err, test.kind)
				return
			}
			require.NoError(t, err)
			require.Equal(t, "1", string(answer))
		})
	}
}

// An instrument without abort channel that answers late: the reply is known by
// its number and passed over, and Clear connects anew while it is owed.
func TestVXI11LateRepliesAreNeverTaken(t *testing.T) {
	var mutex sync.Mutex
	var owed []uint32
	creates := 0
	at := oddVXI11(t, func(c oncrpc.Call) [][]byte {
		mutex.Lock()
		defer mutex.Unlock()
		switch {
		case c.Procedure == vxi11.CreateLink:
			creates++
		case c.Procedure == vxi11.DeviceRead && len(owed) == 0:
			owed = append(owed, c.XID)
			return [][]byte{}
		}
		out := sane(0, nil)(c)
		if c.Procedure == vxi11.DeviceRead && len(owed) == 1 && creates == 1 {
			late := oncrpc.AppendReply(nil, owed[0], &vxi11.ReadResp{Reason: vxi11.EndIndicator, Data: []byte("STALE\n")})
			out = append([][]byte{late}, out...)
		}
		return out
	})
	k, err := link.Opener{}.Open(t.Context(), link.Config{Address: at, Timeout: 10 * time.Second})
	require.NoError(t, err)
	defer k.Close()

	// Nothing was asked, so the link stays clean and the late reply comes next.
	short, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	_, err = k.Read(short)
	require.ErrorIs(t, err, link.ErrTimeout)
	answer, err := k.Query(t.Context(), []byte("A?"))
	require.NoError(t, err)
	require.Equal(t, "1", string(answer))

	mutex.Lock()
	owed = nil
	mutex.Unlock()
	short, cancel = context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	_, err = k.Query(short, []byte("A?"))
	require.ErrorIs(t, err, link.ErrTimeout)
	require.NoError(t, k.Clear(t.Context()))
	mutex.Lock()
	require.Equal(t, 2, creates)
	mutex.Unlock()
	answer, err = k.Query(t.Context(), []byte("A?"))
	require.NoError(t, err)
	require.Equal(t, "1", string(answer))
}

// The portmapper tells the port, over TCP or, where that is refused, over UDP.
func TestVXI11AsksThePortmapper(t *testing.T) {
	i := drivertest.NewInstrument()
	l, _ := listen(t)
	port := vxiHost(t, l, vxiserver.Options{}, map[string]func() (virtual.Conversation, error){"inst0": talks(i)})
	known := oncrpc.Mappings{{Program: vxi11.Core, Version: vxi11.Version, Protocol: oncrpc.TCP, Port: uint32(port)}}
	tests := []struct {
		name     string
		mappings oncrpc.Mappings
		over     string
		says     string // empty: it opens
	}{
		{"over TCP", known, "tcp", ""},
		{"over UDP", known, "udp", ""},
		{"not registered", nil, "tcp", "is VXI-11 switched on"},
		{"nobody there", nil, "", "TCPIP0::127.0.0.1,PORT::inst0::INSTR"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			tcp, _ := listen(t)
			udp, err := net.ListenPacket("udp", "127.0.0.1:0")
			require.NoError(t, err)
			at := map[string]string{"tcp": tcp.Addr().String(), "udp": udp.LocalAddr().String()}
			ctx, cancel := context.WithCancel(context.Background())
			ended := make(chan error, 1)
			go func() { ended <- vxiserver.Portmapper{Mappings: test.mappings}.Serve(ctx, tcp, udp) }()
			defer func() { cancel(); require.NoError(t, <-ended) }()
			dial := func(ctx context.Context, network, address string) (net.Conn, error) {
				if strings.HasSuffix(address, ":111") {
					if network != test.over {
						return nil, errors.New("refused")
					}
					address = at[network]
				}
				return (&net.Dialer{}).DialContext(ctx, network, address)
			}
			k, err := link.Opener{Dial: dial}.Open(t.Context(), link.Config{Address: "TCPIP0::127.0.0.1::inst0::INSTR", Timeout: 20 * time.Second})
			if test.says != "" {
				require.ErrorIs(t, err, link.ErrDisconnected)
				require.ErrorContains(t, err, test.says)
				return
			}
			require.NoError(t, err)
			answer, err := k.Query(t.Context(), []byte("ECHO? 1"))
			require.NoError(t, err)
			require.Equal(t, "1", string(answer))
			require.NoError(t, k.Close())
		})
	}
}

// Locks keep other links out until they are given back, or their holder leaves.
func TestVXI11Locks(t *testing.T) {
	i := drivertest.NewInstrument()
	l, _ := listen(t)
	port := vxiHost(t, l, vxiserver.Options{}, map[string]func() (virtual.Conversation, error){"inst0": talks(i)})
	c := link.Config{Address: fmt.Sprintf("TCPIP0::127.0.0.1,%d::inst0::INSTR", port), Timeout: 20 * time.Second}
	open := func(change func(*link.Config)) (link.Link, error) {
		c := c
		change(&c)
		return link.Opener{}.Open(t.Context(), c)
	}
	holder, err := open(func(c *link.Config) { c.Lock = true })
	require.NoError(t, err)
	defer holder.Close()
	_, err = open(func(c *link.Config) { c.Lock = true })
	require.ErrorIs(t, err, link.ErrBusy)
	require.ErrorIs(t, err, vxi11.LockedByAnotherLink)
	other, err := open(func(*link.Config) {})
	require.NoError(t, err)
	defer other.Close()
	_, err = other.Query(t.Context(), []byte("ECHO? 1"))
	require.ErrorIs(t, err, vxi11.LockedByAnotherLink)
	patient, err := open(func(c *link.Config) { c.LockTimeout = 20 * time.Second })
	require.NoError(t, err)
	defer patient.Close()
	answered := make(chan error, 1)
	go func() {
		answer, err := patient.Query(context.Background(), []byte("ECHO? 2"))
		if err == nil && string(answer) != "2" {
			err = fmt.Errorf("answer %q", answer)
		}
		answered <- err
	}()
	require.NoError(t, holder.Close())
	require.NoError(t, <-answered)
}

// Without END a reply ends with the terminator, where the settings say so.
func TestVXI11EndByTerminator(t *testing.T) {
	at := oddVXI11(t, sane(vxi11.DeviceRead, func(c oncrpc.Call) [][]byte {
		var a vxi11.ReadParms
		if oncrpc.Parse(c.Args, &a) != nil || a.Flags&vxi11.TermCharSet == 0 || a.TermChar != '\r' {
			return replies(c, &vxi11.ReadResp{Error: vxi11.Error{Code: vxi11.IOTimeout}})
		}
		return replies(c, &vxi11.ReadResp{Reason: vxi11.Character, Data: []byte("1\r")})
	}))
	k, err := link.Opener{}.Open(t.Context(), link.Config{Address: at, EndByTerminator: true, ReadTerminator: "CR"})
	require.NoError(t, err)
	defer k.Close()
	answer, err := k.Query(t.Context(), []byte("A?"))
	require.NoError(t, err)
	require.Equal(t, "1", string(answer))
	_, err = link.Opener{}.Open(t.Context(), link.Config{Address: at, EndByTerminator: true, ReadTerminator: "none"})
	require.ErrorIs(t, err, link.ErrConfig)
}

// The instrument tells of itself when it asks for service, once each time.
func TestVXI11ServiceRequests(t *testing.T) {
	i := drivertest.NewInstrument()
	l, _ := listen(t)
	port := vxiHost(t, l, vxiserver.Options{}, map[string]func() (virtual.Conversation, error){"inst0": talks(i)})
	k, err := link.Opener{}.Open(t.Context(), link.Config{Address: fmt.Sprintf("TCPIP0::127.0.0.1,%d::inst0::INSTR", port), Timeout: 20 * time.Second})
	require.NoError(t, err)
	requests, err := k.(link.ServiceRequester).ServiceRequests(t.Context())
	require.NoError(t, err)
	again, err := k.(link.ServiceRequester).ServiceRequests(t.Context())
	require.NoError(t, err)
	require.Equal(t, requests, again)
	for range 3 {
		i.Ask(true)
		select {
		case _, ok := <-requests:
			require.True(t, ok)
		case <-time.After(20 * time.Second):
			t.Fatal("no request for service came")
		}
		status, err := k.StatusByte(t.Context())
		require.NoError(t, err)
		require.Equal(t, byte(64), status)
		i.Ask(false)
		polled := i.Polled()
		require.Eventually(t, func() bool { return i.Polled() >= polled+2 }, 20*time.Second, time.Millisecond, "the server has not seen the end")
	}
	require.NoError(t, k.Close())
	_, open := <-requests
	require.False(t, open)
}

package vxiserver_test

import (
	"context"
	"net"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
	"bandproof/drivers/virtual"
	"bandproof/drivers/virtual/vxiserver"

	"github.com/stretchr/testify/require"
)

// client makes calls by hand.
type client struct {
	*testing.T
	conn    net.Conn
	program uint32
	version uint32
	records oncrpc.Records
	xid     uint32
}

func connect(t *testing.T, port int, program uint32) *client {
	t.Helper()
	conn, err := net.Dial("tcp", (&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: port}).String())
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return &client{T: t, conn: conn, program: program, version: 1}
}

func (c *client) send(procedure uint32, args oncrpc.Message) {
	c.Helper()
	c.xid++
	_, err := c.conn.Write(oncrpc.Mark(oncrpc.AppendCall(make([]byte, oncrpc.MarkSize), c.xid, c.program, c.version, procedure, args)))
	require.NoError(c, err)
}

func (c *client) reply() oncrpc.Reply {
	c.Helper()
	require.NoError(c, c.conn.SetReadDeadline(time.Now().Add(20*time.Second)))
	record, err := c.records.Next(c.conn, 1<<20)
	require.NoError(c, err)
	r, err := oncrpc.ParseReply(record)
	require.NoError(c, err)
	require.Equal(c, c.xid, r.XID)
	return r
}

func (c *client) call(procedure uint32, args, results oncrpc.Message) {
	c.Helper()
	c.send(procedure, args)
	r := c.reply()
	require.Equal(c, oncrpc.Success, r.Status, r.Status.String())
	require.NoError(c, oncrpc.Parse(r.Results, results))
}

// code makes a call that gives nothing but an error code.
func (c *client) code(procedure uint32, args oncrpc.Message) vxi11.Code {
	c.Helper()
	var e vxi11.Error
	c.call(procedure, args, &e)
	return e.Code
}

func (c *client) link(device string) vxi11.CreateLinkResp {
	c.Helper()
	var r vxi11.CreateLinkResp
	c.call(vxi11.CreateLink, &vxi11.CreateLinkParms{Device: device}, &r)
	return r
}

func (c *client) write(link vxi11.Link, data string, flags int32) vxi11.Code {
	c.Helper()
	var r vxi11.WriteResp
	c.call(vxi11.DeviceWrite, &vxi11.WriteParms{Link: link, IOTimeout: 20000, Flags: flags, Data: []byte(data)}, &r)
	if r.Code == vxi11.NoError {
		require.Equal(c, len(data), int(r.Size))
	}
	return r.Code
}

func (c *client) read(a vxi11.ReadParms) (r vxi11.ReadResp) {
	c.Helper()
	c.call(vxi11.DeviceRead, &a, &r)
	return r
}

// host serves an instrument as inst0 and as gpib0,5.
func host(t *testing.T, o vxiserver.Options) (*drivertest.Instrument, int) {
	t.Helper()
	i := drivertest.NewInstrument()
	talk := func() (virtual.Conversation, error) { return i.Talk(), nil }
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		ended <- vxiserver.New(map[string]func() (virtual.Conversation, error){"inst0": talk, "gpib0,5": talk}, o).Serve(ctx, l)
	}()
	t.Cleanup(func() { cancel(); require.NoError(t, <-ended) })
	return i, l.Addr().(*net.TCPAddr).Port
}

// Reasons why a read ends, as the standard has them: requested count,
// termination character, END, and more than one of them together.
func TestReadsEndWithTheirReasons(t *testing.T) {
	_, port := host(t, vxiserver.Options{})
	c := connect(t, port, vxi11.Core)
	k := c.link("inst0").Link
	require.Equal(t, vxi11.NoError, c.write(k, "RAW? a;bc;d", vxi11.End))
	type part struct {
		data   string
		reason int32
	}
	var got []part
	for _, a := range []vxi11.ReadParms{
		{Link: k, RequestSize: 100, Flags: vxi11.TermCharSet, TermChar: ';'},
		{Link: k, RequestSize: 1},
		{Link: k, RequestSize: 2, Flags: vxi11.TermCharSet, TermChar: ';'},
		{Link: k, RequestSize: 1},
	} {
		a.IOTimeout = 20000
		r := c.read(a)
		require.Equal(t, vxi11.NoError, r.Code)
		got = append(got, part{string(r.Data), r.Reason})
	}
	require.Equal(t, []part{{"a;", vxi11.Character}, {"b", vxi11.RequestCount}, {"c;", vxi11.Character | vxi11.RequestCount}, {"d", vxi11.RequestCount | vxi11.EndIndicator}}, got)
	require.Equal(t, vxi11.IOTimeout, c.read(vxi11.ReadParms{Link: k, RequestSize: 1, IOTimeout: 20}).Code)
}

// A message is what was written up to END, in however many writes.
func TestWritesAreJoinedUpToEND(t *testing.T) {
	i, port := host(t, vxiserver.Options{MaxReceive: 1024})
	c := connect(t, port, vxi11.Core)
	r := c.link("GPIB0,5")
	require.Equal(t, uint32(1024), r.MaxReceive)
	require.Equal(t, vxi11.NoError, c.write(r.Link, "ECHO? ", 0))
	require.Equal(t, vxi11.NoError, c.write(r.Link, "1\n", 0))
	require.Empty(t, i.Heard())
	require.Equal(t, vxi11.NoError, c.write(r.Link, "", vxi11.End))
	require.Equal(t, []string{"ECHO? 1\n"}, i.Heard())
	require.Equal(t, vxi11.ParameterError, c.write(r.Link, strings.Repeat("x", 1025), vxi11.End))
	require.Equal(t, vxi11.NoError, c.write(r.Link, "HALF OF ONE", 0))
	require.Equal(t, vxi11.NoError, c.code(vxi11.DeviceClear, &vxi11.GenericParms{Link: r.Link, IOTimeout: 1000}))
	require.Equal(t, vxi11.NoError, c.write(r.Link, "WHOLE", vxi11.End))
	require.Equal(t, []string{"ECHO? 1\n", "WHOLE"}, i.Heard())
}

// The abort channel ends what another channel waits for, with error 23.
func TestAbortEndsARead(t *testing.T) {
	i, port := host(t, vxiserver.Options{})
	c := connect(t, port, vxi11.Core)
	r := c.link("inst0")
	abort := connect(t, int(r.AbortPort), vxi11.Async)
	require.Equal(t, vxi11.NoError, abort.code(vxi11.DeviceAbort, &r.Link), "nothing under way")
	require.Equal(t, vxi11.NoError, c.write(r.Link, "SILENT?", vxi11.End))
	c.send(vxi11.DeviceRead, &vxi11.ReadParms{Link: r.Link, RequestSize: 10, IOTimeout: 3_600_000})
	var got vxi11.ReadResp
	done := make(chan struct{})
	go func() {
		defer close(done)
		r := c.reply()
		_ = oncrpc.Parse(r.Results, &got) // what it is is checked below
	}()
	for ended := false; !ended; { // the read may not have begun yet
		require.Equal(t, vxi11.NoError, abort.code(vxi11.DeviceAbort, &r.Link))
		select {
		case <-done:
			ended = true
		case <-time.After(time.Millisecond):
		}
	}
	require.Equal(t, vxi11.Aborted, got.Code)
	require.Equal(t, vxi11.NoError, c.write(r.Link, "ECHO? 1", vxi11.End))
	require.Equal(t, "1\n", string(c.read(vxi11.ReadParms{Link: r.Link, RequestSize: 10, IOTimeout: 20000}).Data))
	bad := vxi11.Link(99)
	require.Equal(t, vxi11.InvalidLink, abort.code(vxi11.DeviceAbort, &bad))
	require.Len(t, i.Heard(), 2)
}

// Errors of the standard's table, each where it belongs.
func TestErrors(t *testing.T) {
	_, port := host(t, vxiserver.Options{Links: 2})
	c, d := connect(t, port, vxi11.Core), connect(t, port, vxi11.Core)
	k, l := c.link("inst0").Link, d.link("inst0").Link
	other := vxi11.Link(99)
	require.Equal(t, vxi11.DeviceNotAccessible, c.link("inst1").Code)
	require.Equal(t, vxi11.OutOfResources, c.link("inst0").Code)
	require.Equal(t, vxi11.InvalidLink, c.write(l, "", vxi11.End), "a link of another channel")
	require.Equal(t, vxi11.InvalidLink, c.code(vxi11.DestroyLink, &other))
	require.Equal(t, vxi11.InvalidLink, c.code(vxi11.DeviceUnlock, &other))
	require.Equal(t, vxi11.InvalidLink, c.code(vxi11.DeviceEnableSRQ, &vxi11.EnableSRQParms{Link: other}))
	require.Equal(t, vxi11.ChannelNotEstablished, c.code(vxi11.DeviceEnableSRQ, &vxi11.EnableSRQParms{Link: k, Enable: true}))
	require.Equal(t, vxi11.ChannelNotEstablished, c.code(vxi11.DestroyInterruptChannel, oncrpc.None{}))
	require.Equal(t, vxi11.ParameterError, c.code(vxi11.CreateInterruptChannel, &vxi11.RemoteFunc{Port: 1 << 16}))
	require.Equal(t, vxi11.OperationNotSupported, c.code(vxi11.CreateInterruptChannel, &vxi11.RemoteFunc{Port: 1, Family: vxi11.DeviceUDP}))
	var docmd vxi11.DoCmdResp
	c.call(vxi11.DeviceDoCmd, &vxi11.DoCmdParms{Link: k}, &docmd)
	require.Equal(t, vxi11.OperationNotSupported, docmd.Code)

	require.Equal(t, vxi11.NoLockHeld, c.code(vxi11.DeviceUnlock, &k))
	require.Equal(t, vxi11.NoError, c.code(vxi11.DeviceLock, &vxi11.LockParms{Link: k}))
	require.Equal(t, vxi11.LockedByAnotherLink, d.code(vxi11.DeviceLock, &vxi11.LockParms{Link: l, Flags: vxi11.WaitLock, LockTimeout: 20}))
	for _, procedure := range []uint32{vxi11.DeviceTrigger, vxi11.DeviceClear, vxi11.DeviceRemote, vxi11.DeviceLocal} {
		require.Equal(t, vxi11.LockedByAnotherLink, d.code(procedure, &vxi11.GenericParms{Link: l, IOTimeout: 20}))
	}
	require.Equal(t, vxi11.LockedByAnotherLink, d.write(l, "A", vxi11.End))
	require.NoError(t, c.conn.Close(), "the holder leaves")
	require.Eventually(t, func() bool {
		return d.code(vxi11.DeviceLock, &vxi11.LockParms{Link: l, Flags: vxi11.WaitLock, LockTimeout: 1000}) == vxi11.NoError
	}, 20*time.Second, time.Millisecond)
}

// What is no call of this program is answered as RFC 5531 has it.
func TestCallsOfOtherPrograms(t *testing.T) {
	_, port := host(t, vxiserver.Options{})
	status := func(program, version, procedure uint32, args oncrpc.Message) oncrpc.Reply {
		c := connect(t, port, program)
		c.version = version
		c.send(procedure, args)
		return c.reply()
	}
	require.Equal(t, oncrpc.Success, status(vxi11.Core, 1, 0, oncrpc.None{}).Status)
	require.Equal(t, oncrpc.ProgramUnavailable, status(vxi11.Async, 1, 1, oncrpc.None{}).Status)
	require.Equal(t, oncrpc.ProcedureUnavailable, status(vxi11.Core, 1, 21, oncrpc.None{}).Status)
	require.Equal(t, oncrpc.GarbageArguments, status(vxi11.Core, 1, vxi11.DeviceRead, oncrpc.None{}).Status)
	r := status(vxi11.Core, 2, vxi11.CreateLink, oncrpc.None{})
	require.Equal(t, []uint32{uint32(oncrpc.ProgramMismatch), 1, 1}, []uint32{uint32(r.Status), r.Low, r.High})

	c := connect(t, port, vxi11.Core)
	b := oncrpc.Append(make([]byte, oncrpc.MarkSize), &oncrpc.Call{XID: 1, RPCVersion: 3})
	c.xid = 1
	_, err := c.conn.Write(oncrpc.Mark(b))
	require.NoError(t, err)
	r = c.reply()
	require.Equal(t, []uint32{uint32(oncrpc.RPCMismatch), 2, 2}, []uint32{uint32(r.Status), r.Low, r.High})

	_, err = c.conn.Write([]byte("*IDN?\n\x80\x00\x00\x00"))
	require.NoError(t, err)
	require.NoError(t, c.conn.SetReadDeadline(time.Now().Add(20*time.Second)))
	_, err = c.conn.Read(make([]byte, 1))
	require.Error(t, err, "what is no RPC is not answered")
	require.NotErrorIs(t, err, context.DeadlineExceeded)
}

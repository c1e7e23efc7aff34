package vxiserver

import (
	"context"
	"encoding/binary"
	"io"
	"net"
	"strconv"
	"sync"
	"time"

	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
	"bandproof/drivers/virtual"
)

// connectTime is how long a client's interrupt server may take to answer.
const connectTime = 2 * time.Second

// interrupt is the interrupt channel to one client: calls without replies.
type interrupt struct {
	conn    net.Conn
	program uint32
	version uint32
	reading sync.WaitGroup

	mutex sync.Mutex
	xid   uint32
}

func (c *channel) createInterrupt(ctx context.Context, a vxi11.RemoteFunc) oncrpc.Message {
	switch {
	case c.srq != nil:
		return &vxi11.Error{Code: vxi11.ChannelAlreadyEstablished}
	case a.Family != vxi11.DeviceTCP:
		return &vxi11.Error{Code: vxi11.OperationNotSupported}
	case a.Port == 0 || a.Port > 65535:
		return &vxi11.Error{Code: vxi11.ParameterError}
	}
	host := net.IP(binary.BigEndian.AppendUint32(nil, a.Host)).String()
	dialer := net.Dialer{Timeout: connectTime}
	conn, err := dialer.DialContext(ctx, "tcp", net.JoinHostPort(host, strconv.FormatUint(uint64(a.Port), 10)))
	if err != nil {
		c.host.options.Log.Debug("interrupt channel", "error", err)
		return &vxi11.Error{Code: vxi11.ChannelNotEstablished}
	}
	c.srq = &interrupt{conn: conn, program: a.Program, version: a.Version}
	// Replies are not wanted, but some clients send them.
	c.srq.reading.Go(func() { _, _ = io.Copy(io.Discard, conn) })
	return &vxi11.Error{}
}

func (c *channel) destroyInterrupt() oncrpc.Message {
	if c.srq == nil {
		return &vxi11.Error{Code: vxi11.ChannelNotEstablished}
	}
	for _, k := range c.links {
		k.watch.stop()
		k.watch = nil
	}
	c.srq.close()
	c.srq = nil
	return &vxi11.Error{}
}

// close ends the channel; nil has none.
func (i *interrupt) close() {
	if i == nil {
		return
	}
	_ = i.conn.Close() // the client may have left
	i.reading.Wait()
}

// tell sends a request for service.
func (i *interrupt) tell(handle []byte) error {
	i.mutex.Lock()
	defer i.mutex.Unlock()
	i.xid++
	b := oncrpc.AppendCall(make([]byte, oncrpc.MarkSize), i.xid, i.program, i.version, vxi11.InterruptSRQ, &vxi11.SRQParms{Handle: handle})
	if err := i.conn.SetWriteDeadline(time.Now().Add(connectTime)); err != nil {
		return err
	}
	_, err := i.conn.Write(oncrpc.Mark(b))
	return err
}

func (c *channel) enableSRQ(a vxi11.EnableSRQParms) oncrpc.Message {
	k := c.links[a.Link]
	switch {
	case k == nil:
		return &vxi11.Error{Code: vxi11.InvalidLink}
	case a.Enable && c.srq == nil:
		return &vxi11.Error{Code: vxi11.ChannelNotEstablished}
	}
	k.watch.stop()
	k.watch = nil
	if a.Enable {
		k.watch = watchService(k.talk, func() error { return c.srq.tell(a.Handle) })
	}
	return &vxi11.Error{}
}

// watch tells of a link's requests for service.
type watch struct {
	end  chan struct{}
	over sync.WaitGroup
}

// Every look is this long after the last.
const lookEvery = 2 * time.Millisecond

// requested is the bit of the status byte (RQS, IEEE 488.1).
const requested = 1 << 6

// watchService calls tell each time when the instrument begins to ask.
func watchService(talk virtual.Conversation, tell func() error) *watch {
	w := &watch{end: make(chan struct{})}
	w.over.Go(func() {
		ticker := time.NewTicker(lookEvery)
		defer ticker.Stop()
		asked := false
		for {
			asks := talk.StatusByte()&requested != 0
			if asks && !asked && tell() != nil {
				return // nobody listens any more
			}
			asked = asks
			select {
			case <-ticker.C:
			case <-w.end:
				return
			}
		}
	})
	return w
}

func (w *watch) stop() {
	if w == nil {
		return
	}
	close(w.end)
	w.over.Wait()
}

package vxiserver

import (
	"context"
	"net"
	"strings"

	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
)

// channel is one client's core connection with its links.
type channel struct {
	host  *Host
	links map[vxi11.Link]*link
	srq   *interrupt
}

// serveCore answers the core channel of one client; its links end with it.
func (h *Host) serveCore(ctx context.Context, conn net.Conn) {
	c := &channel{host: h, links: map[vxi11.Link]*link{}}
	why := serveCalls(ctx, conn, vxi11.Core, vxi11.Version, h.options.MaxReceive+replyRoom, c.handle)
	for _, k := range c.links {
		c.drop(k)
	}
	c.srq.close()
	h.left("core", conn, why)
}

// on runs an operation with its arguments read.
func on[A any, P interface {
	*A
	oncrpc.Message
}](c oncrpc.Call, do func(args A) oncrpc.Message) (oncrpc.Message, oncrpc.Status) {
	var args A
	if oncrpc.Parse(c.Args, P(&args)) != nil {
		return nil, oncrpc.GarbageArguments
	}
	return do(args), oncrpc.Success
}

func (c *channel) handle(ctx context.Context, call oncrpc.Call) (oncrpc.Message, oncrpc.Status) {
	switch call.Procedure {
	case vxi11.CreateLink:
		return on(call, func(a vxi11.CreateLinkParms) oncrpc.Message { return c.create(ctx, a) })
	case vxi11.DeviceWrite:
		return on(call, func(a vxi11.WriteParms) oncrpc.Message { return c.write(ctx, a) })
	case vxi11.DeviceRead:
		return on(call, func(a vxi11.ReadParms) oncrpc.Message { return c.read(ctx, a) })
	case vxi11.DeviceReadSTB:
		return on(call, func(a vxi11.GenericParms) oncrpc.Message {
			var r vxi11.ReadSTBResp
			r.Code = c.generic(ctx, a, func(k *link) { r.Status = k.talk.StatusByte() })
			return &r
		})
	case vxi11.DeviceTrigger:
		return c.simple(ctx, call, func(k *link) { k.talk.Trigger() })
	case vxi11.DeviceClear:
		return c.simple(ctx, call, (*link).clear)
	case vxi11.DeviceRemote:
		return c.simple(ctx, call, func(k *link) { k.talk.Remote(true) })
	case vxi11.DeviceLocal:
		return c.simple(ctx, call, func(k *link) { k.talk.Remote(false) })
	case vxi11.DeviceLock:
		return on(call, func(a vxi11.LockParms) oncrpc.Message { return c.lock(ctx, a) })
	case vxi11.DeviceUnlock:
		return on(call, func(a vxi11.Link) oncrpc.Message { return c.unlock(a) })
	case vxi11.DestroyLink:
		return on(call, func(a vxi11.Link) oncrpc.Message { return c.destroy(a) })
	case vxi11.DeviceEnableSRQ:
		return on(call, func(a vxi11.EnableSRQParms) oncrpc.Message { return c.enableSRQ(a) })
	case vxi11.CreateInterruptChannel:
		return on(call, func(a vxi11.RemoteFunc) oncrpc.Message { return c.createInterrupt(ctx, a) })
	case vxi11.DestroyInterruptChannel:
		return c.destroyInterrupt(), oncrpc.Success
	case vxi11.DeviceDoCmd:
		return on(call, func(vxi11.DoCmdParms) oncrpc.Message {
			return &vxi11.DoCmdResp{Error: vxi11.Error{Code: vxi11.OperationNotSupported}}
		})
	}
	return nil, oncrpc.ProcedureUnavailable
}

// simple is an operation that has nothing but a link and times.
func (c *channel) simple(ctx context.Context, call oncrpc.Call, do func(k *link)) (oncrpc.Message, oncrpc.Status) {
	return on(call, func(a vxi11.GenericParms) oncrpc.Message { return &vxi11.Error{Code: c.generic(ctx, a, do)} })
}

func (c *channel) generic(ctx context.Context, a vxi11.GenericParms, do func(k *link)) vxi11.Code {
	return c.operate(ctx, a.Link, a.Flags, a.LockTimeout, a.IOTimeout, func(_ context.Context, k *link) vxi11.Code {
		do(k)
		return vxi11.NoError
	})
}

// create makes a link to a device.
func (c *channel) create(ctx context.Context, a vxi11.CreateLinkParms) oncrpc.Message {
	h := c.host
	failed := func(code vxi11.Code) oncrpc.Message { return &vxi11.CreateLinkResp{Error: vxi11.Error{Code: code}} }
	d := h.devices[strings.ToLower(a.Device)]
	if d == nil {
		return failed(vxi11.DeviceNotAccessible)
	}
	k := &link{device: d}
	if a.Lock {
		if code := d.take(ctx, k, milliseconds(a.LockTimeout)); code != vxi11.NoError {
			return failed(code)
		}
	}
	h.mutex.Lock()
	full := len(h.links) >= h.options.Links
	h.mutex.Unlock()
	var err error
	if !full {
		k.talk, err = d.talk()
	}
	if full || err != nil {
		h.options.Log.Debug("no link", "device", d.name, "error", err)
		d.release(k)
		return failed(vxi11.OutOfResources)
	}
	h.mutex.Lock()
	h.last++
	k.id = h.last
	h.links[k.id] = k
	h.mutex.Unlock()
	c.links[k.id] = k
	return &vxi11.CreateLinkResp{Link: k.id, AbortPort: uint16(h.abortPort), MaxReceive: uint32(h.options.MaxReceive)}
}

func (c *channel) destroy(id vxi11.Link) oncrpc.Message {
	k := c.links[id]
	if k == nil {
		return &vxi11.Error{Code: vxi11.InvalidLink}
	}
	c.drop(k)
	return &vxi11.Error{}
}

// drop ends a link and gives back what it holds.
func (c *channel) drop(k *link) {
	delete(c.links, k.id)
	c.host.mutex.Lock()
	delete(c.host.links, k.id)
	c.host.mutex.Unlock()
	k.watch.stop()
	k.talk.Close()
	k.device.release(k)
}

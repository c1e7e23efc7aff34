package vxiserver

import (
	"bytes"
	"context"
	"sync"
	"time"

	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
	"bandproof/drivers/virtual"
)

// mostMessage bounds a program message in bytes.
const mostMessage = 16 << 20

// link is one link; but for abort it is used by its channel alone.
type link struct {
	id     vxi11.Link
	device *device
	talk   virtual.Conversation
	in     []byte // of a message whose END has not come
	out    []byte // taken from the instrument and not yet asked for
	outEnd bool   // END goes with the last byte of out
	watch  *watch

	mutex  sync.Mutex
	cancel context.CancelFunc // of the operation under way
}

func milliseconds(n uint32) time.Duration { return time.Duration(n) * time.Millisecond }

// abort ends the operation under way; where there is none it does nothing.
func (k *link) abort() {
	k.mutex.Lock()
	defer k.mutex.Unlock()
	if k.cancel != nil {
		k.cancel()
	}
}

// operate runs an operation on a link whose device is not locked by another,
// for as long as its time lasts.
func (c *channel) operate(ctx context.Context, id vxi11.Link, flags int32, lockTime, ioTime uint32, do func(ctx context.Context, k *link) vxi11.Code) vxi11.Code {
	k := c.links[id]
	if k == nil {
		return vxi11.InvalidLink
	}
	outer := ctx
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	k.mutex.Lock()
	k.cancel = cancel
	k.mutex.Unlock()
	defer func() {
		k.mutex.Lock()
		k.cancel = nil
		k.mutex.Unlock()
	}()
	wait := time.Duration(0)
	if flags&vxi11.WaitLock != 0 {
		wait = milliseconds(lockTime)
	}
	code := k.device.pass(ctx, k, wait)
	if code == vxi11.NoError {
		limited, done := context.WithTimeout(ctx, milliseconds(ioTime))
		code = do(limited, k)
		done()
	}
	if code != vxi11.NoError && ctx.Err() != nil && outer.Err() == nil {
		return vxi11.Aborted
	}
	return code
}

func (c *channel) write(ctx context.Context, a vxi11.WriteParms) oncrpc.Message {
	var r vxi11.WriteResp
	if len(a.Data) > c.host.options.MaxReceive {
		r.Code = vxi11.ParameterError
		return &r
	}
	r.Code = c.operate(ctx, a.Link, a.Flags, a.LockTimeout, a.IOTimeout, func(_ context.Context, k *link) vxi11.Code {
		if len(k.in)+len(a.Data) > mostMessage {
			return vxi11.OutOfResources
		}
		k.in = append(k.in, a.Data...)
		if a.Flags&vxi11.End != 0 {
			k.drop() // the rest of an earlier response gives way
			k.talk.Receive(k.in)
			k.in = nil
		}
		r.Size = uint32(len(a.Data))
		return vxi11.NoError
	})
	return &r
}

func (c *channel) read(ctx context.Context, a vxi11.ReadParms) oncrpc.Message {
	var r vxi11.ReadResp
	most := int(min(a.RequestSize, mostMessage))
	r.Code = c.operate(ctx, a.Link, a.Flags, a.LockTimeout, a.IOTimeout, func(ctx context.Context, k *link) vxi11.Code {
		for {
			r.Data, r.Reason = k.give(r.Data, most, a)
			if r.Reason != 0 {
				return vxi11.NoError
			}
			part, end, err := k.talk.Send(ctx, most-len(r.Data))
			switch {
			case err != nil && ctx.Err() == nil:
				return vxi11.IOError // the instrument is gone
			case err != nil:
				return vxi11.IOTimeout
			}
			k.out, k.outEnd = part, end
			if len(part) == 0 && end {
				r.Reason = vxi11.EndIndicator
				k.drop()
				return vxi11.NoError
			}
		}
	})
	return &r
}

// give moves what is there behind data, as far as the read wants it, and says
// why the read has ended, if so.
func (k *link) give(data []byte, most int, a vxi11.ReadParms) ([]byte, int32) {
	n := min(len(k.out), most-len(data))
	var reason int32
	if a.Flags&vxi11.TermCharSet != 0 {
		if at := bytes.IndexByte(k.out[:n], a.TermChar); at >= 0 {
			n, reason = at+1, vxi11.Character
		}
	}
	data = append(data, k.out[:n]...)
	if k.out = k.out[n:]; len(k.out) == 0 && n > 0 && k.outEnd {
		reason |= vxi11.EndIndicator
		k.drop()
	}
	if len(data) == most {
		reason |= vxi11.RequestCount
	}
	return data, reason
}

func (k *link) drop() { k.out, k.outEnd = nil, false }

// clear is the device clear.
func (k *link) clear() {
	k.in = nil
	k.drop()
	k.talk.Clear()
}

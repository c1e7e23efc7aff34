package vxiserver

import (
	"context"
	"time"

	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
)

// pass lets an operation through where no other link holds the lock, or gives
// it back in time.
func (d *device) pass(ctx context.Context, k *link, wait time.Duration) vxi11.Code {
	return d.await(ctx, k, wait, func() {})
}

// take takes the lock.
func (d *device) take(ctx context.Context, k *link, wait time.Duration) vxi11.Code {
	return d.await(ctx, k, wait, func() { d.holder = k })
}

func (d *device) await(ctx context.Context, k *link, wait time.Duration, then func()) vxi11.Code {
	ctx, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	for {
		d.mutex.Lock()
		if d.holder == nil || d.holder == k {
			then()
			d.mutex.Unlock()
			return vxi11.NoError
		}
		freed := d.freed
		d.mutex.Unlock()
		select {
		case <-freed:
		case <-ctx.Done():
			return vxi11.LockedByAnotherLink
		}
	}
}

// release gives the lock back, and tells whether the link had it.
func (d *device) release(k *link) bool {
	d.mutex.Lock()
	defer d.mutex.Unlock()
	if d.holder != k {
		return false
	}
	d.holder = nil
	close(d.freed)
	d.freed = make(chan struct{})
	return true
}

func (c *channel) lock(ctx context.Context, a vxi11.LockParms) oncrpc.Message {
	code := c.operate(ctx, a.Link, a.Flags, a.LockTimeout, 0, func(_ context.Context, k *link) vxi11.Code {
		return k.device.take(ctx, k, 0)
	})
	return &vxi11.Error{Code: code}
}

func (c *channel) unlock(id vxi11.Link) oncrpc.Message {
	k := c.links[id]
	switch {
	case k == nil:
		return &vxi11.Error{Code: vxi11.InvalidLink}
	case !k.device.release(k):
		return &vxi11.Error{Code: vxi11.NoLockHeld}
	}
	return &vxi11.Error{}
}

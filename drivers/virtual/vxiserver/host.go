package vxiserver

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"

	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
	"bandproof/drivers/virtual"
)

// Options are how a host behaves. The zero value is ready for use.
type Options struct {
	// MaxReceive is how many bytes a write may carry; 0 is 64 KiB.
	MaxReceive int
	// Links is how many links there may be at a time; 0 is 64.
	Links int
	Log   *slog.Logger // nil: nothing is logged
}

// Host is a machine in the network with devices on it.
type Host struct {
	options   Options
	devices   map[string]*device
	abortPort int

	mutex sync.Mutex
	links map[vxi11.Link]*link
	last  vxi11.Link
}

// device is one instrument with its lock.
type device struct {
	name string
	talk func() (virtual.Conversation, error)

	mutex  sync.Mutex
	holder *link         // of the lock
	freed  chan struct{} // closed when the lock is given back
}

// New makes a host of devices: each name, such as inst0, with what begins a
// conversation.
func New(devices map[string]func() (virtual.Conversation, error), o Options) *Host {
	if o.MaxReceive <= 0 {
		o.MaxReceive = 64 << 10
	}
	if o.Links <= 0 {
		o.Links = 64
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	h := &Host{options: o, devices: map[string]*device{}, links: map[vxi11.Link]*link{}}
	for name, talk := range devices {
		h.devices[name] = &device{name: name, talk: talk, freed: make(chan struct{})}
	}
	return h
}

// Serve serves the core channel on a listener, and the abort channel on
// another port of the same address, until the context ends. It closes the
// listener and returns when everything has ended. Call it once.
func (h *Host) Serve(ctx context.Context, core net.Listener) error {
	here, _, err := net.SplitHostPort(core.Addr().String())
	if err != nil {
		return errors.Join(err, core.Close())
	}
	abort, err := (&net.ListenConfig{}).Listen(ctx, "tcp", net.JoinHostPort(here, "0"))
	if err != nil {
		return errors.Join(fmt.Errorf("abort channel: %w", err), core.Close())
	}
	h.abortPort = abort.Addr().(*net.TCPAddr).Port
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var serving sync.WaitGroup
	var aborting error
	serving.Go(func() {
		defer cancel()
		aborting = listen(ctx, abort, func(ctx context.Context, conn net.Conn) { h.serveAbort(ctx, conn) })
	})
	err = listen(ctx, core, func(ctx context.Context, conn net.Conn) { h.serveCore(ctx, conn) })
	cancel()
	serving.Wait()
	return errors.Join(err, aborting)
}

// listen serves each connection until the context ends, and waits for them.
func listen(ctx context.Context, l net.Listener, serve func(ctx context.Context, conn net.Conn)) error {
	var sessions sync.WaitGroup
	defer sessions.Wait()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stop := context.AfterFunc(ctx, func() { _ = l.Close() })
	defer stop()
	for {
		conn, err := l.Accept()
		switch {
		case err != nil && ctx.Err() != nil:
			return nil
		case err != nil:
			return errors.Join(fmt.Errorf("accept on %s: %w", l.Addr(), err), l.Close())
		}
		sessions.Go(func() { serve(ctx, conn) })
	}
}

// serveAbort answers the abort channel.
func (h *Host) serveAbort(ctx context.Context, conn net.Conn) {
	h.left("abort", conn, serveCalls(ctx, conn, vxi11.Async, vxi11.Version, replyRoom, func(_ context.Context, c oncrpc.Call) (oncrpc.Message, oncrpc.Status) {
		if c.Procedure != vxi11.DeviceAbort {
			return nil, oncrpc.ProcedureUnavailable
		}
		var id vxi11.Link
		if oncrpc.Parse(c.Args, &id) != nil {
			return nil, oncrpc.GarbageArguments
		}
		k := h.find(id)
		if k == nil {
			return &vxi11.Error{Code: vxi11.InvalidLink}, oncrpc.Success
		}
		k.abort()
		return &vxi11.Error{}, oncrpc.Success
	}))
}

func (h *Host) left(channel string, conn net.Conn, why error) {
	h.options.Log.Debug("client left", "channel", channel, "client", conn.RemoteAddr().String(), "reason", why)
}

func (h *Host) find(id vxi11.Link) *link {
	h.mutex.Lock()
	defer h.mutex.Unlock()
	return h.links[id]
}

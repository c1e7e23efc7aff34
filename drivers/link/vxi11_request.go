package link

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"sync"

	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
)

// serviceRequests opens the interrupt channel: the instrument connects to this
// machine and tells when it asks for service.
func (v *vxi) serviceRequests(ctx context.Context) (<-chan struct{}, error) {
	if v.requests != nil {
		return v.requests.out, nil
	}
	here, ok := v.core.conn.LocalAddr().(*net.TCPAddr)
	if !ok || here.IP.To4() == nil {
		return nil, &Error{Kind: errors.ErrUnsupported, Err: fmt.Errorf("interrupt channels exist over IPv4 only, and this end is %s", v.core.conn.LocalAddr())}
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp4", net.JoinHostPort(here.IP.String(), "0"))
	if err != nil {
		return nil, err
	}
	r := takeRequests(l)
	if err := v.enable(ctx, here.IP.To4(), r); err != nil {
		return nil, errors.Join(err, r.close())
	}
	v.requests = r
	return r.out, nil
}

func (v *vxi) enable(ctx context.Context, here net.IP, r *requests) error {
	where := vxi11.RemoteFunc{Host: binary.BigEndian.Uint32(here), Port: uint32(r.listener.Addr().(*net.TCPAddr).Port),
		Program: vxi11.Interrupt, Version: vxi11.Version, Family: vxi11.DeviceTCP}
	var got vxi11.Error
	if err := v.core.call(ctx, vxi11.CreateInterruptChannel, &where, &got, 0); err != nil {
		return err
	}
	if err := mean(got.Code); err != nil {
		return err
	}
	on := vxi11.EnableSRQParms{Link: v.link, Enable: true, Handle: r.handle}
	if err := v.core.call(ctx, vxi11.DeviceEnableSRQ, &on, &got, 0); err != nil {
		return err
	}
	return mean(got.Code)
}

// disable ends what enable began; the instrument may be beyond caring.
func (v *vxi) disable(ctx context.Context) {
	off := vxi11.EnableSRQParms{Link: v.link}
	var got, gone vxi11.Error
	err := v.core.call(ctx, vxi11.DeviceEnableSRQ, &off, &got, 0)
	if err == nil {
		err = v.core.call(ctx, vxi11.DestroyInterruptChannel, oncrpc.None{}, &gone, 0)
	}
	if err != nil || got.Code != 0 || gone.Code != 0 {
		v.opener.Log.Debug("end of the interrupt channel", "host", v.host, "error", errors.Join(err, got.Code.Err(), gone.Code.Err()))
	}
}

// requests takes requests for service until it is closed.
type requests struct {
	listener net.Listener
	handle   []byte
	out      chan struct{} // one request stands for all that nobody has taken yet
	life     context.Context
	end      context.CancelFunc
	serving  sync.WaitGroup
	closing  sync.Once
}

// mostCallers is how many connections are served at once: an instrument makes one.
const mostCallers = 8

func takeRequests(l net.Listener) *requests {
	r := &requests{listener: l, handle: []byte("bandproof"), out: make(chan struct{}, 1)}
	r.life, r.end = context.WithCancel(context.Background())
	r.serving.Go(func() {
		room := make(chan struct{}, mostCallers)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			select {
			case room <- struct{}{}:
				r.serving.Go(func() { r.serve(conn); <-room })
			default:
				_ = conn.Close()
			}
		}
	})
	return r
}

// serve takes the calls of one connection of the instrument. They are one-way;
// the reply is for instruments that wait for one all the same.
func (r *requests) serve(conn net.Conn) {
	defer func() { _ = conn.Close() }()
	stop := context.AfterFunc(r.life, func() { _ = conn.Close() })
	defer stop()
	var records oncrpc.Records
	for {
		record, err := records.Next(conn, replyRoom)
		if err != nil {
			return
		}
		call, err := oncrpc.ParseCall(record)
		if err != nil || !call.KnownVersion() || call.Program != vxi11.Interrupt {
			return
		}
		if call.Procedure == vxi11.InterruptSRQ {
			var args vxi11.SRQParms
			if err := oncrpc.Parse(call.Args, &args); err != nil || string(args.Handle) != string(r.handle) {
				continue
			}
			select {
			case r.out <- struct{}{}:
			default:
			}
		}
		if _, err := conn.Write(oncrpc.Mark(oncrpc.AppendReply(make([]byte, oncrpc.MarkSize), call.XID, oncrpc.None{}))); err != nil {
			return
		}
	}
}

// close waits for all that was begun, and tells the reader of the channel.
func (r *requests) close() (err error) {
	r.closing.Do(func() {
		r.end()
		err = r.listener.Close()
		r.serving.Wait()
		close(r.out)
	})
	return err
}

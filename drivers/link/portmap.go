package link

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"strconv"
	"time"

	"bandproof/drivers/link/oncrpc"
)

// portOf asks the portmapper of a host for the TCP port of a program, over TCP
// and, where nothing listens there, over UDP.
func (o Opener) portOf(ctx context.Context, host string, program, version uint32) (int, error) {
	at := net.JoinHostPort(host, strconv.Itoa(oncrpc.PortmapPort))
	question := &oncrpc.Mapping{Program: program, Version: version, Protocol: oncrpc.TCP}
	port, err := o.portOverTCP(ctx, at, question)
	if err != nil && ctx.Err() == nil {
		var overUDP error
		if port, overUDP = o.portOverUDP(ctx, at, question); overUDP == nil {
			err = nil
		}
	}
	switch {
	case err != nil && ctx.Err() != nil:
		return 0, err
	case err != nil:
		return 0, &Error{Kind: ErrDisconnected, Err: fmt.Errorf("portmapper at %s: %w; an instrument that has none needs its port in the address: TCPIP0::%s,PORT::inst0::INSTR", at, err, host)}
	case port == 0:
		return 0, &Error{Kind: ErrDisconnected, Err: fmt.Errorf("the portmapper at %s knows no program %d version %d; is VXI-11 switched on in the instrument?", at, program, version)}
	}
	return int(port), nil
}

func (o Opener) portOverTCP(ctx context.Context, at string, question *oncrpc.Mapping) (port oncrpc.Port, err error) {
	conn, err := o.dial(ctx, "tcp", at)
	if err != nil {
		return 0, err
	}
	c := newCaller(conn, oncrpc.PortmapProgram, oncrpc.PortmapVersion)
	defer func() { _ = c.close() }() // the answer is there
	err = c.call(ctx, oncrpc.PortmapGetPort, question, &port, 0)
	return port, err
}

// resend is how long is waited for a datagram that may be lost.
const resend = 500 * time.Millisecond

func (o Opener) portOverUDP(ctx context.Context, at string, question *oncrpc.Mapping) (oncrpc.Port, error) {
	conn, err := o.dial(ctx, "udp", at)
	if err != nil {
		return 0, err
	}
	defer func() { _ = conn.Close() }()
	stop := context.AfterFunc(ctx, func() { _ = conn.Close() })
	defer stop()
	xid := rand.Uint32()
	call := oncrpc.AppendCall(nil, xid, oncrpc.PortmapProgram, oncrpc.PortmapVersion, oncrpc.PortmapGetPort, question)
	for range 3 {
		if _, err = conn.Write(call); err != nil {
			return 0, err
		}
		var port oncrpc.Port
		if port, err = datagramPort(conn, xid); err == nil || !isTimeout(err) {
			return port, err
		}
	}
	return 0, errors.Join(errors.New("no answer over UDP"), err)
}

// datagramPort waits for the reply of this number; others are of earlier calls.
func datagramPort(conn net.Conn, xid uint32) (port oncrpc.Port, err error) {
	if err := conn.SetReadDeadline(time.Now().Add(resend)); err != nil {
		return 0, err
	}
	datagram := make([]byte, 2048)
	for {
		n, err := conn.Read(datagram)
		if err != nil {
			return 0, err
		}
		reply, err := oncrpc.ParseReply(datagram[:n])
		switch {
		case err != nil || reply.XID != xid:
			continue
		case reply.Status != oncrpc.Success:
			return 0, refused(reply)
		}
		return port, oncrpc.Parse(reply.Results, &port)
	}
}

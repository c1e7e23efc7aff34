package vxiserver

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"sync"

	"bandproof/drivers/link/oncrpc"
)

// Portmapper tells where programs are found. Nobody can register by a call.
type Portmapper struct{ Mappings oncrpc.Mappings }

// Serve answers over TCP and UDP, either of which may be nil, until the context
// ends; it closes both.
func (p Portmapper) Serve(ctx context.Context, tcp net.Listener, udp net.PacketConn) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var serving sync.WaitGroup
	var overTCP, overUDP error
	if tcp != nil {
		serving.Go(func() {
			defer cancel()
			overTCP = listen(ctx, tcp, func(ctx context.Context, conn net.Conn) {
				_ = serveCalls(ctx, conn, oncrpc.PortmapProgram, oncrpc.PortmapVersion, replyRoom, p.handle) // why a client leaves is its own business
			})
		})
	}
	if udp != nil {
		serving.Go(func() {
			defer cancel()
			overUDP = p.serveUDP(ctx, udp)
		})
	}
	serving.Wait()
	return errors.Join(overTCP, overUDP)
}

func (p Portmapper) serveUDP(ctx context.Context, conn net.PacketConn) error {
	stop := context.AfterFunc(ctx, func() { _ = conn.Close() })
	defer stop()
	datagram := make([]byte, 2048)
	for {
		n, from, err := conn.ReadFrom(datagram)
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			if errors.Is(err, net.ErrClosed) {
				return fmt.Errorf("portmapper: %w", err)
			}
			continue // what the network says of a client that is gone
		}
		call, err := oncrpc.ParseCall(datagram[:n])
		if err != nil {
			continue
		}
		_, _ = conn.WriteTo(answer(ctx, nil, call, oncrpc.PortmapProgram, oncrpc.PortmapVersion, p.handle), from) // datagrams may be lost
	}
}

func (p Portmapper) handle(_ context.Context, c oncrpc.Call) (oncrpc.Message, oncrpc.Status) {
	switch c.Procedure {
	case oncrpc.PortmapGetPort:
		return on(c, func(m oncrpc.Mapping) oncrpc.Message {
			port := p.port(m)
			return &port
		})
	case oncrpc.PortmapDump:
		list := slices.Clone(p.Mappings)
		return &list, oncrpc.Success
	case oncrpc.PortmapSet, oncrpc.PortmapUnset:
		return new(oncrpc.Done), oncrpc.Success // false: not done
	}
	return nil, oncrpc.ProcedureUnavailable
}

// port finds a program; 0 is the answer where it is not there.
func (p Portmapper) port(question oncrpc.Mapping) oncrpc.Port {
	for _, m := range p.Mappings {
		if m.Program == question.Program && m.Version == question.Version && m.Protocol == question.Protocol {
			return oncrpc.Port(m.Port)
		}
	}
	return 0
}

package link

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"slices"
	"strconv"
	"time"

	"bandproof/drivers/link/oncrpc"
)

// vxi11Program is the core channel's (VXI-11, table B.1, from memory).
const vxi11Program, vxi11Version = 0x0607AF, 1

// mostHosts bounds what answers to a broadcast, which anybody can send, can make
// this program keep and ask.
const mostHosts = 500

// AskVXI11 asks all portmappers that a broadcast reaches whether they have a
// VXI-11 core channel, and returns the IP addresses of those that have, in the
// order in which they answered. to are HOST:PORT of UDP; nil is the broadcast
// address of each network of this machine. It listens for so long, or until the
// context ends.
func AskVXI11(ctx context.Context, to []string, listen time.Duration) (hosts []string, err error) {
	if to == nil {
		if to, err = broadcastAddresses(); err != nil || len(to) == 0 {
			return nil, err
		}
	}
	ctx, cancel := context.WithTimeout(ctx, listen)
	defer cancel()
	conn, err := (&net.ListenConfig{}).ListenPacket(ctx, "udp4", ":0")
	if ctx.Err() != nil {
		if err == nil {
			_ = conn.Close()
		}
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("ask for VXI-11: %w", err)
	}
	defer func() { _ = conn.Close() }()
	stop := context.AfterFunc(ctx, func() { _ = conn.Close() })
	defer stop()
	xid := rand.Uint32()
	question := oncrpc.AppendCall(nil, xid, oncrpc.PortmapProgram, oncrpc.PortmapVersion, oncrpc.PortmapGetPort,
		&oncrpc.Mapping{Program: vxi11Program, Version: vxi11Version, Protocol: oncrpc.TCP})
	var errs []error
	for _, a := range to {
		at, err := net.ResolveUDPAddr("udp4", a)
		if err == nil {
			_, err = conn.WriteTo(question, at)
		}
		if err != nil && ctx.Err() == nil {
			errs = append(errs, fmt.Errorf("ask %s for VXI-11: %w", a, err))
		}
	}
	answer := make([]byte, 2048)
	for {
		n, from, err := conn.ReadFrom(answer)
		if err != nil {
			if ctx.Err() == nil {
				errs = append(errs, fmt.Errorf("ask for VXI-11: %w", err))
			}
			return hosts, errors.Join(errs...)
		}
		host, _, err := net.SplitHostPort(from.String())
		if err == nil && len(hosts) < mostHosts && hasVXI11(answer[:n], xid) && !slices.Contains(hosts, host) {
			hosts = append(hosts, host)
		}
	}
}

// hasVXI11 reads one answer; anything else that comes is passed over.
func hasVXI11(answer []byte, xid uint32) bool {
	r, err := oncrpc.ParseReply(answer)
	if err != nil || r.XID != xid || r.Status != oncrpc.Success {
		return false
	}
	var port oncrpc.Port
	return oncrpc.Parse(r.Results, &port) == nil && port != 0
}

// broadcastAddresses are those of all IPv4 networks of this machine.
func broadcastAddresses() ([]string, error) {
	ifaces, err := net.Interfaces()
	if err != nil {
		return nil, fmt.Errorf("list the network interfaces: %w", err)
	}
	var list []string
	for _, i := range ifaces {
		if i.Flags&net.FlagUp == 0 || i.Flags&net.FlagBroadcast == 0 {
			continue
		}
		addresses, err := i.Addrs()
		if err != nil {
			continue // the interface has gone meanwhile
		}
		for _, a := range addresses {
			if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && len(n.Mask) == net.IPv4len {
				list = append(list, net.JoinHostPort(broadcastOf(n).String(), strconv.Itoa(oncrpc.PortmapPort)))
			}
		}
	}
	return list, nil
}

// broadcastOf is the last address of a network.
func broadcastOf(n *net.IPNet) net.IP {
	last := slices.Clone(n.IP.To4())
	for k := range last {
		last[k] |= ^n.Mask[k]
	}
	return last
}

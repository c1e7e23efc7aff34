package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"regexp"
	"strings"

	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"
	"bandproof/drivers/virtual"
	"bandproof/drivers/virtual/vxiserver"
)

var deviceName = regexp.MustCompile(`^[a-z]+[0-9]+(,[0-9]+){0,2}$`)

// vxiPlace reads HOST:PORT[,DEVICE].
func (h hosts) vxiPlace(name, where string) (place, error) {
	at, device, err := h.take(name, where, "inst", func(device string) error {
		if !deviceName.MatchString(device) || strings.HasPrefix(device, "hislip") {
			return fmt.Errorf("device %q: expected inst0, or gpib0,7 as behind a gateway", device)
		}
		return nil
	})
	if err != nil {
		return place{}, err
	}
	return place{name, func(b *virtual.Bench) (string, func(context.Context) error, func() error, error) {
		host, port, serve, closing, err := at.open(name, device, func(ctx context.Context, l net.Listener) error {
			talks := map[string]func() (virtual.Conversation, error){}
			for device, instrument := range at.instruments {
				talks[device] = func() (virtual.Conversation, error) { return b.Talk(instrument) }
			}
			return vxiserver.New(talks, vxiserver.Options{}).Serve(ctx, l)
		})
		return "TCPIP0::" + host + "," + port + "::" + device + "::INSTR", serve, closing, err
	}}, nil
}

// portmapperPlace tells clients at which port the VXI-11 host is; there can be
// one only, because a portmapper knows one port for a program.
func portmapperPlace(address string, vxi hosts) (place, error) {
	if err := checkAddress(address); err != nil {
		return place{}, err
	}
	if len(vxi) != 1 {
		return place{}, fmt.Errorf("%d VXI-11 hosts; a portmapper needs exactly one: give all --vxi11 the same HOST:PORT", len(vxi))
	}
	return place{"portmapper", func(*virtual.Bench) (string, func(context.Context) error, func() error, error) {
		var at *host
		for _, at = range vxi {
			break
		}
		tcp, err := net.Listen("tcp", address)
		if err != nil {
			return "", nil, nil, fmt.Errorf("portmapper (ports below 1024 need the rights for that): %w", err)
		}
		udp, err := net.ListenPacket("udp", tcp.Addr().String())
		if err != nil {
			return "", nil, nil, errors.Join(fmt.Errorf("portmapper: %w", err), tcp.Close())
		}
		p := vxiserver.Portmapper{Mappings: oncrpc.Mappings{
			{Program: oncrpc.PortmapProgram, Version: oncrpc.PortmapVersion, Protocol: oncrpc.TCP, Port: uint32(tcp.Addr().(*net.TCPAddr).Port)},
			{Program: oncrpc.PortmapProgram, Version: oncrpc.PortmapVersion, Protocol: oncrpc.UDP, Port: uint32(tcp.Addr().(*net.TCPAddr).Port)},
			{Program: vxi11.Core, Version: vxi11.Version, Protocol: oncrpc.TCP, Port: uint32(at.port.(*net.TCPAddr).Port)},
		}}
		serve := func(ctx context.Context) error { return p.Serve(ctx, tcp, udp) }
		return tcp.Addr().String(), serve, func() error { return errors.Join(tcp.Close(), udp.Close()) }, nil
	}}, nil
}

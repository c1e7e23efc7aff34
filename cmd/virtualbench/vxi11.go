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

// vxiHosts are the VXI-11 hosts, by the address that the flags give; each has
// all devices that are given that address.
type vxiHosts map[string]*vxiHost

type vxiHost struct {
	address string
	devices map[string]string // name of the instrument, by that of the device
	first   string            // device whose place opens the port for all
	port    net.Addr          // once it is open
}

var deviceName = regexp.MustCompile(`^[a-z]+[0-9]+(,[0-9]+){0,2}$`)

// place reads HOST:PORT[,DEVICE]; a device that is left out is the first of
// inst0, inst1 … that is free.
func (h vxiHosts) place(name, where string) (place, error) {
	address, device, stated := strings.Cut(where, ",")
	if err := checkAddress(address); err != nil {
		return place{}, err
	}
	host := h[address]
	if host == nil {
		host = &vxiHost{address: address, devices: map[string]string{}}
		h[address] = host
	}
	device = strings.ToLower(device)
	for i := 0; !stated; i++ {
		device = fmt.Sprintf("inst%d", i)
		stated = host.devices[device] == ""
	}
	if !deviceName.MatchString(device) || strings.HasPrefix(device, "hislip") {
		return place{}, fmt.Errorf("device %q: expected inst0, or gpib0,7 as behind a gateway", device)
	}
	if other := host.devices[device]; other != "" {
		return place{}, fmt.Errorf("%s at %s is taken by %s", device, address, other)
	}
	host.devices[device] = name
	if host.first == "" {
		host.first = device
	}
	return place{name, func(b *virtual.Bench) (string, func(context.Context) error, func() error, error) {
		return host.open(b, name, device)
	}}, nil
}

// open opens the port for the first place; the others only wait with it.
func (h *vxiHost) open(b *virtual.Bench, name, device string) (resource string, serve func(context.Context) error, closing func() error, err error) {
	serve, closing = func(ctx context.Context) error { <-ctx.Done(); return nil }, func() error { return nil }
	if device == h.first {
		l, err := net.Listen("tcp", h.address)
		if err != nil {
			return "", nil, nil, fmt.Errorf("%s: %w", name, err)
		}
		h.port = l.Addr()
		talks := map[string]func() (vxiserver.Talk, error){}
		for device, instrument := range h.devices {
			talks[device] = func() (vxiserver.Talk, error) { return b.Talk(instrument) }
		}
		serve = func(ctx context.Context) error { return vxiserver.New(talks, vxiserver.Options{}).Serve(ctx, l) }
		closing = l.Close
	}
	host, port, err := net.SplitHostPort(h.port.String())
	if err != nil {
		return "", nil, nil, errors.Join(fmt.Errorf("%s: %w", name, err), closing())
	}
	if strings.Contains(host, ":") {
		host = "[" + host + "]"
	}
	return "TCPIP0::" + host + "," + port + "::" + device + "::INSTR", serve, closing, nil
}

// portmapperPlace tells clients at which port the VXI-11 host is; there can be
// one only, because a portmapper knows one port for a program.
func portmapperPlace(address string, hosts vxiHosts) (place, error) {
	if err := checkAddress(address); err != nil {
		return place{}, err
	}
	if len(hosts) != 1 {
		return place{}, fmt.Errorf("%d VXI-11 hosts; a portmapper needs exactly one: give all --vxi11 the same HOST:PORT", len(hosts))
	}
	return place{"portmapper", func(*virtual.Bench) (string, func(context.Context) error, func() error, error) {
		var host *vxiHost
		for _, host = range hosts {
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
			{Program: vxi11.Core, Version: vxi11.Version, Protocol: oncrpc.TCP, Port: uint32(host.port.(*net.TCPAddr).Port)},
		}}
		serve := func(ctx context.Context) error { return p.Serve(ctx, tcp, udp) }
		return tcp.Addr().String(), serve, func() error { return errors.Join(tcp.Close(), udp.Close()) }, nil
	}}, nil
}

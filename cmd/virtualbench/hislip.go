package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"

	"bandproof/drivers/virtual"
)

// hislipHosts are the HiSLIP servers, by the address that the flags give; each
// serves all instruments that are given that address.
type hislipHosts map[string]*hislipHost

type hislipHost struct {
	address     string
	instruments map[string]string // by sub-address
	first       string            // sub-address of the place that opens the port for all
	port        net.Addr          // once it is open
}

// place reads HOST:PORT[,SUBADDRESS]; a sub-address that is left out is the
// first one free.
func (h hislipHosts) place(name, where string) (place, error) {
	address, sub, stated := strings.Cut(where, ",")
	if err := checkAddress(address); err != nil {
		return place{}, err
	}
	host := h[address]
	if host == nil {
		host = &hislipHost{address: address, instruments: map[string]string{}}
		h[address] = host
	}
	sub = strings.ToLower(sub)
	for i := 0; !stated; i++ {
		sub = fmt.Sprintf("hislip%d", i)
		stated = host.instruments[sub] == ""
	}
	if !strings.HasPrefix(sub, "hislip") {
		return place{}, fmt.Errorf("sub-address %q: expected hislip0, hislip1 or the like", sub)
	}
	if other := host.instruments[sub]; other != "" {
		return place{}, fmt.Errorf("%s at %s is taken by %s", sub, address, other)
	}
	host.instruments[sub] = name
	if host.first == "" {
		host.first = sub
	}
	return place{name, func(b *virtual.Bench) (string, func(context.Context) error, func() error, error) {
		return host.open(b, name, sub)
	}}, nil
}

// open opens the port for the first place; the others only wait with it.
func (h *hislipHost) open(b *virtual.Bench, name, sub string) (resource string, serve func(context.Context) error, closing func() error, err error) {
	serve, closing = func(ctx context.Context) error { <-ctx.Done(); return nil }, func() error { return nil }
	if sub == h.first {
		l, err := net.Listen("tcp", h.address)
		if err != nil {
			return "", nil, nil, fmt.Errorf("%s: %w", name, err)
		}
		h.port = l.Addr()
		serve = func(ctx context.Context) error {
			return b.ServeHiSLIP(ctx, l, virtual.HiSLIP{Instruments: h.instruments})
		}
		closing = l.Close
	}
	host, port, err := net.SplitHostPort(h.port.String())
	if err != nil {
		return "", nil, nil, errors.Join(fmt.Errorf("%s: %w", name, err), closing())
	}
	if strings.Contains(host, ":") {
		host = "[" + host + "]"
	}
	return "TCPIP0::" + host + "::" + sub + "," + port + "::INSTR", serve, closing, nil
}

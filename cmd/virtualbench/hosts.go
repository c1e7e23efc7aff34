package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
)

// hosts are the servers of one protocol, by the address that the flags give;
// each serves all instruments that are given that address.
type hosts map[string]*host

// host is one port with several instruments behind it.
type host struct {
	address     string
	instruments map[string]string // by the name that the protocol gives each
	first       string            // whose place opens the port for all
	port        net.Addr          // once it is open
}

// take reads HOST:PORT[,SUB]; a sub that is left out is the first of prefix0,
// prefix1 … that is free.
func (h hosts) take(instrument, where, prefix string, check func(sub string) error) (*host, string, error) {
	address, sub, stated := strings.Cut(where, ",")
	if err := checkAddress(address); err != nil {
		return nil, "", err
	}
	at := h[address]
	if at == nil {
		at = &host{address: address, instruments: map[string]string{}}
		h[address] = at
	}
	sub = strings.ToLower(sub)
	for i := 0; !stated; i++ {
		sub = fmt.Sprintf("%s%d", prefix, i)
		stated = at.instruments[sub] == ""
	}
	if err := check(sub); err != nil {
		return nil, "", err
	}
	if other := at.instruments[sub]; other != "" {
		return nil, "", fmt.Errorf("%s at %s is taken by %s", sub, address, other)
	}
	at.instruments[sub] = instrument
	if at.first == "" {
		at.first = sub
	}
	return at, sub, nil
}

// open opens the port for the first place; the others only wait with it. name
// and port are as a resource name has them.
func (h *host) open(instrument, sub string, all func(ctx context.Context, l net.Listener) error) (name, port string, serve func(context.Context) error, closing func() error, err error) {
	serve, closing = func(ctx context.Context) error { <-ctx.Done(); return nil }, func() error { return nil }
	if sub == h.first {
		l, err := net.Listen("tcp", h.address)
		if err != nil {
			return "", "", nil, nil, fmt.Errorf("%s: %w", instrument, err)
		}
		h.port = l.Addr()
		serve = func(ctx context.Context) error { return all(ctx, l) }
		closing = l.Close
	}
	name, port, err = net.SplitHostPort(h.port.String())
	if err != nil {
		return "", "", nil, nil, errors.Join(fmt.Errorf("%s: %w", instrument, err), closing())
	}
	if strings.Contains(name, ":") {
		name = "[" + name + "]"
	}
	return name, port, serve, closing, nil
}

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"

	"bandproof/drivers/virtual"
)

// adapterForm shows what --adapter takes.
const adapterForm = "HOST:PORT=NAME@ADDRESS,…, pty:SYMLINK=… or serial:DEVICE[:BAUD]=…"

// adapterPlaces reads the values of --adapter: a GPIB adapter that takes the ++
// controller commands, with instruments behind it.
func adapterPlaces(values []string, b *virtual.Bench) (list []place, err error) {
	var all []error
	for _, v := range values {
		p, err := adapterPlace(v, b)
		if err != nil {
			all = append(all, fmt.Errorf("--adapter %q: %w", v, err))
			continue
		}
		list = append(list, p)
	}
	return list, errors.Join(all...)
}

func adapterPlace(value string, b *virtual.Bench) (place, error) {
	where, behind, ok := strings.Cut(value, "=")
	if !ok || where == "" || behind == "" {
		return place{}, fmt.Errorf("expected %s", adapterForm)
	}
	at, names, err := behindAdapter(behind, b)
	if err != nil {
		return place{}, err
	}
	open, err := adapterLine(where)
	if err != nil {
		return place{}, err
	}
	return place{names[0].name, func(b *virtual.Bench) (string, func(context.Context) error, func() error, error) {
		bus, err := b.Bus(at)
		if err != nil {
			return "", nil, nil, err
		}
		via, serve, closeLine, err := open(virtual.NewAdapter(bus, virtual.AdapterQuirks{}))
		if err != nil {
			bus.Close()
			return "", nil, nil, fmt.Errorf("adapter of %s: %w", names[0].name, err)
		}
		// One line for each instrument; the first begins with what the caller prints.
		text := ""
		for i, n := range names {
			if i > 0 {
				text += "\n" + n.name + " "
			}
			text += fmt.Sprintf("GPIB0::%s::INSTR via %s", n.at, via)
		}
		done := func(err error) error { bus.Close(); return err }
		return text, func(ctx context.Context) error { return done(serve(ctx)) }, func() error { return done(closeLine()) }, nil
	}}, nil
}

// named is an instrument behind an adapter.
type named struct {
	name string
	at   virtual.BusAddress
}

// behindAdapter reads NAME@7,NAME2@12:1.
func behindAdapter(text string, b *virtual.Bench) (map[virtual.BusAddress]string, []named, error) {
	at := map[virtual.BusAddress]string{}
	var list []named
	for _, item := range strings.Split(text, ",") {
		name, address, ok := strings.Cut(item, "@")
		primary, secondary, extended := strings.Cut(address, ":")
		n := named{name, virtual.BusAddress{Secondary: -1}}
		var wrong [2]error
		n.at.Primary, wrong[0] = strconv.Atoi(primary)
		if extended {
			n.at.Secondary, wrong[1] = strconv.Atoi(secondary)
		}
		if !ok || errors.Join(wrong[:]...) != nil || n.at.Primary < 0 || n.at.Primary > 30 || n.at.Secondary > 30 || extended && n.at.Secondary < 0 {
			return nil, nil, fmt.Errorf("%q: expected such as counter@7, or counter@7:1 with a secondary address; each is 0 to 30", item)
		}
		if err := known(b, name); err != nil {
			return nil, nil, err
		}
		if other, taken := at[n.at]; taken {
			return nil, nil, fmt.Errorf("%s and %s have the same GPIB address %s", other, name, n.at)
		}
		at[n.at] = name
		list = append(list, n)
	}
	return at, list, nil
}

// openAdapter takes the adapter's line and gives its address, what serves it,
// and what gives the line back unserved.
type openAdapter func(a *virtual.Adapter) (via string, serve func(ctx context.Context) error, closeLine func() error, err error)

func adapterLine(where string) (openAdapter, error) {
	if link, ok := strings.CutPrefix(where, "pty:"); ok {
		return func(a *virtual.Adapter) (string, func(context.Context) error, func() error, error) {
			p, err := virtual.OpenPTY(link)
			if err != nil {
				return "", nil, nil, err
			}
			return "ASRL" + link + "::INSTR", adapterPort(a, p), p.Close, nil
		}, nil
	}
	if device, ok := strings.CutPrefix(where, "serial:"); ok {
		device, rate, stated := strings.Cut(device, ":")
		baud := 115200
		if stated {
			var err error
			if baud, err = strconv.Atoi(rate); err != nil || baud <= 0 {
				return nil, fmt.Errorf("%q is no baud rate; expected such as 115200", rate)
			}
		}
		return func(a *virtual.Adapter) (string, func(context.Context) error, func() error, error) {
			p, err := openSerial(device, baud)
			if err != nil {
				return "", nil, nil, fmt.Errorf("serial port %s at %d baud: %w", device, baud, err)
			}
			return "ASRL" + device + "::INSTR", adapterPort(a, p), p.Close, nil
		}, nil
	}
	host, port, err := net.SplitHostPort(where)
	if err != nil {
		return nil, fmt.Errorf("%q is neither an address, nor pty: or serial: with a name; expected %s", where, adapterForm)
	}
	return func(a *virtual.Adapter) (string, func(context.Context) error, func() error, error) {
		l, err := net.Listen("tcp", net.JoinHostPort(host, port))
		if err != nil {
			return "", nil, nil, err
		}
		host, port, err := net.SplitHostPort(l.Addr().String())
		if err != nil {
			return "", nil, nil, errors.Join(err, l.Close())
		}
		serve := func(ctx context.Context) error { return a.ServeListener(ctx, l) }
		return "TCPIP0::" + host + "::" + port + "::SOCKET", serve, l.Close, nil
	}, nil
}

// adapterPort serves a line that has one client; that the context ends is no error.
func adapterPort(a *virtual.Adapter, p io.ReadWriteCloser) func(ctx context.Context) error {
	return func(ctx context.Context) error {
		err := a.ServePort(ctx, p)
		if ctx.Err() != nil {
			return nil
		}
		return err
	}
}

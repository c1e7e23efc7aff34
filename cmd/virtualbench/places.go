package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"strconv"
	"strings"
	"sync"

	"bandproof/drivers/virtual"
)

// place is where one instrument is to be served.
type place struct {
	instrument string
	// open takes the port and returns its VISA resource name, what serves it
	// until the context ends, and what gives it back unserved.
	open func(b *virtual.Bench) (resource string, serve func(ctx context.Context) error, close func() error, err error)
}

// placesOf reads the serving flags; without any, every instrument is served on
// the TCP port of the scenario.
func placesOf(f flags, b *virtual.Bench) ([]place, error) {
	var list []place
	var all []error
	taken := map[string]bool{}
	vxi := hosts{}
	for _, group := range []struct {
		flag, form string
		values     []string
		make       func(name, where string) (place, error)
	}{
		{"--tcp", "NAME=HOST:PORT", f.tcp, tcpPlace},
		{"--pty", "NAME=SYMLINK", f.pty, ptyPlace},
		{"--serial", "NAME=DEVICE[,BAUD]", f.serial, serialPlace},
		{"--hislip", "NAME=HOST:PORT[,SUBADDRESS]", f.hislip, hosts{}.hislipPlace},
		{"--vxi11", "NAME=HOST:PORT[,DEVICE]", f.vxi11, vxi.vxiPlace},
	} {
		for _, v := range group.values {
			name, where, ok := strings.Cut(v, "=")
			if !ok || name == "" || where == "" {
				all = append(all, fmt.Errorf("%s %q: expected %s", group.flag, v, group.form))
				continue
			}
			p, err := group.make(name, where)
			if err == nil {
				err = known(b, name)
			}
			if err == nil && taken[where] && !slices.Contains([]string{"--tcp", "--hislip", "--vxi11"}, group.flag) { // listening twice fails by itself
				err = fmt.Errorf("%s is taken by another instrument", where)
			}
			taken[where] = true
			if err != nil {
				all = append(all, fmt.Errorf("%s %q: %w", group.flag, v, err))
				continue
			}
			list = append(list, p)
		}
	}
	if f.portmapper != "" {
		p, err := portmapperPlace(f.portmapper, vxi)
		if err != nil {
			err = fmt.Errorf("--portmapper %q: %w", f.portmapper, err)
		}
		list, all = append(list, p), append(all, err)
	}
	adapters, err := adapterPlaces(f.adapters, b)
	list, all = append(list, adapters...), append(all, err)
	if len(f.tcp)+len(f.pty)+len(f.serial)+len(f.hislip)+len(f.vxi11)+len(f.adapters) > 0 {
		return list, errors.Join(all...)
	}
	for _, i := range b.Instruments() {
		if i.TCP == "" {
			return nil, fmt.Errorf("the scenario gives instrument %q no tcp address; add one, or say where with --tcp, --pty or --serial", i.Name)
		}
		p, err := tcpPlace(i.Name, i.TCP)
		if err != nil {
			return nil, err
		}
		list = append(list, p)
	}
	return list, nil
}

func known(b *virtual.Bench, name string) error {
	var names []string
	for _, i := range b.Instruments() {
		names = append(names, i.Name)
	}
	if !slices.Contains(names, name) {
		return fmt.Errorf("there is no instrument %q; the bench has %s", name, strings.Join(names, ", "))
	}
	return nil
}

func tcpPlace(name, address string) (place, error) {
	if err := checkAddress(address); err != nil {
		return place{}, err
	}
	return place{name, func(b *virtual.Bench) (string, func(context.Context) error, func() error, error) {
		l, err := net.Listen("tcp", address)
		if err != nil {
			return "", nil, nil, fmt.Errorf("%s: %w", name, err)
		}
		host, port, err := net.SplitHostPort(l.Addr().String())
		if err != nil {
			return "", nil, nil, errors.Join(fmt.Errorf("%s: %w", name, err), l.Close())
		}
		serve := func(ctx context.Context) error { return b.ServeListener(ctx, name, l) }
		return "TCPIP0::" + host + "::" + port + "::SOCKET", serve, l.Close, nil
	}}, nil
}

// checkAddress tells what is wrong with HOST:PORT.
func checkAddress(address string) error {
	_, port, err := net.SplitHostPort(address)
	if err != nil {
		return fmt.Errorf("%q is no address: %w", address, err)
	}
	if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		return fmt.Errorf("%q has no port between 0 and 65535", address)
	}
	return nil
}

func ptyPlace(name, link string) (place, error) {
	return place{name, func(b *virtual.Bench) (string, func(context.Context) error, func() error, error) {
		p, err := virtual.OpenPTY(link)
		if err != nil {
			return "", nil, nil, fmt.Errorf("%s: %w", name, err)
		}
		serve := func(ctx context.Context) error { return b.ServePort(ctx, name, p) }
		return "ASRL" + link + "::INSTR", serve, p.Close, nil
	}}, nil
}

const defaultBaud = 9600

func serialPlace(name, where string) (place, error) {
	device, rate, ok := strings.Cut(where, ",")
	baud := defaultBaud
	if ok {
		n, err := strconv.Atoi(strings.TrimSpace(rate))
		if err != nil || n <= 0 {
			return place{}, fmt.Errorf("%q is no baud rate; expected such as 9600", rate)
		}
		baud = n
	}
	return place{name, func(b *virtual.Bench) (string, func(context.Context) error, func() error, error) {
		port, err := openSerial(device, baud)
		if err != nil {
			return "", nil, nil, fmt.Errorf("%s: serial port %s at %d baud: %w", name, device, baud, err)
		}
		serve := func(ctx context.Context) error { return b.ServePort(ctx, name, port) }
		return "ASRL" + device + "::INSTR", serve, port.Close, nil
	}}, nil
}

// serveAll opens every place, tells about them, and serves until the context
// ends or one of them fails. publish, if not nil, makes the places known until
// stop is called.
func serveAll(ctx context.Context, b *virtual.Bench, places []place, publish func([]servedAt) (stop func() error, err error), stdout io.Writer) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var serving sync.WaitGroup
	errs := make(chan error, len(places)+1)
	var opened []func(context.Context) error
	var lines strings.Builder
	var closers []func() error
	var list []servedAt
	giveUp := func(err error) error {
		for _, c := range closers {
			err = errors.Join(err, c())
		}
		return &benchError{err}
	}
	for _, p := range places {
		resource, serve, closer, err := p.open(b)
		if err != nil {
			return giveUp(err)
		}
		opened, closers, list = append(opened, serve), append(closers, closer), append(list, servedAt{p.instrument, resource})
		fmt.Fprintf(&lines, "%s %s\n", p.instrument, resource)
	}
	if publish != nil {
		stop, err := publish(list)
		if err != nil {
			return giveUp(err)
		}
		defer func() { _ = stop() }() // everything ends
	}
	for _, s := range opened {
		serving.Go(func() {
			if err := s(ctx); err != nil {
				errs <- err
			}
			cancel() // one that has ended, for whatever reason, ends the bench
		})
	}
	if _, err := io.WriteString(stdout, lines.String()+"ready\n"); err != nil {
		errs <- fmt.Errorf("write to standard output: %w", err)
		cancel()
	}
	serving.Wait()
	close(errs)
	var all []error
	for err := range errs {
		all = append(all, err)
	}
	if err := errors.Join(all...); err != nil {
		return &benchError{err}
	}
	return nil
}

package find

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"sync"

	"bandproof/drivers/link"
)

// Ports that instruments listen on, unless they say otherwise (IANA: scpi-raw
// 5025, hislip 4880).
const scpiRaw = 5025

func bracketed(host string) string {
	if a, err := netip.ParseAddr(host); err == nil && a.Is6() {
		return "[" + host + "]"
	}
	return host
}

func socket(host string, port int) string {
	return fmt.Sprintf("TCPIP0::%s::%d::SOCKET", bracketed(host), port)
}

func instr(host, device string) string {
	return fmt.Sprintf("TCPIP0::%s::%s::INSTR", bracketed(host), device)
}

// named asks what somebody named.
func (s *search) named(list []try) error {
	for _, t := range list {
		s.run("", func() error {
			f := Found{Address: t.address, How: []string{"named"}}
			r, err := link.ParseResource(t.address)
			switch {
			case t.host != "":
				return s.host(t.host, t.port, "named")
			case err == nil && r.Kind == link.Serial:
				s.askPort(f)
			default:
				s.ask(f, link.Config{}, true)
			}
			return nil
		})
	}
	return nil
}

// host asks at one port, or without one at all where instruments listen.
func (s *search) host(host string, port int, how string) error {
	places := []string{socket(host, port)}
	if port == 0 {
		places = []string{instr(host, "hislip0"), instr(host, "inst0"), socket(host, scpiRaw)}
	}
	answers := make(chan bool, len(places))
	for _, p := range places {
		s.run("", func() error {
			answers <- s.ask(Found{Address: canonical(p), How: []string{how}}, link.Config{}, port != 0)
			return nil
		})
	}
	if port != 0 {
		return nil
	}
	answered := false
	for range places {
		answered = <-answers || answered
	}
	if !answered && how == "named" {
		return fmt.Errorf("%s: nothing answers there by HiSLIP, VXI-11 or on port %d; name its port, as %s:5025, or its whole address", host, scpiRaw, host)
	}
	return nil
}

func canonical(address string) string {
	if r, err := link.ParseResource(address); err == nil {
		return r.String()
	}
	return address
}

// askPort asks at a serial port, at one baud rate after the other.
func (s *search) askPort(f Found) {
	if !s.claim(f) {
		return
	}
	var err error
	for _, baud := range s.o.Bauds {
		var answer string
		if answer, err = s.identity(link.Config{Address: f.Address, Baud: baud}); err == nil {
			f.Baud = baud
			f.identify(answer)
			s.add(f)
			return
		}
		if !errors.Is(err, link.ErrTimeout) && !errors.Is(err, link.ErrProtocol) {
			break // another baud rate won't help
		}
	}
	f.Note = "does not say who it is: " + plain(err)
	s.add(f)
}

func (s *search) serialPorts() error {
	ports, err := s.SerialPorts()
	for _, p := range ports {
		f := Found{Address: canonical("ASRL" + p.Device + "::INSTR"), How: []string{"serial port"}}
		if p.Vendor != "" {
			f.USB = &USB{Vendor: p.Vendor, Product: p.Product, SerialNumber: p.SerialNumber, Name: p.Name}
		}
		if s.o.AskSerial {
			s.run("", func() error { s.askPort(f); return nil })
			continue
		}
		f.Note = "not asked: nobody knows what a serial port writes to; name it (--try " + p.Device + ") or ask all (--ask-serial)"
		s.add(f)
	}
	return err
}

func (s *search) usb() error {
	for _, d := range s.Finder.USB() {
		r := d.Resource
		ids := USB{Vendor: fmt.Sprintf("%04X", r.Vendor), Product: fmt.Sprintf("%04X", r.Product), SerialNumber: r.SerialNumber, Name: d.Name}
		s.run("", func() error {
			s.ask(Found{Address: r.String(), How: []string{"USB test and measurement device"}, USB: &ids}, link.Config{}, true)
			return nil
		})
	}
	return nil
}

func (s *search) broadcast() error {
	hosts, err := s.Finder.Broadcast(s.ctx)
	for _, h := range hosts {
		s.run("", func() error {
			s.ask(Found{Address: canonical(instr(h, "inst0")), How: []string{"VXI-11 broadcast"}}, link.Config{}, true)
			return nil
		})
	}
	return err
}

// services asks what is announced as an instrument. A web page of an instrument
// (_lxi._tcp) has no address of its own, so its host is asked if nothing else of
// it is announced.
func (s *search) services() error {
	lists := make([][]Service, len(services))
	errs := make([]error, len(services))
	var all sync.WaitGroup
	for k, name := range services {
		all.Go(func() { lists[k], errs[k] = s.Services(s.ctx, name) })
	}
	all.Wait()
	known := map[string]bool{}
	for k, name := range services { // _lxi._tcp is the last
		for _, x := range lists[k] {
			f := Found{How: []string{"multicast DNS " + name}, Maker: x.TXT["Manufacturer"], Model: x.TXT["Model"], Serial: x.TXT["SerialNumber"], Version: x.TXT["FirmwareVersion"]}
			switch name {
			case scpiRawService:
				f.Address = socket(x.Host, x.Port)
			case hislipService:
				f.Address = instr(x.Host, withPort(x.TXT["device"], "hislip0", x.Port, 4880))
			case vxi11Service:
				f.Address = instr(x.Host, withPort(x.TXT["device"], "inst0", x.Port, 111))
			default:
				if !known[x.Host] {
					s.run("", func() error { return s.host(x.Host, 0, f.How[0]) })
				}
				continue
			}
			known[x.Host] = true
			f.Address = canonical(f.Address)
			s.run("", func() error { s.ask(f, link.Config{}, true); return nil })
		}
	}
	return errors.Join(errs...)
}

// withPort adds the port to the device where it is not the usual one.
func withPort(device, usual string, port, usualPort int) string {
	if device == "" {
		device = usual
	}
	if port != 0 && port != usualPort {
		device += fmt.Sprintf(",%d", port)
	}
	return device
}

// adapter polls every GPIB address behind an adapter: a serial poll is a
// matter of the bus, which no instrument takes for a command.
func (s *search) adapter(via string) error {
	via = canonical(via)
	holding, err := s.openBehind(s.ctx, via, 0) // keeps the adapter's connection while its addresses are polled
	if holding != nil {
		defer func() { _ = holding.Close() }()
	}
	if err != nil && (errors.Is(err, link.ErrAddress) || errors.Is(err, link.ErrConfig) || errors.Is(err, link.ErrDisconnected) || errors.Is(err, link.ErrBusy)) {
		return err
	}
	const addresses = 31
	for n := range addresses {
		if s.ctx.Err() != nil {
			return fmt.Errorf("time was over before GPIB address %d; give more (--time)", n)
		}
		s.poll(via, n)
	}
	return nil
}

func (s *search) openBehind(ctx context.Context, via string, n int) (link.Link, error) {
	return s.Open(ctx, link.Config{Address: fmt.Sprintf("GPIB0::%d::INSTR", n), Via: via})
}

// poll looks whether anything is at one GPIB address.
func (s *search) poll(via string, n int) {
	ctx, cancel := context.WithTimeout(s.ctx, pollTime)
	defer cancel()
	l, err := s.openBehind(ctx, via, n)
	if err != nil {
		s.Log.Debug("not polled", "via", via, "address", n, "error", err)
		return
	}
	status, err := l.StatusByte(ctx)
	_ = l.Close()
	if err != nil {
		return
	}
	f := Found{Address: l.Address(), Via: via, How: []string{"GPIB serial poll"}, Note: fmt.Sprintf("its status byte is %d; not asked: instruments older than SCPI may take *IDN? for something else; --ask-gpib asks", status)}
	if s.o.AskGPIB {
		f.Note = ""
		s.ask(f, link.Config{}, true)
		return
	}
	s.add(f)
}

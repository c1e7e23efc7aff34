package find

import (
	"context"
	"errors"
	"fmt"
	"log"
	"net"
	"slices"
	"strings"
	"sync"

	"github.com/hashicorp/mdns"
)

// The service types of instruments (the LXI Device Specification and IANA's
// register, from memory).
const (
	hislipService  = "_hislip._tcp"
	vxi11Service   = "_vxi-11._tcp"
	scpiRawService = "_scpi-raw._tcp"
	lxiService     = "_lxi._tcp"
)

var services = []string{hislipService, vxi11Service, scpiRawService, lxiService}

// Service is one that is announced by multicast DNS.
type Service struct {
	Name string // of the instance
	Host string // IP address
	Port int
	TXT  map[string]string // keys as they were sent
}

// Browse asks for a type of service on every network interface (RFC 6762, 6763).
func Browse(ctx context.Context, service string) ([]Service, error) {
	ifaces, err := net.Interfaces()
	if err != nil {
		return nil, fmt.Errorf("list the network interfaces: %w", err)
	}
	var mu sync.Mutex
	var list []Service
	var errs []error
	var all sync.WaitGroup
	for _, i := range ifaces {
		v4, v6 := families(i)
		if i.Flags&net.FlagUp == 0 || !v4 && !v6 {
			continue
		}
		all.Go(func() {
			found, err := browseOn(ctx, service, i, v4, v6)
			mu.Lock()
			defer mu.Unlock()
			list = append(list, found...)
			if err != nil && i.Flags&net.FlagLoopback == 0 { // not every system has multicast on its loopback
				errs = append(errs, fmt.Errorf("on %s: %w", i.Name, err))
			}
		})
	}
	all.Wait()
	return list, errors.Join(errs...)
}

// families tells which addresses an interface has.
func families(i net.Interface) (v4, v6 bool) {
	addresses, err := i.Addrs()
	if err != nil {
		return false, false
	}
	for _, a := range addresses {
		if n, ok := a.(*net.IPNet); ok {
			v4 = v4 || n.IP.To4() != nil
			v6 = v6 || n.IP.To4() == nil
		}
	}
	return v4, v6
}

func browseOn(ctx context.Context, service string, i net.Interface, v4, v6 bool) ([]Service, error) {
	entries := make(chan *mdns.ServiceEntry, 64)
	var list []Service
	var reading sync.WaitGroup
	reading.Go(func() {
		for e := range entries {
			if s, ok := serviceOf(e, service); ok && !slices.ContainsFunc(list, func(o Service) bool { return o.Name == s.Name && o.Host == s.Host }) {
				list = append(list, s)
			}
		}
	})
	q := mdns.DefaultParams(service)
	q.Interface, q.Entries, q.Timeout = &i, entries, listenTime
	q.DisableIPv4, q.DisableIPv6 = !v4, !v6
	q.Logger = log.New(discard{}, "", 0)
	err := mdns.QueryContext(ctx, q)
	close(entries)
	reading.Wait()
	return list, err
}

// discard takes what the library has to say of packets that it does not understand.
type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }

// serviceOf is an entry of this type, if it is one: answers to the questions of
// others arrive too.
func serviceOf(e *mdns.ServiceEntry, service string) (Service, bool) {
	name, ok := strings.CutSuffix(strings.TrimSuffix(e.Name, "."), "."+service+".local")
	if !ok || e.Port < 1 || e.Port > 65535 {
		return Service{}, false
	}
	s := Service{Name: name, Port: e.Port, TXT: map[string]string{}}
	switch {
	case e.AddrV4 != nil:
		s.Host = e.AddrV4.String()
	case e.AddrV6IPAddr != nil && !e.AddrV6IPAddr.IP.IsLinkLocalUnicast():
		s.Host = e.AddrV6IPAddr.IP.String()
	default:
		s.Host = strings.ToLower(strings.TrimSuffix(e.Host, "."))
	}
	for _, f := range e.InfoFields {
		key, value, _ := strings.Cut(f, "=")
		s.TXT[key] = value
	}
	return s, s.Host != ""
}

package find

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
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
		if i.Flags&net.FlagUp == 0 {
			continue
		}
		look := func(v6 bool) {
			found, err := browseOn(ctx, service, i, v6)
			mu.Lock()
			defer mu.Unlock()
			list = append(list, found...)
			if err != nil && i.Flags&net.FlagLoopback == 0 { // not every system has multicast on its loopback
				errs = append(errs, fmt.Errorf("on %s: %w", i.Name, err))
			}
		}
		if v4 {
			all.Go(func() { look(false) })
		}
		if v6 {
			all.Go(func() { look(true) })
		}
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

package main

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strings"

	"github.com/hashicorp/mdns"
	"github.com/miekg/dns"

	"bandproof/drivers/link"
	"bandproof/drivers/virtual"
)

// anyInterface lets --announce choose.
const anyInterface = "auto"

// servedAt is where one instrument is served.
type servedAt struct{ instrument, resource string }

// serviceOf names the DNS-SD service types of instruments, as LXI has them.
var serviceOf = map[link.Kind]string{link.Socket: "_scpi-raw._tcp", link.VXI11: "_vxi-11._tcp", link.HiSLIP: "_hislip._tcp"}

const (
	lxiService  = "_lxi._tcp"
	vxi11Port   = 111 // of the port mapper, where the resource name states none
	longestName = 63  // bytes of a DNS label (RFC 1035, 2.3.4)
)

// announce publishes what is served over TCP by multicast DNS (RFC 6762, 6763)
// on one network interface, until stop is called. What can't be reached there
// is left out. Only one interface: the answers hold its addresses, and a
// responder can't tell which one a question came by.
func announce(b *virtual.Bench, list []servedAt, where string, log *slog.Logger) (stop func() error, err error) {
	ifaces, err := net.Interfaces()
	if err != nil {
		return nil, fmt.Errorf("--announce: list the network interfaces: %w", err)
	}
	var names []string
	for _, i := range ifaces {
		names = append(names, i.Name)
		if i.Flags&net.FlagUp == 0 || where != anyInterface && i.Name != where {
			continue
		}
		services, err := servicesOn(b, list, i)
		if err != nil {
			return nil, fmt.Errorf("--announce: %w", err)
		}
		if len(services) == 0 || where == anyInterface && i.Flags&net.FlagLoopback != 0 && reachElsewhere(list) {
			continue
		}
		server, err := mdns.NewServer(&mdns.Config{Zone: services, Iface: &i, Logger: slog.NewLogLogger(log.Handler(), slog.LevelDebug)})
		if err != nil {
			return nil, fmt.Errorf("--announce: on %s: %w", i.Name, err)
		}
		log.Info("announced", "interface", i.Name, "services", len(services))
		return server.Shutdown, nil
	}
	return nil, fmt.Errorf("--announce: nothing that is served over TCP can be reached on interface %s; there are %s", where, strings.Join(names, ", "))
}

// reachElsewhere tells whether anything is served beyond this machine.
func reachElsewhere(list []servedAt) bool {
	for _, s := range list {
		r, err := link.ParseResource(s.resource)
		if ip := net.ParseIP(r.Host); err == nil && ip != nil && !ip.IsLoopback() {
			return true
		}
	}
	return false
}

// zone answers questions about all services.
type zone []*mdns.MDNSService

// Records gives each record once: services share a host and their types.
func (z zone) Records(q dns.Question) (list []dns.RR) {
	seen := map[string]bool{}
	for _, s := range z {
		for _, r := range s.Records(q) {
			if text := r.String(); !seen[text] {
				seen[text] = true
				list = append(list, r)
			}
		}
	}
	return list
}

// servicesOn makes the services that can be reached on an interface: for each
// place its own, and one of type _lxi._tcp for each instrument.
func servicesOn(b *virtual.Bench, list []servedAt, i net.Interface) (services zone, err error) {
	addresses, err := i.Addrs()
	if err != nil {
		return nil, fmt.Errorf("addresses of %s: %w", i.Name, err)
	}
	host := announcedHost()
	var all []error
	lxi := map[string]bool{}
	for _, s := range list {
		r, err := link.ParseResource(s.resource)
		kind, ips := serviceOf[r.Kind], reachedOn(r.Host, addresses)
		if err != nil || kind == "" || len(ips) == 0 {
			continue
		}
		id, err := b.Identity(s.instrument)
		if err != nil {
			return nil, err
		}
		port := r.Port
		if port == 0 {
			port = vxi11Port
		}
		txt := []string{"txtvers=1", "Manufacturer=" + id.Maker, "Model=" + id.Model, "SerialNumber=" + id.Serial, "FirmwareVersion=" + id.Firmware}
		if r.LANDevice != "" { // not of the standard, which knows no second instrument on a port
			txt = append(txt, "device="+r.LANDevice)
		}
		kinds := []string{kind}
		if !lxi[s.instrument] {
			lxi[s.instrument] = true
			kinds = append(kinds, lxiService)
		}
		for _, kind := range kinds {
			service, err := mdns.NewMDNSService(instanceName(id, s.instrument), kind, "local.", host, port, ips, txt)
			services, all = append(services, service), append(all, err)
		}
	}
	return services, errors.Join(all...)
}

// announcedHost is the host name in the announcements: one for each bench.
func announcedHost() string { return fmt.Sprintf("virtualbench-%d.local.", os.Getpid()) }

// reachedOn gives the addresses of an interface by which a listener on host is
// reached.
func reachedOn(host string, addresses []net.Addr) (ips []net.IP) {
	listens := net.ParseIP(host)
	for _, a := range addresses {
		n, ok := a.(*net.IPNet)
		switch {
		case !ok || listens == nil, n.IP.IsLinkLocalUnicast() && n.IP.To4() == nil: // which would need a zone
		case listens.Equal(n.IP), listens.IsUnspecified() && (n.IP.To4() != nil || listens.To4() == nil):
			ips = append(ips, n.IP)
		}
	}
	return ips
}

// instanceName is what people see in a list: model, serial number and the name
// on the bench, as one DNS label with its special characters escaped.
func instanceName(id virtual.Identity, name string) string {
	label := []byte(strings.ToValidUTF8(fmt.Sprintf("%s %s (%s)", id.Model, id.Serial, name), "?"))
	if len(label) > longestName {
		label = []byte(strings.ToValidUTF8(string(label[:longestName]), ""))
	}
	return strings.NewReplacer(`\`, `\\`, `.`, `\.`, `"`, `\"`, `;`, `\;`, `(`, `\(`, `)`, `\)`, `@`, `\@`).Replace(string(label))
}

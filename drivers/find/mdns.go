package find

import (
	"context"
	"errors"
	"net"
	"slices"
	"strings"
	"time"

	"github.com/miekg/dns"
	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"
)

// The groups and the port of multicast DNS (RFC 6762, section 3).
var (
	group4 = &net.UDPAddr{IP: net.IPv4(224, 0, 0, 251), Port: 5353}
	group6 = &net.UDPAddr{IP: net.ParseIP("ff02::fb"), Port: 5353}
)

// askAgain is when a question is repeated: a packet may be lost.
const askAgain = 400 * time.Millisecond

// browseOn asks on one interface by a one-shot question (RFC 6762, section 5.1):
// from a port of its own, to which the answers are sent (section 6.7).
//
// The client of hashicorp/mdns v1.0.7 is not used: it gives one service only
// where an answer holds several of one host.
func browseOn(ctx context.Context, service string, i net.Interface, v6 bool) ([]Service, error) {
	ctx, cancel := context.WithTimeout(ctx, listenTime)
	defer cancel()
	conn, group, err := multicast(i, v6)
	if err != nil {
		return nil, err
	}
	defer func() { _ = conn.Close() }()
	stop := context.AfterFunc(ctx, func() { _ = conn.Close() })
	defer stop()
	known := &records{service: dns.Fqdn(service + ".local")}
	packet := make([]byte, 9000) // RFC 6762, section 17
	for {
		if err := ask(conn, group, known.missing()); err != nil {
			return known.services(), unlessOver(ctx, err)
		}
		again := time.Now().Add(askAgain)
		for {
			if err := conn.SetReadDeadline(again); err != nil {
				return known.services(), unlessOver(ctx, err)
			}
			n, _, err := conn.ReadFromUDP(packet)
			if isTimeout(err) && ctx.Err() == nil {
				break
			}
			if err != nil {
				return known.services(), unlessOver(ctx, err)
			}
			known.add(packet[:n])
		}
	}
}

func isTimeout(err error) bool {
	var timeout net.Error
	return errors.As(err, &timeout) && timeout.Timeout()
}

// unlessOver is the error, unless it came because time was over.
func unlessOver(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	return err
}

func multicast(i net.Interface, v6 bool) (*net.UDPConn, *net.UDPAddr, error) {
	if v6 {
		conn, err := net.ListenUDP("udp6", nil)
		if err != nil {
			return nil, nil, err
		}
		p := ipv6.NewPacketConn(conn)
		if err := errors.Join(p.SetMulticastInterface(&i), p.SetMulticastLoopback(true)); err != nil {
			return nil, nil, errors.Join(err, conn.Close())
		}
		return conn, group6, nil
	}
	conn, err := net.ListenUDP("udp4", nil)
	if err != nil {
		return nil, nil, err
	}
	p := ipv4.NewPacketConn(conn)
	if err := errors.Join(p.SetMulticastInterface(&i), p.SetMulticastLoopback(true)); err != nil {
		return nil, nil, errors.Join(err, conn.Close())
	}
	return conn, group4, nil
}

// ask sends questions, one a packet: not every responder reads more.
func ask(conn *net.UDPConn, group *net.UDPAddr, questions []dns.Question) error {
	for _, q := range questions {
		m := new(dns.Msg)
		m.Question = []dns.Question{q}
		packet, err := m.Pack()
		if err != nil {
			continue // a name from the network that can't be asked for
		}
		if _, err := conn.WriteToUDP(packet, group); err != nil {
			return err
		}
	}
	return nil
}

// records are what was answered so far.
type records struct {
	service   string // as "_scpi-raw._tcp.local."
	instances []string
	srv       map[string]*dns.SRV
	txt       map[string][]string
	hosts     map[string][]net.IP
}

// mostInstances bounds what a network can make this program keep.
const mostInstances = 200

// mostAddresses bounds the addresses of one host.
const mostAddresses = 16

// add takes the records of one packet; what is no answer is passed over.
func (r *records) add(packet []byte) {
	m := new(dns.Msg)
	if err := m.Unpack(packet); err != nil || !m.Response {
		return
	}
	if r.srv == nil {
		r.srv, r.txt, r.hosts = map[string]*dns.SRV{}, map[string][]string{}, map[string][]net.IP{}
	}
	for _, x := range slices.Concat(m.Answer, m.Extra) {
		name := strings.ToLower(x.Header().Name)
		switch x := x.(type) {
		case *dns.PTR:
			if strings.EqualFold(x.Hdr.Name, r.service) && !slices.Contains(r.instances, x.Ptr) && len(r.instances) < mostInstances {
				r.instances = append(r.instances, x.Ptr)
			}
		case *dns.SRV:
			if len(r.srv) < mostInstances {
				r.srv[name] = x
			}
		case *dns.TXT:
			if len(r.txt) < mostInstances {
				r.txt[name] = x.Txt
			}
		case *dns.A:
			r.host(name, x.A)
		case *dns.AAAA:
			r.host(name, x.AAAA)
		}
	}
}

func (r *records) host(name string, ip net.IP) {
	known := r.hosts[name]
	if len(known) < mostAddresses && (len(known) > 0 || len(r.hosts) < mostInstances) && !slices.ContainsFunc(known, ip.Equal) {
		r.hosts[name] = append(r.hosts[name], ip)
	}
}

// missing is what is to be asked next: the service itself, and what was not
// sent along of the instances.
func (r *records) missing() []dns.Question {
	list := []dns.Question{{Name: r.service, Qtype: dns.TypePTR, Qclass: dns.ClassINET}}
	for _, i := range r.instances {
		srv := r.srv[strings.ToLower(i)]
		if srv == nil {
			list = append(list, dns.Question{Name: i, Qtype: dns.TypeSRV, Qclass: dns.ClassINET})
			continue
		}
		if r.txt[strings.ToLower(i)] == nil {
			list = append(list, dns.Question{Name: i, Qtype: dns.TypeTXT, Qclass: dns.ClassINET})
		}
		if len(r.hosts[strings.ToLower(srv.Target)]) == 0 {
			list = append(list, dns.Question{Name: srv.Target, Qtype: dns.TypeA, Qclass: dns.ClassINET})
		}
	}
	return list
}

// services puts together what is known whole.
func (r *records) services() (list []Service) {
	for _, i := range r.instances {
		srv := r.srv[strings.ToLower(i)]
		if srv == nil || srv.Port == 0 {
			continue
		}
		s := Service{Name: i, Host: preferred(r.hosts[strings.ToLower(srv.Target)]), Port: int(srv.Port), TXT: map[string]string{}}
		if s.Host == "" {
			s.Host = strings.ToLower(strings.TrimSuffix(srv.Target, "."))
		}
		for _, f := range r.txt[strings.ToLower(i)] {
			key, value, _ := strings.Cut(f, "=")
			s.TXT[key] = value
		}
		list = append(list, s)
	}
	return list
}

// preferred is the address to talk to: IPv4 first, and none that needs a zone,
// which a resource name has no room for.
func preferred(ips []net.IP) string {
	best := ""
	for _, ip := range ips {
		if ip.To4() != nil {
			return ip.String()
		}
		if best == "" && !ip.IsLinkLocalUnicast() {
			best = ip.String()
		}
	}
	return best
}

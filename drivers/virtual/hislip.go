package virtual

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net"
	"slices"
	"strings"
	"sync"
	"time"

	"bandproof/drivers/link/hislip"
)

// HiSLIP says what a HiSLIP server of the bench serves, and how.
type HiSLIP struct {
	// Instruments are the names of what is served, by sub-address ("hislip0").
	// An empty sub-address asks for hislip0, or for the only one there is.
	Instruments map[string]string
	// Overlap: the server prefers overlap mode. OneMode: it does no other.
	Overlap, OneMode bool
	// MaxMessage is the longest message in bytes, header counted, that the
	// server takes; 0 is 1 MiB.
	MaxMessage int
}

const (
	hislipDefaultMost = 1 << 20
	// hislipVendor is two letters that no maker has registered.
	hislipVendor = 'Z'<<8 | 'Z'
	// hislipPatience is how long a client may take to say what a connection is for.
	hislipPatience = 10 * time.Second
	// hislipComeBack is how long a new client waits for a session to end: one
	// that connects anew may be faster than the end of its old session.
	hislipComeBack = 500 * time.Millisecond
	hislipText     = 256 // bytes of payload that other messages than data may have
)

// hislipServer is one listener's.
type hislipServer struct {
	b   *Bench
	h   HiSLIP
	log *slog.Logger

	mu       sync.Mutex
	sessions map[uint16]*hislipSession
	last     uint16
	freed    chan struct{} // closed and made anew when a session has ended
}

// ServeHiSLIP serves instruments by HiSLIP (IVI-6.1, revision 1.0: both modes,
// no locks, no encryption) until the context ends; it closes the listener, and
// returns when all sessions have ended. Each instrument has as many sessions at
// a time as the scenario says (one unless stated); further ones are refused.
func (b *Bench) ServeHiSLIP(ctx context.Context, l net.Listener, h HiSLIP) error {
	s := &hislipServer{b: b, h: h, log: b.log.With("server", "HiSLIP", "on", l.Addr().String()), sessions: map[uint16]*hislipSession{}, freed: make(chan struct{})}
	if s.h.MaxMessage <= hislip.HeaderSize {
		s.h.MaxMessage = hislipDefaultMost
	}
	for address, name := range h.Instruments {
		if _, err := b.device(name); err != nil {
			return errors.Join(fmt.Errorf("HiSLIP sub-address %q: %w", address, err), l.Close())
		}
	}
	var serving sync.WaitGroup
	defer serving.Wait()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stop := context.AfterFunc(ctx, func() { _ = l.Close() })
	defer stop()
	for {
		conn, err := l.Accept()
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("virtual HiSLIP server: accept on %s: %w", l.Addr(), err)
		}
		serving.Go(func() {
			if err := s.connection(ctx, conn); err != nil {
				s.log.Debug("connection ended", "client", conn.RemoteAddr().String(), "reason", err.Error())
			}
		})
	}
}

// connection serves one connection, which its first message makes the
// synchronous channel of a new session or the asynchronous one of an old.
func (s *hislipServer) connection(ctx context.Context, conn net.Conn) error {
	defer func() { _ = conn.Close() }()
	stop := context.AfterFunc(ctx, func() { _ = conn.Close() })
	defer stop()
	ch := &hislipChannel{conn: conn, in: hislip.NewReader(conn, hislipText)}
	if err := conn.SetReadDeadline(time.Now().Add(hislipPatience)); err != nil {
		return err
	}
	m, err := ch.in.Next()
	if err != nil {
		return ch.refuse(err)
	}
	if err := conn.SetReadDeadline(time.Time{}); err != nil {
		return err
	}
	switch m.Type {
	case hislip.Initialize:
		return s.synchronous(ctx, ch, m)
	case hislip.AsyncInitialize:
		return s.asynchronous(ctx, ch, m)
	}
	return ch.fatal(hislip.FatalSequence, "%s came before %s", m.Type, hislip.Initialize)
}

// synchronous opens a session and serves it.
func (s *hislipServer) synchronous(ctx context.Context, ch *hislipChannel, m hislip.Message) error {
	name, err := s.instrument(string(m.Payload))
	if err != nil {
		return ch.fatal(hislip.FatalSequence, "%v", err)
	}
	x, err := s.session(ctx, name, ch)
	if err != nil {
		return ch.fatal(hislip.FatalClients, "%v", err)
	}
	defer s.forget(x)
	version, _ := hislip.SplitParameter(m.Parameter)
	answer := hislip.Message{Type: hislip.InitializeResponse, Parameter: hislip.InitializeParameter(min(version, hislip.Version1), x.id)}
	if x.overlap {
		answer.Control = hislip.Overlap
	}
	if err := ch.send(answer); err != nil {
		return err
	}
	return x.serve(ctx)
}

// asynchronous joins a session and serves that side of it.
func (s *hislipServer) asynchronous(ctx context.Context, ch *hislipChannel, m hislip.Message) error {
	s.mu.Lock()
	x := s.sessions[uint16(m.Parameter)]
	taken := x != nil && !x.join(ch)
	s.mu.Unlock()
	switch {
	case x == nil:
		return ch.fatal(hislip.FatalSequence, "there is no session %d", uint16(m.Parameter))
	case taken:
		return ch.fatal(hislip.FatalSequence, "session %d has its asynchronous channel", x.id)
	}
	defer x.hangUp()
	if err := ch.send(hislip.Message{Type: hislip.AsyncInitializeResponse, Parameter: hislipVendor}); err != nil {
		return err
	}
	return x.serveAsync(ctx, ch)
}

// instrument finds what a sub-address names.
func (s *hislipServer) instrument(address string) (string, error) {
	if address == "" {
		address = "hislip0"
		if len(s.h.Instruments) == 1 {
			for only := range s.h.Instruments {
				address = only
			}
		}
	}
	if name, ok := s.h.Instruments[strings.ToLower(address)]; ok {
		return name, nil
	}
	return "", fmt.Errorf("there is no sub-address %q here, only %s", address, strings.Join(slices.Sorted(maps.Keys(s.h.Instruments)), ", "))
}

// session opens one, unless the instrument has as many as it takes.
func (s *hislipServer) session(ctx context.Context, name string, ch *hislipChannel) (*hislipSession, error) {
	d, err := s.b.device(name)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, hislipComeBack)
	defer cancel()
	for {
		x, freed, err := s.free(d, ch)
		if x != nil || err != nil {
			return x, err
		}
		select {
		case <-freed:
		case <-ctx.Done():
			return nil, fmt.Errorf("%s has all the sessions that it takes", name)
		}
	}
}

// free opens a session if there is a place; else it tells when to ask again.
func (s *hislipServer) free(d device, ch *hislipChannel) (*hislipSession, <-chan struct{}, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	have := 0
	for _, x := range s.sessions {
		if x.name == d.name() {
			have++
		}
	}
	if have >= max(1, d.link().Clients) {
		return nil, s.freed, nil
	}
	for s.last++; s.sessions[s.last] != nil; s.last++ {
	}
	x, err := newHiSLIPSession(s, d, s.last, ch)
	if err != nil {
		return nil, nil, err
	}
	s.sessions[x.id] = x
	return x, nil, nil
}

// forget ends a session.
func (s *hislipServer) forget(x *hislipSession) {
	x.hangUp()
	x.talk.Close()
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.sessions, x.id)
	close(s.freed)
	s.freed = make(chan struct{})
}

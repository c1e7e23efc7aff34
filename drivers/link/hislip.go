package link

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"

	"bandproof/drivers/link/hislip"
)

const (
	// hislipTakes is the longest HiSLIP message, in bytes with its header, that
	// is announced to the instrument. A longer answer comes as several.
	hislipTakes = 1 << 20
	// hislipVendor is two letters that no maker has registered.
	hislipVendor = 'Z'<<8 | 'Z'
)

// openHiSLIP connects to an instrument by HiSLIP (IVI-6.1): two TCP
// connections, one for messages in their order and one for what must not wait.
func (o Opener) openHiSLIP(ctx context.Context, r Resource, c Config) (Link, error) {
	if r.Port == 0 {
		r.Port = hislip.Port
	}
	dial := o.Dial
	if dial == nil {
		dial = (&net.Dialer{}).DialContext
	}
	return o.openMessages(ctx, r, c, func(ctx context.Context) (messenger, error) {
		s := &hislipSession{log: o.Log.With("address", r.String()), wantOverlap: c.Overlap}
		if err := s.connect(ctx, dial, r); err != nil {
			return nil, errors.Join(err, s.close())
		}
		return s, nil
	})
}

// hislipSession is a client's session. Its methods are called by one goroutine,
// but close; the asynchronous channel is read by another.
type hislipSession struct {
	log         *slog.Logger
	wantOverlap bool

	conn    net.Conn       // synchronous channel
	in      *hislip.Reader // of conn
	asyncs  *hislipAsync   // asynchronous channel
	closing sync.Once
	broken  error // why the session is of no more use

	overlap   bool   // the mode that was agreed on
	payload   int    // the longest that the instrument takes in one message
	id        uint32 // of the next message
	rmt       bool   // a response has been handed on since the last message
	owed      bool   // a message was sent since the last response that was handed on
	unsent    []byte // rest of a message that was cut off in sending
	delivered uint32 // overlap mode: identifier of the last response handed on
	cut       int    // Interrupted messages since the last clear
}

// dialFunc makes TCP connections.
type dialFunc = func(ctx context.Context, network, address string) (net.Conn, error)

// connect makes both connections and agrees on sizes and mode.
func (s *hislipSession) connect(ctx context.Context, dial dialFunc, r Resource) error {
	s.restart()
	var err error
	if s.conn, err = dialHiSLIP(ctx, dial, r); err != nil {
		return err
	}
	s.in = hislip.NewReader(s.conn, hislipTakes)
	session, err := s.initialize(ctx, r.LANDevice)
	if err != nil {
		return err
	}
	conn, err := dialHiSLIP(ctx, dial, r)
	if err != nil {
		return err
	}
	s.asyncs = newHiSLIPAsync(conn, s.log)
	if _, err := s.must(ctx, hislip.Message{Type: hislip.AsyncInitialize, Parameter: uint32(session)}, hislip.AsyncInitializeResponse); err != nil {
		return err
	}
	size, err := s.must(ctx, hislip.Message{Type: hislip.AsyncMaximumMessageSize, Payload: hislip.Size(hislipTakes)}, hislip.AsyncMaximumMessageSizeResponse)
	if err != nil {
		return err
	}
	most, err := hislip.SizeOf(size.Payload)
	if err == nil && most <= hislip.HeaderSize {
		err = fmt.Errorf("the instrument takes messages of at most %d bytes, of which the header is %d", most, hislip.HeaderSize)
	}
	if err != nil {
		return &Error{Kind: ErrProtocol, Err: err}
	}
	s.payload = int(min(most, hislipTakes) - hislip.HeaderSize)
	return s.agree(ctx)
}

// must asks what every instrument has to answer.
func (s *hislipSession) must(ctx context.Context, m hislip.Message, want hislip.Type) (hislip.Message, error) {
	answer, err := s.asyncs.ask(ctx, m, want)
	if errors.Is(err, errors.ErrUnsupported) {
		return answer, &Error{Kind: ErrProtocol, Err: fmt.Errorf("%s: %v", m.Type, err)}
	}
	if err != nil {
		return answer, fmt.Errorf("%s: %w", m.Type, err)
	}
	return answer, nil
}

// dialHiSLIP makes one of the two connections.
func dialHiSLIP(ctx context.Context, dial dialFunc, r Resource) (net.Conn, error) {
	conn, err := dial(ctx, "tcp", r.hostPort())
	switch {
	case err == nil:
	case ctx.Err() != nil:
		return nil, err
	default:
		return nil, &Error{Kind: ErrDisconnected, Err: dialHint(err)}
	}
	if tcp, ok := conn.(*net.TCPConn); ok {
		// Without it the link works as well, only slower to notice.
		_ = tcp.SetKeepAliveConfig(keepAlive)
	}
	return conn, nil
}

// initialize opens the session and tells its number.
func (s *hislipSession) initialize(ctx context.Context, subAddress string) (session uint16, err error) {
	hello := hislip.Message{Type: hislip.Initialize, Parameter: hislip.InitializeParameter(hislip.Version1, hislipVendor), Payload: []byte(subAddress)}
	if err := s.send(ctx, hello); err != nil {
		return 0, err
	}
	m, err := s.next(ctx)
	if err != nil {
		return 0, err
	}
	if f, ok := hislip.FaultOf(m); ok {
		e := hislipFault(f)
		e.Err = fmt.Errorf("%w; is there an instrument at sub-address %q?", e.Err, subAddress)
		return 0, e
	}
	if m.Type != hislip.InitializeResponse {
		return 0, &Error{Kind: ErrProtocol, Err: fmt.Errorf("%s came instead of %s", m.Type, hislip.InitializeResponse)}
	}
	s.overlap = m.Control&hislip.Overlap != 0
	version, session := hislip.SplitParameter(m.Parameter)
	s.log.Debug("HiSLIP session", "version", fmt.Sprintf("%d.%d", version>>8, version&0xff), "session", session, "prefers_overlap", s.overlap)
	return session, nil
}

// agree brings the session into the mode that is wanted: only a device clear
// can change it. What the instrument says then holds.
func (s *hislipSession) agree(ctx context.Context) error {
	if s.overlap == s.wantOverlap {
		return nil
	}
	if err := s.clear(ctx); err != nil && !errors.Is(err, errors.ErrUnsupported) {
		return fmt.Errorf("change the mode by a device clear: %w", err)
	}
	if s.overlap != s.wantOverlap {
		s.log.Warn("the instrument keeps to its own HiSLIP mode", "overlap", s.overlap, "asked_for_overlap", s.wantOverlap)
	}
	return nil
}

// restart is the state after Initialize and after a device clear.
func (s *hislipSession) restart() {
	s.id, s.delivered = hislip.FirstID, hislip.NoneSentID
	s.rmt, s.owed, s.unsent, s.cut = false, false, nil, 0
}

// close ends both connections and waits for the reader of the asynchronous one.
func (s *hislipSession) close() error {
	var err error
	s.closing.Do(func() {
		if s.conn != nil {
			err = s.conn.Close()
		}
		if errors.Is(err, net.ErrClosed) {
			err = nil // the session was over already
		}
		if s.asyncs != nil {
			err = errors.Join(err, s.asyncs.close())
		}
	})
	return err
}

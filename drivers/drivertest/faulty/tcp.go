package faulty

import (
	"context"
	"net"
	"sync"
	"time"
)

// TCP carries connections to a server over one line, one after the other or at
// the same time.
type TCP struct {
	line     *Line
	target   string
	listener net.Listener
	life     context.Context
	end      context.CancelFunc
	running  sync.WaitGroup
}

// NewTCP listens on a port of its own and connects whoever comes to the target
// (host:port).
func NewTCP(line *Line, target string) (*TCP, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	p := &TCP{line: line, target: target, listener: l}
	p.life, p.end = context.WithCancel(context.Background())
	p.running.Go(p.accept)
	return p, nil
}

// Port is where the driver has to connect to, on 127.0.0.1.
func (p *TCP) Port() int { return p.listener.Addr().(*net.TCPAddr).Port }

// Close ends all connections and waits for them.
func (p *TCP) Close() error {
	p.end()
	err := p.listener.Close()
	p.running.Wait()
	return err
}

func (p *TCP) accept() {
	for {
		near, err := p.listener.Accept()
		if err != nil {
			return
		}
		p.running.Go(func() { p.serve(near) })
	}
}

// serve carries one connection until either end leaves or it is cut.
func (p *TCP) serve(near net.Conn) {
	far, err := net.Dial("tcp", p.target)
	if err != nil {
		_ = near.Close()
		return
	}
	var once sync.Once
	end := func() {
		once.Do(func() {
			_ = near.Close()
			_ = far.Close()
		})
	}
	ctx, cancel := context.WithCancel(p.life)
	defer cancel()
	stop := context.AfterFunc(ctx, end)
	defer stop()
	cut := func(away time.Duration) bool {
		if tcp, ok := near.(*net.TCPConn); ok && away > 50*time.Millisecond {
			_ = tcp.SetLinger(0) // a reset instead of an end
		}
		end()
		return false
	}
	var both sync.WaitGroup
	both.Go(func() { defer cancel(); defer end(); p.line.lanes[ToInstrument].carry(ctx, near, writeTo(far), cut) })
	both.Go(func() { defer cancel(); defer end(); p.line.lanes[ToDriver].carry(ctx, far, writeTo(near), cut) })
	both.Wait()
}

func writeTo(c net.Conn) func([]byte) error {
	return func(p []byte) error {
		_, err := c.Write(p)
		return err
	}
}

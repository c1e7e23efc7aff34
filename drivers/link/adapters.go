package link

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime"
	"sync"
)

// Adapters are the GPIB adapters that the links of one program share: one
// connection for each adapter, however many instruments are behind it. The
// zero value is ready for use; it is safe for concurrent use.
type Adapters struct {
	mutex sync.Mutex
	open  map[string]*adapter // by their addresses in canonical form
	// leaving: connections that are being given up; closed when they are. An
	// adapter has room for one.
	leaving map[string]chan struct{}
}

// take gives the adapter at an address to one more link; settings are those of
// its line.
func (s *Adapters) take(ctx context.Context, via Resource, c Config, log *slog.Logger, connect func(ctx context.Context) (carrier, error)) (*adapter, error) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	for gone := s.leaving[via.String()]; gone != nil; gone = s.leaving[via.String()] {
		s.mutex.Unlock()
		select {
		case <-gone:
		case <-ctx.Done():
		}
		s.mutex.Lock()
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("the connection that another link had to the adapter is not yet given up: %w", err)
		}
	}
	settings := lineSettings(via, c)
	a := s.open[via.String()]
	switch {
	case a == nil:
		a = newAdapter(via.String(), settings, log, connect)
		if s.open == nil {
			s.open = map[string]*adapter{}
		}
		s.open[via.String()] = a
	case a.settings != settings:
		return nil, &Error{Kind: ErrConfig, Err: fmt.Errorf("the adapter at %s is in use with %s; this instrument states %s", via, a.settings, settings)}
	}
	a.users.Add(1)
	return a, nil
}

// release gives an adapter back; whoever is the last closes it.
func (s *Adapters) release(a *adapter) error {
	s.mutex.Lock()
	last := a.users.Add(-1) == 0
	gone := make(chan struct{})
	if last {
		delete(s.open, a.name)
		if s.leaving == nil {
			s.leaving = map[string]chan struct{}{}
		}
		s.leaving[a.name] = gone
	}
	s.mutex.Unlock()
	if !last {
		return nil
	}
	defer func() {
		s.mutex.Lock()
		defer s.mutex.Unlock()
		delete(s.leaving, a.name)
		close(gone)
	}()
	// No link has it, so nobody is in a turn, nor will be.
	return a.leave(errors.New("no link uses the adapter"))
}

// lineSettings says how an adapter's line is set.
func lineSettings(via Resource, c Config) string {
	if via.Kind != Serial {
		return "a socket"
	}
	return fmt.Sprintf("%d baud, %d data bits, parity %s, %s stop bits, flow control %s", c.Baud, c.DataBits, c.Parity, c.StopBits, c.FlowControl)
}

// lineTo makes connections to an adapter.
func (o Opener) lineTo(via Resource, c Config) func(ctx context.Context) (carrier, error) {
	if via.Kind == Socket {
		return func(ctx context.Context) (carrier, error) { return o.dialSocket(ctx, via) }
	}
	return func(context.Context) (carrier, error) {
		name, err := portName(via, runtime.GOOS)
		if err != nil {
			return nil, &Error{Kind: ErrAddress, Err: fmt.Errorf("via: %w", err)}
		}
		return openPort(name, c)
	}
}

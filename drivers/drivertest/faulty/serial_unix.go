//go:build unix

package faulty

import (
	"context"
	"errors"
	"io"
	"sync"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/virtual"
)

// Serial carries a pseudo-terminal, which the driver opens by a symbolic link,
// to an instrument. After a cut the terminal is another one with the same link,
// as an adapter that was unplugged and plugged in again; the instrument notices
// nothing but lost bytes.
type Serial struct {
	line *Line
	link string
	far  io.ReadWriteCloser
	life context.Context
	end  context.CancelFunc
	runs sync.WaitGroup

	mutex sync.Mutex
	near  *virtual.PTY // nil: unplugged
	again chan time.Duration
}

// NewSerial makes the terminal, linked at link, and carries it to far, which
// Close closes.
func NewSerial(line *Line, link string, far io.ReadWriteCloser) (*Serial, error) {
	near, err := virtual.OpenPTY(link)
	if err != nil {
		return nil, err
	}
	s := &Serial{line: line, link: link, far: far, near: near, again: make(chan time.Duration, 1)}
	s.life, s.end = context.WithCancel(context.Background())
	s.runs.Go(func() { s.line.lanes[ToDriver].carry(s.life, far, s.toDriver, s.cut) })
	s.runs.Go(func() { s.serve(near) })
	return s, nil
}

// ErrElsewhere: the port's name leads to another terminal than the one that is
// carried, so that what the driver met was no fault of the schedule. It happens
// where the system puts a new file system over its terminals, whose numbers
// begin anew.
var ErrElsewhere = errors.New("the name of the port leads to another terminal")

// Close unplugs for good and waits. The error is ErrElsewhere where the test
// has lost its port.
func (s *Serial) Close() error {
	s.mutex.Lock()
	near := s.near
	s.mutex.Unlock()
	var lost error
	if near != nil && !near.Reached() {
		lost = ErrElsewhere
	}
	s.end()
	err := errors.Join(lost, s.far.Close())
	if near != nil {
		_ = near.Close()
	}
	s.runs.Wait()
	return err
}

// serve carries from one terminal after the other.
func (s *Serial) serve(near *virtual.PTY) {
	for {
		s.line.lanes[ToInstrument].carry(s.life, near, s.toInstrument, s.cut)
		if s.life.Err() != nil {
			return
		}
		var away time.Duration
		select {
		case away = <-s.again:
		default:
		}
		if (drivers.WallClock{}).Sleep(s.life, away) != nil {
			return
		}
		fresh, err := virtual.OpenPTY(s.link)
		if err != nil {
			return // the driver finds no port from now on, and its test tells
		}
		near = fresh
		s.mutex.Lock()
		s.near = near
		over := s.life.Err() != nil
		s.mutex.Unlock()
		if over {
			_ = near.Close()
			return
		}
	}
}

// cut unplugs; serve plugs in again.
func (s *Serial) cut(away time.Duration) bool {
	s.mutex.Lock()
	near := s.near
	s.near = nil
	s.mutex.Unlock()
	if near != nil {
		select {
		case s.again <- away:
		default:
		}
		_ = near.Close()
	}
	return true
}

func (s *Serial) toInstrument(p []byte) error {
	_, err := s.far.Write(p)
	return err
}

// toDriver loses what comes while the port is unplugged.
func (s *Serial) toDriver(p []byte) error {
	s.mutex.Lock()
	near := s.near
	s.mutex.Unlock()
	if near != nil {
		_, _ = near.Write(p)
	}
	return nil
}

//go:build linux || windows || cgo

package main

import (
	"errors"
	"io"
	"sync/atomic"
	"time"

	"github.com/tarm/serial"
)

// serialTimeout is the read timeout given to the port: the library can close a
// port only between reads, and its granularity is 100 ms.
const serialTimeout = 100 * time.Millisecond

// serialPort hides that the library reports a timeout as io.EOF, which it does
// for a port that hung up as well.
type serialPort struct {
	port   *serial.Port
	closed atomic.Bool
}

func openSerial(device string, baud int) (io.ReadWriteCloser, error) {
	p, err := serial.OpenPort(&serial.Config{Name: device, Baud: baud, ReadTimeout: serialTimeout})
	if err != nil {
		return nil, err
	}
	return &serialPort{port: p}, nil
}

// Read waits for bytes. A run of timeouts that come far too soon means that
// the other end has hung up.
func (s *serialPort) Read(p []byte) (int, error) {
	const tooSoon, most = serialTimeout / 4, 20
	for early := 0; early < most; {
		if s.closed.Load() {
			return 0, io.ErrClosedPipe
		}
		start := time.Now()
		n, err := s.port.Read(p)
		if n > 0 || err != nil && !errors.Is(err, io.EOF) {
			return n, err
		}
		if time.Since(start) < tooSoon {
			early++
		} else {
			early = 0
		}
	}
	return 0, io.EOF
}

// Write sends bytes.
func (s *serialPort) Write(p []byte) (int, error) { return s.port.Write(p) }

// Close ends a Read at its next timeout.
func (s *serialPort) Close() error {
	if s.closed.Swap(true) {
		return nil
	}
	return s.port.Close()
}

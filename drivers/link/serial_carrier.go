package link

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"go.bug.st/serial"
)

// serialPort is a carrier on a serial port.
type serialPort struct {
	*guard
	claim *portClaim
	spare *patientWriter // where the system can't write with a deadline
}

// read gives what has come; nothing within readPoll is no error.
func (s *serialPort) read(p []byte) (int, error) {
	n, err := s.guard.Read(p)
	var code *serial.PortError
	if errors.As(err, &code) && code.Code() == serial.PortClosed {
		// The library says "closed" of a hang-up as well, and this is one:
		// our own Close stops the reading first.
		err = errors.New("the port has hung up; was the adapter unplugged?")
	}
	return n, err
}

func (s *serialPort) send(ctx context.Context, p []byte) error {
	err := s.claim.send(ctx, p)
	if errors.Is(err, os.ErrNoDeadline) {
		return s.spare.send(ctx, p)
	}
	if err != nil && ctx.Err() == nil {
		return fmt.Errorf("%w; was the adapter unplugged?", err)
	}
	return err
}

// drop forgets what the instrument has not yet taken.
func (s *serialPort) drop(ctx context.Context) error {
	if err := s.guard.ResetOutputBuffer(); err != nil && !errors.Is(err, errors.ErrUnsupported) {
		return fmt.Errorf("forget what was to be sent: %w", err)
	}
	return s.spare.wait(ctx)
}

func (s *serialPort) close() error {
	err := errors.Join(s.guard.Close(), s.claim.release())
	limited, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	return errors.Join(err, s.spare.wait(limited))
}

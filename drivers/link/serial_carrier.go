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

	charPace time.Duration // after each character
	broken   bool          // drop sends a break
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

// send sends at once, or character by character to a slow receiver.
func (s *serialPort) send(ctx context.Context, p []byte) error {
	if s.charPace <= 0 {
		return s.sendNow(ctx, p)
	}
	for i := range p {
		if err := s.sendNow(ctx, p[i:i+1]); err != nil {
			return fmt.Errorf("%d of %d bytes were taken: %w", i, len(p), err)
		}
		if err := pause(ctx, s.charPace); err != nil {
			return fmt.Errorf("%d of %d bytes were taken: %w", i+1, len(p), err)
		}
	}
	return nil
}

func (s *serialPort) sendNow(ctx context.Context, p []byte) error {
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
	if err := s.spare.wait(ctx); err != nil || !s.broken {
		return err
	}
	if err := s.guard.Break(breakTime); err != nil {
		return fmt.Errorf("send a break: %w", err)
	}
	return nil
}

// breakTime is longer than a character at 50 baud and shorter than what an
// adapter takes for a cable that is off; common practice, no source.
const breakTime = 250 * time.Millisecond

func (s *serialPort) close() error {
	err := errors.Join(s.guard.Close(), s.claim.release())
	limited, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	return errors.Join(err, s.spare.wait(limited))
}

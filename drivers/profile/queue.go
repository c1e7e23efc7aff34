package profile

import (
	"context"
	"fmt"
	"strings"

	"bandproof/drivers"
)

// defaultBound is how many entries are read from an error queue at a time. A
// queue that is longer than this is one that never ends.
const defaultBound = 50

// drain empties the error queue and returns its entries, oldest first. ended
// is false where the bound was reached first.
func (s *session) drain(ctx context.Context) (entries []string, ended bool, err error) {
	e := s.file.Errors
	if e == nil {
		return nil, true, nil
	}
	for range or(e.Bound, defaultBound) {
		answer, err := s.ask(ctx, e.Query, s.timeout())
		if err != nil {
			return entries, false, err
		}
		code, text, err := errorEntry(answer)
		if err != nil {
			return entries, false, s.understand(e.Query, err)
		}
		if code == e.None {
			return entries, true, nil
		}
		entries = append(entries, text)
	}
	return entries, false, nil
}

// complaints empties the error queue after a command: what stands in it is the
// instrument's refusal of that command.
func (s *session) complaints(ctx context.Context) error {
	entries, ended, err := s.drain(ctx)
	if err != nil {
		return fmt.Errorf("read the error queue: %w", err)
	}
	if len(entries) == 0 {
		return nil
	}
	if !ended {
		entries = append(entries, fmt.Sprintf("and more: the queue did not end after %d entries", len(entries)))
	}
	return fmt.Errorf("%w: %s", drivers.ErrInstrument, strings.Join(entries, "; "))
}

// forgetComplaints empties the error queue of what stands in it from before,
// which is no answer to anything that this conversation sent.
func (s *session) forgetComplaints(ctx context.Context, when string) error {
	_, err := s.oldComplaints(ctx, when)
	return err
}

// oldComplaints is forgetComplaints, and returns what it took.
func (s *session) oldComplaints(ctx context.Context, when string) ([]string, error) {
	entries, ended, err := s.drain(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the error queue: %w", err)
	}
	if len(entries) > 0 {
		s.log.Warn("error queue was not empty", "when", when, "entries", entries, "ended", ended)
	}
	if !ended {
		return nil, fmt.Errorf("%w: the error queue did not end after %d entries", drivers.ErrInstrument, len(entries))
	}
	return entries, nil
}

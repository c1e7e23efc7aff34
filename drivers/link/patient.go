package link

import (
	"context"
	"errors"
	"fmt"
)

// patientWriter writes to something whose Write can neither be given a deadline
// nor be ended: it writes in a goroutine, and gives up waiting for it. While
// that goroutine is stuck nothing else is written.
type patientWriter struct {
	write   func(p []byte) (int, error)
	pending chan error // the result of the write under way; nil: none
}

// send writes all bytes unless the context ends first.
func (w *patientWriter) send(ctx context.Context, p []byte) error {
	if err := w.wait(ctx); err != nil {
		return err
	}
	result := make(chan error, 1)
	w.pending = result
	go func() { result <- writeAll(ctx, w.write, p) }()
	select {
	case err := <-result:
		w.pending = nil
		return err
	case <-ctx.Done():
		return fmt.Errorf("the write did not end: %w", ctx.Err())
	}
}

// writeAll goes on after a write that took fewer bytes than it was given
// without an error, and stops when the context has ended.
func writeAll(ctx context.Context, write func(p []byte) (int, error), p []byte) error {
	for len(p) > 0 {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, err := write(p)
		if err != nil {
			return err
		}
		if n <= 0 {
			return errors.New("the port takes no bytes")
		}
		p = p[n:]
	}
	return nil
}

// wait waits for a write that was given up.
func (w *patientWriter) wait(ctx context.Context) error {
	if w.pending == nil {
		return nil
	}
	select {
	case <-w.pending: // its result was that of an operation long over
		w.pending = nil
		return nil
	case <-ctx.Done():
		return fmt.Errorf("an earlier write is stuck: %w", ctx.Err())
	}
}

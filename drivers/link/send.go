package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"
)

// deadlineWriter is what sockets and unix descriptors have in common.
type deadlineWriter interface {
	io.Writer
	SetWriteDeadline(t time.Time) error
}

// errNothingSent: time was over before the first byte was taken, so that what
// comes next is not garbled by it.
var errNothingSent = errors.New("nothing was sent")

// sendWithin writes all bytes unless the context ends first.
func sendWithin(ctx context.Context, w deadlineWriter, p []byte) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("%w: %w", errNothingSent, err)
	}
	release := onEnd(ctx, func() { _ = w.SetWriteDeadline(time.Unix(1, 0)) })
	n, err := w.Write(p)
	if release() {
		err = errors.Join(err, w.SetWriteDeadline(time.Time{})) // for the next message
	}
	switch {
	case err == nil && n < len(p):
		return io.ErrShortWrite
	case errors.Is(err, os.ErrDeadlineExceeded) && n == 0:
		return fmt.Errorf("%w: %w", errNothingSent, err)
	case errors.Is(err, os.ErrDeadlineExceeded):
		return fmt.Errorf("%d of %d bytes were taken: %w", n, len(p), err)
	}
	return err
}

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

// sendWithin writes all bytes unless the context ends first.
func sendWithin(ctx context.Context, w deadlineWriter, p []byte) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	release := onEnd(ctx, func() { _ = w.SetWriteDeadline(time.Unix(1, 0)) })
	n, err := w.Write(p)
	if release() {
		err = errors.Join(err, w.SetWriteDeadline(time.Time{})) // for the next message
	}
	switch {
	case err == nil && n < len(p):
		return io.ErrShortWrite
	case errors.Is(err, os.ErrDeadlineExceeded):
		return fmt.Errorf("%d of %d bytes were taken: %w", n, len(p), err)
	}
	return err
}

package drivers

import (
	"context"
	"time"
)

// Clock is the time that a run, a driver or a virtual bench goes by, so that a
// night can be tested in a second.
type Clock interface {
	Now() time.Time
	// Sleep returns nil once d has passed, else the error of the context.
	Sleep(ctx context.Context, d time.Duration) error
}

// WallClock is the clock of the machine. The zero value is ready to use.
type WallClock struct{}

// Now returns the time of day.
func (WallClock) Now() time.Time { return time.Now() }

// Sleep waits for d.
func (WallClock) Sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

package drivers

import (
	"context"
	"sync"
	"time"
)

// Clock is the time that a run, a driver or a virtual bench goes by, so that a
// night can be tested in a second.
type Clock interface {
	Now() time.Time
	// Sleep returns nil once d has passed, else the error of the context.
	Sleep(ctx context.Context, d time.Duration) error
}

// SteadyClock is a clock whose time of day may be set while it runs.
type SteadyClock interface {
	// Running is how long the clock has run, whatever was done to the time of
	// day. Whether it runs on while the computer is suspended is not stated.
	Running() time.Duration
}

// WallClock is the clock of the machine. The zero value is ready to use.
type WallClock struct{}

// Now returns the time of day.
func (WallClock) Now() time.Time { return time.Now() }

// Running is how long the program has run.
func (WallClock) Running() time.Duration { return time.Since(begun) }

// begun has the reading of the machine's monotonic clock.
var begun = time.Now()

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

// Alarm is a clock that calls a function itself when the time has come; for one
// whose time passes only while somebody sleeps by it.
type Alarm interface {
	After(d time.Duration, f func()) (stop func())
}

// After calls f once d has passed by the clock, in another goroutine, unless
// stop is called before. stop must be called, and not by f: it waits for an f
// that is under way.
func After(c Clock, d time.Duration, f func()) (stop func()) {
	if a, ok := c.(Alarm); ok {
		return a.After(d, f)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var waiting sync.WaitGroup
	waiting.Go(func() {
		if c.Sleep(ctx, d) == nil {
			f()
		}
	})
	return func() {
		cancel()
		waiting.Wait()
	}
}

// Within returns a context that ends once d has passed by the clock; its cause
// is then context.DeadlineExceeded. end must be called.
func Within(ctx context.Context, c Clock, d time.Duration) (within context.Context, end func()) {
	within, cancel := context.WithCancelCause(ctx)
	stop := After(c, d, func() { cancel(context.DeadlineExceeded) })
	return within, func() {
		stop()
		cancel(nil)
	}
}

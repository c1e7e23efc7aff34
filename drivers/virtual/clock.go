package virtual

import (
	"context"
	"fmt"
	"sync"
	"time"

	"bandproof/drivers"
)

// ScaledClock runs by a factor faster than the wall clock.
type ScaledClock struct {
	start  time.Time
	factor float64
}

// NewScaledClock returns a clock that runs by factor faster; factor must be
// between 1e-3 and 1e6.
func NewScaledClock(factor float64) (*ScaledClock, error) {
	if !(factor >= 1e-3 && factor <= 1e6) {
		return nil, fmt.Errorf("time scale %v is out of range; expected 0.001 to 1000000, where 1 is real time", factor)
	}
	return &ScaledClock{start: time.Now(), factor: factor}, nil
}

// Now returns the scaled time since the clock was made, on top of its start.
func (c *ScaledClock) Now() time.Time {
	return c.start.Add(time.Duration(float64(time.Since(c.start)) * c.factor))
}

// Sleep waits for d of the scaled time.
func (c *ScaledClock) Sleep(ctx context.Context, d time.Duration) error {
	return drivers.WallClock{}.Sleep(ctx, time.Duration(float64(d)/c.factor)+1)
}

// InstantClock never waits: Sleep only advances Now. It is safe for concurrent
// use. It begins at a fixed date, so that a test's times repeat.
type InstantClock struct {
	mu  sync.Mutex
	now time.Time
}

// NewInstantClock returns a clock that stands at the start of the year 2000.
func NewInstantClock() *InstantClock {
	return &InstantClock{now: time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)}
}

// Now returns the time that all sleeps have added up to.
func (c *InstantClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Sleep advances the clock by d.
func (c *InstantClock) Sleep(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(max(d, 0))
	return nil
}

// Instant tells the bench that no sleep takes real time; a clock that embeds
// InstantClock, to begin on another day, is instant as well.
func (*InstantClock) Instant() bool { return true }

func isInstant(c drivers.Clock) bool {
	i, ok := c.(interface{ Instant() bool })
	return ok && i.Instant()
}

package virtual

import (
	"context"
	"fmt"
	"slices"
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

// InstantClock never waits: Sleep only advances Now, and rings the alarms on the
// way. It is safe for concurrent use. It begins at a fixed date, so that a
// test's times repeat.
type InstantClock struct {
	mu     sync.Mutex
	now    time.Time
	alarms []*alarm // by time
}

// alarm is a function to be called at a time.
type alarm struct {
	at time.Time
	f  func()
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

// Sleep advances the clock by d, or up to an alarm that ends the context.
func (c *InstantClock) Sleep(ctx context.Context, d time.Duration) error {
	for left := max(d, 0); ; {
		if err := ctx.Err(); err != nil {
			return err
		}
		step, due := c.step(left)
		if due == nil {
			return nil
		}
		left -= step
		due.f()
	}
}

// step advances the clock to the next alarm within left, or by all of it.
func (c *InstantClock) step(left time.Duration) (step time.Duration, due *alarm) {
	c.mu.Lock()
	defer c.mu.Unlock()
	step = left
	if len(c.alarms) > 0 && c.alarms[0].at.Sub(c.now) <= left {
		due = c.alarms[0]
		c.alarms = c.alarms[1:]
		step = max(due.at.Sub(c.now), 0)
	}
	c.now = c.now.Add(step)
	return step, due
}

// After implements drivers.Alarm: f is called by who sleeps past the time.
func (c *InstantClock) After(d time.Duration, f func()) (stop func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	a := &alarm{c.now.Add(max(d, 0)), f}
	k, _ := slices.BinarySearchFunc(c.alarms, a, func(x, y *alarm) int {
		if x.at.After(y.at) {
			return 1
		}
		return -1 // behind those of the same time
	})
	c.alarms = slices.Insert(c.alarms, k, a)
	return func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.alarms = slices.DeleteFunc(c.alarms, func(x *alarm) bool { return x == a })
	}
}

// Instant tells the bench that no sleep takes real time; a clock that embeds
// InstantClock, to begin on another day, is instant as well.
func (*InstantClock) Instant() bool { return true }

func isInstant(c drivers.Clock) bool {
	i, ok := c.(interface{ Instant() bool })
	return ok && i.Instant()
}

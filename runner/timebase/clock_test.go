package timebase_test

import (
	"context"
	"time"

	"bandproof/drivers/virtual"
)

// told is a clock that tells somebody of each wait.
type told struct {
	*virtual.InstantClock
	tell func()
}

func (c told) Sleep(ctx context.Context, d time.Duration) error {
	c.tell()
	return c.InstantClock.Sleep(ctx, d)
}

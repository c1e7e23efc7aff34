package drivers_test

import (
	"context"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/virtual"

	"github.com/stretchr/testify/require"
)

// scaled is a clock without alarms of its own, so fast that nothing waits.
func scaled(t *testing.T) drivers.Clock {
	t.Helper()
	c, err := virtual.NewScaledClock(1e6)
	require.NoError(t, err)
	return c
}

func TestWithin(t *testing.T) {
	t.Run("passing time ends it", func(t *testing.T) {
		ctx, end := drivers.Within(t.Context(), scaled(t), time.Hour)
		defer end()
		<-ctx.Done()
		require.ErrorIs(t, context.Cause(ctx), context.DeadlineExceeded)
	})
	t.Run("its end is no time-out", func(t *testing.T) {
		ctx, end := drivers.Within(t.Context(), drivers.WallClock{}, time.Hour)
		end()
		<-ctx.Done()
		require.NotErrorIs(t, context.Cause(ctx), context.DeadlineExceeded)
	})
	t.Run("nor is what ends the parent", func(t *testing.T) {
		parent, cancel := context.WithCancel(t.Context())
		ctx, end := drivers.Within(parent, drivers.WallClock{}, time.Hour)
		defer end()
		cancel()
		<-ctx.Done()
		require.NotErrorIs(t, context.Cause(ctx), context.DeadlineExceeded)
	})
}

// In model time an alarm rings while somebody sleeps past it, at its own time,
// and a sleep that it ends goes no further.
func TestAlarmsInModelTime(t *testing.T) {
	c := virtual.NewInstantClock()
	began := c.Now()
	var rung []time.Duration
	ring := func() { rung = append(rung, c.Now().Sub(began)) }
	drivers.After(c, 3*time.Minute, ring)
	drivers.After(c, time.Minute, func() {
		ring()
		drivers.After(c, time.Minute, ring) // from within another
	})
	stop := drivers.After(c, 2*time.Minute, func() { t.Error("was stopped") })
	stop()
	require.NoError(t, c.Sleep(t.Context(), 30*time.Second))
	require.Empty(t, rung)
	require.NoError(t, c.Sleep(t.Context(), time.Hour))
	require.Equal(t, []time.Duration{time.Minute, 2 * time.Minute, 3 * time.Minute}, rung)
	require.Equal(t, time.Hour+30*time.Second, c.Now().Sub(began))

	ctx, end := drivers.Within(t.Context(), c, time.Minute)
	defer end()
	require.ErrorIs(t, c.Sleep(ctx, time.Hour), context.Canceled)
	require.ErrorIs(t, context.Cause(ctx), context.DeadlineExceeded)
	require.Equal(t, time.Hour+90*time.Second, c.Now().Sub(began), "it slept up to the alarm")
}

package runner_test

import (
	"context"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/virtual"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// settable is a clock whose time of day somebody sets.
type settable struct {
	*virtual.InstantClock
	by    *time.Duration
	start time.Time
}

func (c settable) Now() time.Time         { return c.InstantClock.Now().Add(*c.by) }
func (c settable) Running() time.Duration { return c.InstantClock.Now().Sub(c.start) }

// stopped is a unit at one of whose readings the computer is suspended.
type stopped struct {
	drivers.Counter
	clock *virtual.InstantClock
	at    int
	n     int
}

func (c *stopped) Read(ctx context.Context) (drivers.Reading, error) {
	if c.n++; c.n == c.at {
		if err := c.clock.Sleep(ctx, 3*time.Hour); err != nil {
			return drivers.Reading{}, err
		}
	}
	return c.Counter.Read(ctx)
}

// A step of the time of day, either way, changes no verdict, and the record says so once.
func TestClockIsSet(t *testing.T) {
	want := newRig(t, options{}).Run()
	for by, says := range map[time.Duration]string{-3 * time.Hour: "the computer's clock was set back by 3h0m0s", 2 * time.Hour: "the computer's clock went ahead by 2h0m0s"} {
		r := newRig(t, options{})
		var step time.Duration
		n := 0
		r.Setup.Clock = settable{r.Clock, &step, r.Clock.Now()}
		r.Setup.Watcher = watcher(func(runner.PointResult) {
			if n++; n == 2 {
				step = by
			}
		})
		got := r.Run()
		require.True(t, got.Complete)
		require.Equal(t, verdicts(want, "A"), verdicts(got, "A"))
		require.Equal(t, verdicts(want, "B"), verdicts(got, "B"))
		require.Len(t, got.Warnings, len(want.Warnings)+1)
		require.Contains(t, got.Warnings[len(want.Warnings)], says)
	}
}

// A gap of hours within a point is an event, and nothing else.
func TestComputerSuspended(t *testing.T) {
	undisturbed := newRig(t, options{})
	want := undisturbed.Run()
	r := newRig(t, options{})
	r.Setup.Counter = &stopped{Counter: r.Setup.Counter, clock: r.Clock, at: 9}
	got := r.Run()
	require.Equal(t, verdicts(want, "B"), verdicts(got, "B"))
	require.Equal(t, want.Warnings, got.Warnings)
	require.True(t, r.Journal.Said("nothing happened for 3h0m"))
	require.False(t, undisturbed.Journal.Said("nothing happened"))
}

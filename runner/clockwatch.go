package runner

import (
	"context"
	"fmt"
	"time"

	"bandproof/drivers"
)

const (
	stepLeast = 2 * time.Second // the least step of the time of day that is told
	gapLeast  = time.Minute     // the least time beyond the plan's in which nothing happened that is told
)

// instant is when something happened, by both clocks.
type instant struct {
	day     time.Time     // as records have it
	running time.Duration // by the clock that nobody can set; where there is none, as above
	point   string        // that was being read
}

// watchClock is called before and after each reading. It notes where the time of
// day was set while the run was on, which the times of the record then show, and
// where the program stood still, so that RF stayed on for longer than planned.
func (r *run) watchClock(ctx context.Context, res *PointResult) {
	now := instant{day: r.Clock.Now(), point: res.Point.ID}
	now.running = now.day.Sub(r.started)
	steady, ok := r.Clock.(drivers.SteadyClock)
	if ok {
		now.running = steady.Running()
	}
	last := r.moment
	r.moment = now
	if last.day.IsZero() {
		return
	}
	passed := now.running - last.running
	// Round(0) leaves the time of day alone of a time that has both.
	if step := now.day.Round(0).Sub(last.day.Round(0)) - passed; ok && step.Abs() >= stepLeast {
		r.warn(ctx, stepped(step))
	}
	planned := time.Duration(res.Point.Seconds * float64(time.Second))
	if last.point == now.point && passed > planned+gapLeast && !r.byHand() {
		r.event(ctx, fmt.Sprintf("nothing happened for %s at point %s, which takes %s: the computer was suspended, or the program stopped", passed.Round(time.Second),
			now.point, planned.Round(time.Second)))
	}
}

// stepped says in words how the time of day was changed.
func stepped(by time.Duration) string {
	if by < 0 {
		return fmt.Sprintf("the computer's clock was set back by %s during the run; times before and after that do not fit together", by.Abs().Round(time.Second))
	}
	return fmt.Sprintf("the computer's clock went ahead by %s against its running time: it was set, or the computer was suspended", by.Round(time.Second))
}

// byHand tells whether a person takes part in each point, who is given any time.
func (r *run) byHand() bool {
	if _, ok := r.Counter.(drivers.ByHand); ok {
		return true
	}
	if r.at == nil {
		return false
	}
	_, ok := r.at.source.(drivers.ByHand)
	return ok
}

// otherwise is called where time passes for a reason that is told elsewhere.
func (r *run) otherwise() { r.moment.point = "" }

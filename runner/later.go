package runner

import (
	"context"
	"fmt"
	"slices"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
)

// Patience with a source that is still not good when the sweep of its path is
// through: points put off are tried in rounds, with a pause before each but the
// first that grows fourfold.
const (
	laterRounds = 3
	laterPause  = 5 * time.Second
)

// later takes the points of a stop that were put off. Those that wait for a
// source come first in each round: where one passes, it proves the path for
// those that read nothing. A source that a person sets is tried once more only:
// somebody has looked at it.
func (r *run) later(ctx context.Context, at *place, points []procedures.Point) (gone bool, err error) {
	if len(points) == 0 {
		return false, nil
	}
	r.event(ctx, fmt.Sprintf("input %s: %d points put off, taken again now", at.input.Name, len(points)))
	_, byHand := at.source.(drivers.ByHand)
	noCount := func(p procedures.Point) bool { return r.begun[p.ID].noCount }
	pause := laterPause
	for round := 1; len(points) > 0; round++ {
		slices.SortStableFunc(points, func(a, b procedures.Point) int { return rankOf(noCount(a)) - rankOf(noCount(b)) })
		waits := !noCount(points[0])
		if round > 1 && waits {
			r.event(ctx, fmt.Sprintf("input %s: source %s is still not good, trying again in %s", at.input.Name, at.spec.Name, pause))
			if err := r.Clock.Sleep(ctx, pause); err != nil {
				return false, err
			}
			pause *= 4
		}
		last := round == laterRounds || byHand || !waits
		var still []procedures.Point
		for k, p := range points {
			o, err := r.point(ctx, at, p, last)
			if err != nil {
				return false, err
			}
			switch o {
			case deferred:
				still = append(still, p)
			case nobody:
				return true, r.nobodyLeft(ctx, append(slices.Clone(points[k+1:]), still...))
			}
		}
		points = still
	}
	return false, nil
}

func rankOf(last bool) int {
	if last {
		return 1
	}
	return 0
}

// lockHeld asks the source for its lock as soon as a reading looks wrong, so
// that a lock that was lost between readings, and regained before the last of
// them, is not booked on the unit: all readings of the set are then discarded.
func (r *run) lockHeld(ctx context.Context, res *PointResult) (bench Reason, err error) {
	if r.at == nil || !res.lastWrong() {
		return "", nil
	}
	reporter, ok := r.at.source.(drivers.LockReporter)
	if !ok {
		return "", nil
	}
	locked := false
	err = r.retryLink(ctx, r.at.source, func() (err error) { locked, err = reporter.Locked(ctx); return err })
	if err != nil || locked {
		return "", err
	}
	res.Setting.Locked = yesNo(false)
	res.Setting.Refused++
	res.use(Counted, Discarded)
	res.Notes = append(res.Notes, "the source lost its lock between readings")
	return decision.SourceNotLocked, nil
}

// lastWrong tells whether the reading that came last would not pass.
func (p *PointResult) lastWrong() bool {
	if len(p.Readings) == 0 {
		return false
	}
	x := p.Readings[len(p.Readings)-1]
	return x.Mark != drivers.None || x.Frequency.Exact().Sub(p.Reference).Abs().Cmp(p.Limit.Total) > 0
}

package runner

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// A link that is dead is tried again with pauses that double, up to longestPause.
const (
	firstWait    = time.Second
	longestPause = 30 * time.Second
)

// errBack: a link was dead and works again. What was set on the way to the
// reading is no longer so, and the point has to be taken anew.
var errBack = errors.New("a link was dead and came back")

// await waits for an instrument whose link is dead: a cable that is put back, or
// an instrument that is switched on again, need not end the night. RF goes off at
// the sources that can be reached. It returns nil once the instrument answers,
// why once the patience of the bench is over.
func (r *run) await(ctx context.Context, who drivers.Instrument, why error) error {
	patience := r.Bench.LinkPatience()
	if patience.Sign() <= 0 || r.leaving {
		return why
	}
	since := r.Clock.Now()
	r.event(ctx, fmt.Sprintf("the link to %s is dead (%v): RF goes off, and it is tried again for %s", who.Name(), r.dead, patience))
	r.darken(ctx, who)
	pause := firstWait
	for r.Clock.Now().Sub(since) < seconds(patience) {
		if err := r.Clock.Sleep(ctx, pause); err != nil {
			return err
		}
		pause = min(2*pause, longestPause)
		if r.dead = who.Recover(ctx); r.dead != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			continue
		}
		r.forget(who)
		away := r.Clock.Now().Sub(since)
		r.event(ctx, fmt.Sprintf("%s answers again after %s", who.Name(), away.Round(time.Second)))
		r.warmAgain(ctx, who, away)
		return r.interrupt
	}
	r.event(ctx, fmt.Sprintf("%s does not answer after %s", who.Name(), patience))
	return why
}

// darken switches RF off at every source but the one whose link is dead.
func (r *run) darken(ctx context.Context, dead drivers.Instrument) {
	ctx, cancel := context.WithTimeout(ctx, r.rfOffWithin())
	defer cancel()
	for _, name := range slices.Sorted(maps.Keys(r.Sources)) {
		if name == dead.Name() {
			r.event(ctx, fmt.Sprintf("RF of source %s may be on meanwhile", name))
			continue
		}
		if err := r.Sources[name].RFOff(ctx); err != nil && r.everSet[name] {
			r.warn(ctx, fmt.Sprintf("RF of source %s could not be switched off, do it by hand: %v", name, err))
		}
		r.lastSet[name] = setting{}
	}
}

// warmAgain warns where the unit was away for longer than cooling takes: whether it
// lost its power, or its cable, nobody can tell.
func (r *run) warmAgain(ctx context.Context, who drivers.Instrument, away time.Duration) {
	if who == drivers.Instrument(r.Counter) && away > coolsWithin && (r.Procedure.WarmUp.Sign() > 0 || r.Plan.WarmUp != nil) {
		r.warn(ctx, fmt.Sprintf("the unit did not answer for %s; whether it was switched off, and has gone cold, it can't tell", away.Round(time.Second)))
	}
}

// anew does what takes a point, and once more where a link was dead and came back
// in between. What was read of res before then stays and counts no more; with nil
// all that was read still counts.
func (r *run) anew(res *PointResult, take func() (symptom, bench decision.Reason, err error)) (symptom, bench decision.Reason, err error) {
	r.taking++
	defer func() { r.taking-- }()
	for back := 1; ; back++ {
		symptom, bench, err = take()
		if !errors.Is(err, errBack) || back > linkTries {
			return symptom, bench, err
		}
		r.gateAsked = quantity.Duration{}
		if res != nil {
			res.use(Counted, Discarded)
			res.use(FirstLook, Discarded)
			res.StoppedEarly = ""
			res.Notes = append(slices.Clip(res.Notes), "a link was dead and came back; the point was taken anew")
		}
	}
}

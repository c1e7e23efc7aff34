package runner

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// Patience with the bench.
const (
	sourceTries   = 4                      // settings of the source at one go
	firstPause    = 100 * time.Millisecond // between them, growing fourfold
	linkTries     = 3                      // recoveries of a link at one action
	linkFailsMost = 3                      // points in a row before the run ends
)

// point takes one point. last tells that it must not be put off any more.
func (r *run) point(ctx context.Context, at *place, p procedures.Point, last bool) (outcome, error) {
	res := PointResult{Point: p, Started: r.Clock.Now(), Gate: p.Gate, Limit: p.Limit, LimitPPM: p.LimitPPM, Standards: r.standards(p)}
	symptom, bench, err := r.take(ctx, at, &res, last)
	if err != nil {
		var keep decision.Reason
		switch {
		case ctx.Err() != nil:
			return taken, ctx.Err() // cut off midway: taken anew on resume
		case errors.Is(err, drivers.ErrInterlock):
			keep = decision.InterlockRefused
		default:
			keep = decision.LinkFailed
		}
		res.Notes = append(res.Notes, err.Error())
		bench = keep
	}
	if !last && (bench == decision.SourceNotLocked || bench == decision.SourceReadBack || bench == decision.PathNotProven) {
		r.event(ctx, fmt.Sprintf("point %s at %s put off: %s", p.ID, p.Frequency, bench))
		return deferred, r.interrupt
	}
	if err := r.evaluate(at, &res, symptom, bench); err != nil {
		return taken, err
	}
	if res.Verdict.Good() {
		at.proofs = append(at.proofs, p)
	}
	if err := r.keep(ctx, res); err != nil {
		return taken, err
	}
	return taken, r.linkHolds()
}

// linkHolds ends the run where a link is dead, or fails again and again.
func (r *run) linkHolds() error {
	if r.linkFails == 0 {
		return nil
	}
	if r.dead != nil {
		return fmt.Errorf("%w: the link is dead: %w", ErrBench, r.dead)
	}
	if r.linkFails >= linkFailsMost {
		last := r.result.Points[len(r.result.Points)-1].Notes
		return fmt.Errorf("%w: a link failed at %d points in a row; last: %s", ErrBench, r.linkFails, last[len(last)-1])
	}
	return nil
}

// take sets, reads and looks for what stands before any comparison with a
// limit: bench is a reason not to judge, symptom a failure of the unit.
func (r *run) take(ctx context.Context, at *place, res *PointResult, last bool) (symptom, bench decision.Reason, err error) {
	p := res.Point
	res.Setting.Tries = r.tries[p.ID] // of before it was put off
	bench, err = r.setSource(ctx, at, p, &res.Setting)
	r.tries[p.ID] = res.Setting.Tries
	if bench != "" || err != nil {
		return "", bench, err
	}
	if err = r.setGate(ctx, p.Gate); err != nil {
		return "", "", err
	}
	res.Gate = r.gate
	for look := 1; ; look++ {
		if err = r.readings(ctx, res, p.Readings); err != nil {
			return "", "", err
		}
		// The source must have been good to the end, or nothing counts.
		if bench, err = r.sourceGood(ctx, at, p, &res.Setting); bench != "" || err != nil {
			res.use(Counted, Discarded)
			return "", bench, err
		}
		if !r.scatters(res) {
			break
		}
		if look == 2 {
			symptom = decision.Unstable
			break
		}
		res.Notes = append(res.Notes, "readings scattered more than the counts allow and were read anew once")
		res.use(Counted, FirstLook)
	}
	if held, err := r.heldCheck(ctx, at, res); held || err != nil {
		return symptom, decision.HeldReading, err
	}
	if symptom == "" && res.missing() > 0 {
		proven, err := r.provePath(ctx, at, res, last)
		if err != nil {
			return "", "", err
		}
		if !proven {
			return "", decision.PathNotProven, nil
		}
		symptom = decision.NoCount
	}
	return symptom, "", nil
}

// setSource brings the source to a point and makes sure that it is there:
// reported as asked, locked where it can tell, settled. It tries again with
// growing pauses before it says what is wrong.
func (r *run) setSource(ctx context.Context, at *place, p procedures.Point, set *Setting) (bench decision.Reason, err error) {
	pause := firstPause
	for try := 1; ; try++ {
		set.Asked, set.Tries = p.Frequency, set.Tries+1
		err = r.retryLink(ctx, at.source, func() error { return r.bring(ctx, at, p, set) })
		if err != nil {
			return "", err
		}
		bench, err = r.sourceGood(ctx, at, p, set)
		if bench == "" || err != nil || try == sourceTries {
			return bench, err
		}
		r.Log.Warn("source not good yet", "source", at.spec.Name, "frequency", p.Frequency.String(), "why", string(bench), "try", try)
		if err = r.Clock.Sleep(ctx, pause); err != nil {
			return "", err
		}
		pause *= 4
	}
}

// bring sends frequency, level and RF on, in the order in which the input
// never sees more than the larger of the two levels.
func (r *run) bring(ctx context.Context, at *place, p procedures.Point, set *Setting) (err error) {
	was := r.lastSet[at.spec.Name]
	frequencies := []quantity.Frequency{p.Frequency}
	if was.on {
		frequencies = append(frequencies, was.frequency)
	}
	r.Interlock.arm(at.spec, at.path, at.input, frequencies...)
	level := func() error {
		got, err := at.source.SetLevel(ctx, p.Levels.Source)
		set.Level = got
		return err
	}
	lower := was.on && p.Levels.Source.DBm(quantity.Dbm50()) < was.level.DBm(quantity.Dbm50())
	if lower || !was.on {
		if err = level(); err != nil {
			return err
		}
	}
	if set.Reported, err = at.source.SetFrequency(ctx, p.Frequency); err != nil {
		return err
	}
	if !lower && was.on {
		if err = level(); err != nil {
			return err
		}
	}
	if !was.on {
		if err = at.source.RFOn(ctx); err != nil {
			return err
		}
	}
	r.lastSet[at.spec.Name] = setting{p.Frequency, p.Levels.Source, true}
	return nil
}

// sourceGood tells what stands against trusting the source, or "".
func (r *run) sourceGood(ctx context.Context, at *place, p procedures.Point, set *Setting) (decision.Reason, error) {
	if set.Reported.Cmp(p.Frequency) != 0 {
		return decision.SourceReadBack, nil
	}
	reporter, ok := at.source.(drivers.LockReporter)
	if !ok {
		set.Locked = "not stated"
		return "", nil
	}
	locked := false
	err := r.retryLink(ctx, at.source, func() (err error) { locked, err = reporter.Locked(ctx); return err })
	if err != nil {
		return "", err
	}
	set.Locked = yesNo(locked)
	if !locked {
		return decision.SourceNotLocked, nil
	}
	if !r.lastSet[at.spec.Name].on {
		return decision.SourceReadBack, nil // it was cleared meanwhile: set it anew
	}
	return "", nil
}

func (r *run) setGate(ctx context.Context, gate quantity.Duration) error {
	if gate.Cmp(r.gateAsked) == 0 {
		return nil
	}
	return r.retryLink(ctx, r.Counter, func() error {
		actual, err := r.Counter.SetGate(ctx, gate)
		if err == nil {
			r.gate, r.gateAsked = actual, gate
		}
		return err
	})
}

// retryLink does an action again after clearing the device, a few times. An
// interlock's refusal, a complaint of the instrument and an end of the run are
// returned at once. Where not even clearing works any more the link counts as
// dead and the run ends with the point.
func (r *run) retryLink(ctx context.Context, who drivers.Instrument, action func() error) error {
	err := action()
	pause := firstPause
	for try := 1; err != nil; try++ {
		if ctx.Err() != nil || errors.Is(err, drivers.ErrInterlock) || errors.Is(err, drivers.ErrInstrument) {
			return err
		}
		if try == linkTries {
			return err
		}
		r.event(ctx, fmt.Sprintf("%v; clearing and trying again", err))
		if r.dead = who.Recover(ctx); r.dead == nil {
			r.forget(who)
			err = action()
		} else {
			r.Log.Warn("recovery failed", "instrument", who.Name(), "error", r.dead)
		}
		if err == nil {
			return nil
		}
		if err := r.Clock.Sleep(ctx, pause); err != nil {
			return err
		}
		pause *= 4
	}
	return nil
}

// forget what a source was told: after it was cleared its RF is off and its
// settings may be lost.
func (r *run) forget(who drivers.Instrument) {
	if _, source := who.(drivers.Source); source {
		r.lastSet[who.Name()] = setting{}
	}
}

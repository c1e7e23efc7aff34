package runner

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
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
	linkTries     = 3                      // recoveries of a link at one action, distrusted sets of readings at one point
	linkFailsMost = 3                      // points in a row before the run ends
)

// begun is a point that was put off, with what was read so far.
type begun struct {
	res     PointResult
	so      PointResult // as it stands if it is not taken again
	noCount bool        // read, and only the path is left to be proven
}

// point takes one point. last tells that it must not be put off any more.
func (r *run) point(ctx context.Context, at *place, p procedures.Point, last bool) (outcome, error) {
	was, again := r.begun[p.ID]
	res := was.res
	if !again {
		res = r.newPoint(p)
	}
	var symptom, bench decision.Reason
	var err error
	if was.noCount {
		symptom, bench, err = r.anew(nil, func() (symptom, bench decision.Reason, err error) { return r.noCount(ctx, at, &res, last) })
	} else {
		symptom, bench, err = r.anew(&res, func() (symptom, bench decision.Reason, err error) { return r.take(ctx, at, &res, last) })
	}
	if err != nil {
		if ctx.Err() != nil {
			return taken, ctx.Err() // cut off midway: taken anew on resume
		}
		if errors.Is(err, ErrJournal) {
			return taken, err
		}
		bench = whose(err)
		res.Notes = append(res.Notes, err.Error())
	}
	if bench == decision.NoOperator && r.mayComeBack() {
		return nobody, r.putOff(ctx, at, res, bench)
	}
	if !last && (bench == decision.SourceNotLocked || bench == decision.SourceReadBack || bench == decision.PathNotProven ||
		bench == decision.SourceOffFrequency || bench == decision.LevelNotAsPlanned) {
		return deferred, r.putOff(ctx, at, res, bench)
	}
	if err := r.evaluate(at, &res, symptom, bench); err != nil {
		return taken, err
	}
	if res.Verdict.Good() {
		at.proofs = append(at.proofs, p)
		r.alive[p.Source] = true
	}
	delete(r.begun, p.ID)
	if res.Judged() && bench == "" {
		return taken, r.keepMeanwhile(ctx, res)
	}
	if err := r.keep(ctx, res); err != nil {
		return taken, err
	}
	if bench == decision.NoOperator {
		return nobody, nil
	}
	return taken, r.linkHolds()
}

// putOff keeps what was read of a point that is taken again later, also in the
// journal: a reading is never dropped because of what it shows, or because the
// run ends before.
func (r *run) putOff(ctx context.Context, at *place, res PointResult, why decision.Reason) error {
	res.Notes, res.Readings, res.Monitor = slices.Clip(res.Notes), slices.Clip(res.Readings), slices.Clip(res.Monitor) // so must not share what comes later
	so := res
	if err := r.evaluate(at, &so, "", why); err != nil {
		return err
	}
	so.Finished = r.Clock.Now()
	b := begun{res, so, why == decision.PathNotProven}
	if err := r.stand(ctx); err != nil {
		return err
	}
	if err := r.Journal.PutOff(ctx, PutOff{b.res, b.so, b.noCount}); err != nil {
		return fmt.Errorf("%w: point %s: %w", ErrJournal, res.Point.ID, err)
	}
	r.begun[res.Point.ID] = b
	r.event(ctx, fmt.Sprintf("point %s at %s put off: %s", res.Point.ID, res.Point.Frequency, why))
	return r.interrupt
}

// linkHolds ends the run where a link is dead, or fails again and again, and
// where an input was in danger.
func (r *run) linkHolds() error {
	if r.endanger != nil {
		return fmt.Errorf("%w: %w", ErrBench, r.endanger)
	}
	if r.linkFails == 0 {
		return nil
	}
	if r.dead != nil {
		return fmt.Errorf("%w: the link is dead: %w", ErrBench, r.dead)
	}
	if r.linkFails >= linkFailsMost {
		last := r.result.Points[len(r.result.Points)-1]
		return fmt.Errorf("%w: a link failed at %d points in a row, the last one %s: %s", ErrBench, r.linkFails, last.Point.ID, strings.Join(last.Notes, "; "))
	}
	return nil
}

// newPoint begins the result of a point as planned.
func (r *run) newPoint(p procedures.Point) PointResult {
	return PointResult{Point: p, Started: r.Clock.Now(), Gate: p.Gate, Standards: r.standards(p), Judgement: procedures.Judgement{Limit: p.Limit, LimitPPM: p.LimitPPM}}
}

// take sets, reads and looks for what stands before any comparison with a
// limit: bench is a reason not to judge, symptom a failure of the unit.
func (r *run) take(ctx context.Context, at *place, res *PointResult, last bool) (symptom, bench decision.Reason, err error) {
	p := res.Point
	if at.path.Switch != "" {
		res.Route = &Route{at.path.Switch, at.path.Position} // as read back
	}
	if bench, err = r.arrive(ctx, at, p, res); bench != "" || err != nil {
		return "", bench, err
	}
	if bench, err = r.setGate(ctx, p.Gate); bench != "" || err != nil {
		return "", bench, err
	}
	if err = r.limitInForce(at, res); err != nil {
		return "", "", err
	}
	r.expect(at.input, res.Setting.Reported, res.Limit)
	for look, distrusted := 1, 0; ; {
		if bench, err = r.readings(ctx, res, p.Readings, r.enough(at, res, look)); bench != "" || err != nil {
			return "", bench, err
		}
		trusted, err := r.inStep(ctx, res)
		if err != nil {
			return "", "", err
		}
		// The source must have been good to the end, or nothing counts.
		if bench, err = r.sourceGood(ctx, at, p, &res.Setting); err != nil {
			return "", "", err
		}
		if bench == "" && trusted {
			if bench, err = r.watchAgain(ctx, res); err != nil {
				return "", "", err
			}
		}
		if bench != "" || !trusted {
			res.use(Counted, Discarded)
			if bench != decision.LinkFailed && trusted {
				return "", bench, nil
			}
			// A link was cleared in between: set and read anew.
			if distrusted++; distrusted == linkTries {
				return "", decision.LinkFailed, nil
			}
			if bench, err = r.arrive(ctx, at, p, res); bench != "" || err != nil {
				return "", bench, err
			}
			continue
		}
		if res.missing() > 0 || !scatters(res) {
			break
		}
		if look == 2 {
			symptom = decision.Unstable
			break
		}
		look++
		res.Notes = append(res.Notes, "readings scattered more than the counts allow and were read anew once")
		res.use(Counted, FirstLook)
	}
	if held, err := r.heldCheck(ctx, at, res); held || err != nil {
		return symptom, decision.HeldReading, err
	}
	if res.missing() > 0 {
		return r.noCount(ctx, at, res, last)
	}
	return symptom, "", nil
}

// noCount books "no count" on the unit once the path is proven.
func (r *run) noCount(ctx context.Context, at *place, res *PointResult, last bool) (symptom, bench decision.Reason, err error) {
	proven, err := r.provePath(ctx, at, res, last)
	if err != nil {
		return "", "", err
	}
	if !proven {
		return "", decision.PathNotProven, nil
	}
	return decision.NoCount, "", nil
}

// limitInForce computes reference value and limit for the frequency that the
// source reports and the gate that is in force.
func (r *run) limitInForce(at *place, res *PointResult) error {
	set := res.Setting.Reported
	if set.Sign() <= 0 {
		set = res.Point.Frequency // the source never said; nothing is judged then
	}
	if r.gate.Sign() > 0 && res.Point.Gate.Cmp(r.gateAsked) == 0 {
		res.Gate = r.gate
	}
	res.Reference = set.Exact().Mul(r.Plan.Topology[res.Point.Source].Factor)
	p := res.Point
	if res.Level != nil {
		p.Levels.Input = res.Level.Input // measured, not computed
	}
	limit, err := r.Plan.LimitAt(at.input, p, res.Reference, res.Gate)
	if err != nil {
		return fmt.Errorf("point %s: %w", res.Point.ID, err)
	}
	res.Limit, res.LimitPPM = limit, procedures.PPM(limit.Total, res.Reference)
	return nil
}

// setSource brings the source to a point and makes sure that it is there:
// reported as asked, locked where it can tell, settled. It tries again with
// growing pauses before it says what is wrong.
func (r *run) setSource(ctx context.Context, at *place, p procedures.Point, set *Setting) (bench decision.Reason, err error) {
	pause, tries := firstPause, sourceTries
	if p, ok := at.source.(drivers.ByHand); ok {
		set.By, tries = p.By(), 1 // a person has looked at it already, twice if need be
	}
	for try := 1; ; try++ {
		set.Asked, set.Tries = p.Frequency, set.Tries+1
		err = r.retryLink(ctx, at.source, func() error { return r.bring(ctx, at, p, set) })
		if err != nil {
			return "", err
		}
		bench, err = r.sourceGood(ctx, at, p, set)
		if bench == "" || err != nil {
			return bench, err
		}
		set.Refused++
		if try == tries {
			return bench, nil
		}
		r.Log.Warn("source not good yet", "source", at.spec.Name, "frequency", p.Frequency.String(), "why", string(bench), "try", try)
		if err = r.Clock.Sleep(ctx, pause); err != nil {
			return "", err
		}
		pause *= 4
	}
}

// bring sends frequency, level and RF on, in an order in which the input never
// sees a level that its path does not allow at the frequency of the moment: a
// lower level goes first, a higher one after the frequency; from RF off, which
// may have detuned the source, the frequency comes first.
func (r *run) bring(ctx context.Context, at *place, p procedures.Point, set *Setting) (err error) {
	name := at.spec.Name
	was := r.lastSet[name]
	level := func() error {
		got, err := at.source.SetLevel(ctx, p.Levels.Source)
		set.Level = got
		return err
	}
	lower := was.on && p.Levels.Source.DBm(quantity.Dbm50()) < was.level.DBm(quantity.Dbm50())
	if lower {
		r.Interlock.arm(at.spec, at.path, at.input, was.frequency, p.Frequency)
		if err = level(); err != nil {
			return err
		}
		r.lastSet[name] = setting{was.frequency, p.Levels.Source, true}
	}
	if r.raises(p, r.lastSet[name].level) {
		if err = r.synced(); err != nil {
			return err
		}
	}
	if set.Reported, err = at.source.SetFrequency(ctx, p.Frequency); err != nil {
		return err
	}
	now := r.lastSet[name]
	now.frequency = p.Frequency
	r.lastSet[name] = now
	r.Interlock.arm(at.spec, at.path, at.input, p.Frequency)
	if !lower {
		if err = r.synced(); err != nil {
			return err
		}
		if err = level(); err != nil {
			return err
		}
	}
	r.everSet[name] = true
	if !was.on {
		if err = r.synced(); err != nil {
			return err
		}
		if err = at.source.RFOn(ctx); err != nil {
			return err
		}
	}
	r.lastSet[name] = setting{p.Frequency, p.Levels.Source, true}
	return nil
}

// sourceGood tells what stands against trusting the source, or "".
func (r *run) sourceGood(ctx context.Context, at *place, p procedures.Point, set *Setting) (decision.Reason, error) {
	off := math.Abs(set.Level.DBm(quantity.Dbm50()) - p.Levels.Source.DBm(quantity.Dbm50()))
	if set.Reported.Cmp(p.Frequency) != 0 || !(off <= at.spec.LevelStep()/2+1e-9) {
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
	switch {
	case !r.lastSet[at.spec.Name].on:
		return decision.LinkFailed, nil // it was cleared meanwhile: set it anew
	case !locked:
		return decision.SourceNotLocked, nil
	}
	return "", nil
}

// gateTolerance is how far the gate in force may differ from the commanded one:
// what a unit's own rounding explains. More is another setting.
const gateTolerance = 0.01

// setGate commands a gate. Where the unit says that another one is in force,
// nothing can be judged by the limit of the commanded one.
func (r *run) setGate(ctx context.Context, gate quantity.Duration) (bench decision.Reason, err error) {
	if gate.Cmp(r.gateAsked) != 0 {
		err = r.retryLink(ctx, r.Counter, func() error {
			actual, err := r.Counter.SetGate(ctx, gate)
			if err == nil {
				r.gate, r.gateAsked = actual, gate
			}
			return err
		})
	}
	if err == nil && gateDiffers(r.gate, gate) {
		bench = decision.GateNotInForce
	}
	return bench, err
}

func gateDiffers(got, asked quantity.Duration) bool {
	return math.Abs(got.Float()/asked.Float()-1) > gateTolerance
}

// retryLink does an action again after clearing the device, a few times. An
// interlock's refusal, a complaint of the instrument and an end of the run are
// returned at once. Where not even clearing works any more the link counts as
// dead and the run ends with the point.
func (r *run) retryLink(ctx context.Context, who drivers.Instrument, action func() error) error {
	err := action()
	pause := firstPause
	for try := 1; err != nil; try++ {
		if ctx.Err() != nil || errors.Is(err, drivers.ErrInterlock) || errors.Is(err, drivers.ErrInstrument) || errors.Is(err, ErrNoOperator) || errors.Is(err, ErrJournal) || errors.Is(err, errBack) {
			return err
		}
		if try > linkTries {
			return r.lastly(ctx, who, err, action)
		}
		if errors.Is(err, drivers.ErrOutOfStep) {
			r.distrust = true
		}
		r.otherwise()
		r.event(ctx, fmt.Sprintf("%v; clearing and trying again", err))
		r.dead = who.Recover(ctx)
		switch {
		case r.dead == nil:
			r.forget(who)
			err = action()
		case errors.Is(r.dead, drivers.ErrUnreadable):
			r.dead = nil // it answers, if garbled: not dead
		default:
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

// lastly waits for an instrument whose link is dead. Where it comes back, the
// action is done once more, or what it belongs to is taken anew.
func (r *run) lastly(ctx context.Context, who drivers.Instrument, err error, action func() error) error {
	if r.dead == nil {
		return err
	}
	if err := r.await(ctx, who, err); err != nil {
		return err
	}
	if r.taking > 0 {
		return errBack
	}
	return action()
}

// forget what a source was told: after it was cleared its RF is off and its
// settings may be lost.
func (r *run) forget(who drivers.Instrument) {
	if _, source := who.(drivers.Source); source {
		r.lastSet[who.Name()] = setting{}
	}
}

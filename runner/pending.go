package runner

import (
	"context"
	"fmt"
	"slices"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// pending is a point whose journal write may be under way while the source is
// brought to the next one. The run owns it: synced waits for it.
type pending struct {
	point PointResult
	done  chan error // takes one value
}

// keepMeanwhile begins to journal a finished point and returns at once. Until
// synced has returned, no reading is triggered, no level is raised, and nothing
// else is journaled. What is set up meanwhile, with its settling, is a frequency
// at which no more reaches the input, or a lower level.
func (r *run) keepMeanwhile(ctx context.Context, p PointResult) error {
	if err := r.finished(ctx, &p); err != nil {
		return err
	}
	w := &pending{p, make(chan error, 1)}
	go func() { w.done <- r.Journal.Point(ctx, w.point) }()
	r.pending = w
	return nil
}

// synced waits until the last point would survive a power cut. Only then does it
// belong to the result, and is anybody told of it.
func (r *run) synced() error {
	w := r.pending
	if w == nil {
		return nil
	}
	r.pending = nil
	if err := <-w.done; err != nil {
		return fmt.Errorf("%w: point %s: %w", ErrJournal, w.point.Point.ID, err)
	}
	return r.kept(w.point)
}

// raises tells whether the next point's frequency, at the level that the source
// has, brings more to the input than the point has that is being journaled: the
// path may lose less there.
func (r *run) raises(next procedures.Point, level quantity.Level) bool {
	if r.pending == nil {
		return false
	}
	dbm := func(l quantity.Level) float64 { return l.DBm(quantity.Dbm50()) }
	loss := dbm(next.Levels.Source) - dbm(next.Levels.Connector)
	return dbm(level)-loss > dbm(r.pending.point.Point.Levels.Connector)+1e-9
}

// keep journals a finished point before anything else happens.
func (r *run) keep(ctx context.Context, p PointResult) error {
	if err := r.keepMeanwhile(ctx, p); err != nil {
		return err
	}
	return r.synced()
}

// finished completes a point and tells the journal how the run stands with it.
func (r *run) finished(ctx context.Context, p *PointResult) error {
	p.Finished = r.Clock.Now()
	p.Notes = append(slices.Clip(p.Notes), r.lapse(ctx, p.Point.ID, p.Standards)...)
	return r.stand(ctx)
}

// kept adds a point that is in the journal to the result.
func (r *run) kept(p PointResult) error {
	r.result.Points = append(r.result.Points, p)
	delete(r.secondsTo, p.Point.ID)
	left := 0.0
	for _, s := range r.secondsTo {
		left += s
	}
	r.tellFailed(p)
	r.Watcher.Progress(len(r.result.Points), r.result.Planned, time.Duration(left*float64(time.Second)), p)
	r.Log.Info("point", "id", p.Point.ID, "frequency", p.Point.Frequency.String(), "verdict", p.Verdict.String())
	if p.Verdict.Reason == decision.LinkFailed {
		r.linkFails++
	} else {
		r.linkFails = 0
	}
	return r.interrupt
}

// inOrder waits for the last point before something else is journaled; what
// went wrong ends the run at its next step.
func (r *run) inOrder() {
	if err := r.synced(); err != nil && r.interrupt == nil {
		r.interrupt = err
	}
}

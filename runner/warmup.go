package runner

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// WarmUp is the course of a warm-up that lasts until the unit no longer drifts.
type WarmUp struct {
	Until     procedures.WarmUpUntil `json:"until"`
	Least     quantity.Duration      `json:"least"` // that the unit had to be on
	Point     procedures.Point       `json:"point"` // the signal
	Reference quantity.Exact         `json:"reference_hz"`
	Readings  []WarmReading          `json:"readings,omitempty"`
	Steady    bool                   `json:"steady"` // the drift came down
	Ended     string                 `json:"ended"`  // how, in words
	Notes     []string               `json:"notes,omitempty"`
	Standards []string               `json:"standards"`
	Started   time.Time              `json:"started"`
	Finished  time.Time              `json:"finished"`
	// OnFor is how long the unit had been on at the end.
	OnFor quantity.Duration `json:"on_for"`
}

// WarmReading is one reading of a warm-up. Its numbers are for statistics.
type WarmReading struct {
	Reading
	On     float64 `json:"on_for_s"`       // time since the unit was switched on
	Offset float64 `json:"relative_error"` // of the reading
	// Drift over the time up to this reading that the criterion asks for; nil
	// where there are too few readings yet to tell.
	Drift *WarmDrift `json:"drift,omitempty"`
}

// WarmDrift is a slope of the relative error by least squares.
type WarmDrift struct {
	Slope float64 `json:"per_s"`
	U     float64 `json:"expanded_uncertainty_per_s"`
	Count int     `json:"readings"`
}

// WarmUpSteps is the task under which the journal keeps the readings of a
// warm-up. A run that goes on keeps them in the curve, and does not take a
// warm-up again that had come to its end, unless the unit has been off since.
const WarmUpSteps = "warm-up"

// warmStep is what is kept after each reading, and at the end.
type warmStep struct {
	Reading *WarmReading `json:"reading,omitempty"`
	End     *WarmUp      `json:"end,omitempty"` // without the readings
}

// warmUp waits until the unit is warm: for what is left of the stated time, and
// until its readings no longer drift, where the procedure asks for that.
func (r *run) warmUp(ctx context.Context) error {
	r.result.OnFor = r.OnFor
	if r.Plan.WarmUp != nil && r.Procedure.WarmUpUntil != nil {
		return r.warmUpUntil(ctx)
	}
	left := r.Procedure.WarmUp.Sub(r.OnFor)
	if left.Sign() <= 0 {
		return nil
	}
	r.event(ctx, fmt.Sprintf("the unit must be on for %s: waiting %s, until %s (if it has been on already, stop and state --on-for)", r.Procedure.WarmUp, left,
		r.Clock.Now().Add(seconds(left)).Format("15:04")))
	if err := r.Clock.Sleep(ctx, seconds(left)); err != nil {
		return err
	}
	r.result.OnFor = r.Procedure.WarmUp
	return nil
}

// on is how long the unit has been on by now.
func (r *run) on() quantity.Duration {
	passed := quantity.Of[quantity.Second](r.Clock.Now().Sub(r.started).Milliseconds(), -3)
	return r.OnFor.Add(passed).Trimmed()
}

func (r *run) warmUpUntil(ctx context.Context) error {
	w, err := r.keptWarmUp()
	if err != nil {
		return err
	}
	if w == nil {
		w = r.newWarmUp()
	}
	r.result.WarmUp = w
	if w.Ended != "" && r.OnFor.Cmp(w.OnFor) < 0 {
		w.Notes = append(w.Notes, "an earlier warm-up ended so: "+w.Ended+"; the unit has been off since, and it was taken anew")
		w.Ended, w.Steady, w.Finished = "", false, time.Time{}
	}
	if w.Ended != "" {
		r.result.OnFor = w.OnFor
		r.event(ctx, "warm-up: was over before the interruption: "+w.Ended)
		return nil
	}
	r.event(ctx, fmt.Sprintf("warm-up %s, at least until the unit has been on for %s; at most %s from now (it has been on for %s)", w.Until, w.Least, w.Until.Longest, shortTime(r.OnFor.Float())))
	why, err := r.watchWarmUp(ctx, w)
	if err != nil {
		return err
	}
	if !w.Steady {
		if err := r.notSteady(ctx, w, why); err != nil {
			return err
		}
	}
	w.Finished, w.OnFor = r.Clock.Now(), r.on()
	r.result.OnFor = w.OnFor
	r.event(ctx, "warm-up: "+w.Ended)
	end := *w
	end.Readings = nil
	return r.keepWarm(ctx, warmStep{End: &end})
}

func (r *run) newWarmUp() *WarmUp {
	p := *r.Plan.WarmUp
	return &WarmUp{Until: *r.Procedure.WarmUpUntil, Least: r.Procedure.WarmUp, Point: p, Standards: r.standards(p), Started: r.Clock.Now(),
		Reference: p.Frequency.Exact().Mul(r.Plan.Topology[p.Source].Factor)}
}

// keptWarmUp is what an interrupted run has left of its warm-up; nil where that
// is nothing.
func (r *run) keptWarmUp() (*WarmUp, error) {
	steps := r.Steps[WarmUpSteps]
	if len(steps) == 0 || r.Plan.WarmUp == nil || r.Procedure.WarmUpUntil == nil {
		return nil, nil
	}
	w := r.newWarmUp()
	for _, body := range steps {
		var step warmStep
		if err := json.Unmarshal(body, &step); err != nil {
			return nil, fmt.Errorf("%w: warm-up as kept: %w", ErrJournal, err)
		}
		if step.Reading != nil {
			w.Readings = append(w.Readings, *step.Reading)
		}
		if step.End != nil {
			list := w.Readings
			*w = *step.End
			w.Readings = list
		}
	}
	n := len(w.Readings)
	if n > 0 {
		w.Started = w.Readings[0].At
	}
	if w.Ended == "" && n > 0 {
		w.Notes = append(w.Notes, fmt.Sprintf("interrupted after %d readings; they stay in the curve, and the time without drift counts from then on", n))
	}
	return w, nil
}

func (r *run) keepWarm(ctx context.Context, step warmStep) error {
	body, err := json.Marshal(step)
	if err == nil {
		err = r.Journal.Step(ctx, WarmUpSteps, body)
	}
	if err != nil {
		return fmt.Errorf("%w: warm-up: %w", ErrJournal, err)
	}
	return r.interrupt
}

// watchWarmUp connects the signal and reads it until the drift has come down or
// the longest time is over. why tells what else ended it.
func (r *run) watchWarmUp(ctx context.Context, w *WarmUp) (why string, err error) {
	at, err := r.connect(ctx, w.Point.Path)
	if err != nil {
		if n, ok := asNotRouted(err); ok {
			return n.note, nil
		}
		if errors.Is(err, ErrNoOperator) || errors.Is(err, ErrLeftOut) {
			return err.Error(), nil
		}
		return "", err
	}
	why, err = r.readWarmUp(ctx, at, w)
	if err != nil {
		return "", err
	}
	if err := r.quiet(ctx, at); err != nil {
		return "", fmt.Errorf("%w: %w", ErrBench, err)
	}
	r.at = nil
	if err := r.checkRoute(ctx, at); err != nil {
		return "", err
	}
	return why, r.checkReferences(ctx, at, after)
}

// readWarmUp is the loop of readings.
func (r *run) readWarmUp(ctx context.Context, at *place, w *WarmUp) (why string, err error) {
	failed := func(err error) (string, error) {
		if _, ends := r.broken(ctx, err); ends != nil {
			return "", ends
		}
		return err.Error(), nil
	}
	x, bench, err := r.newSeries(ctx, at, w.Point)
	if err != nil {
		return failed(err)
	}
	began, session := r.Clock.Now(), len(w.Readings)
	says := began
	for next := began; ; {
		if bench != "" { // not good: once more, at the time of the next reading
			why = string(bench)
			bench, err = x.Again(ctx)
		} else {
			why = ""
			bench, err = r.warmReading(ctx, x, w, session)
		}
		if err != nil {
			return failed(err)
		}
		now := r.Clock.Now()
		switch {
		case w.Steady:
			return "", nil
		case now.Sub(began) >= seconds(w.Until.Longest):
			return why, nil
		case now.Sub(says) >= seconds(w.Until.Over):
			says = now
			r.Watcher.Says("warm-up: " + w.progress())
		}
		next = next.Add(seconds(w.Until.Every))
		if wait := next.Sub(now); wait > 0 {
			if err := r.Clock.Sleep(ctx, wait); err != nil {
				return "", err
			}
		} else {
			next = now
		}
	}
}

// warmReading takes one reading, fits the drift up to it and keeps both.
func (r *run) warmReading(ctx context.Context, x *SignalSeries, w *WarmUp, session int) (bench Reason, err error) {
	got, good, bench, err := x.Read(ctx)
	if err != nil {
		return "", err
	}
	w.Reference = x.res.Reference
	reading := WarmReading{Reading: got, On: r.on().Float()}
	if good {
		reading.Offset = x.offset(got.Reading)
	}
	w.Readings = append(w.Readings, reading)
	last := &w.Readings[len(w.Readings)-1]
	if good {
		last.Drift = w.drift(w.Readings[session:], x.res.Limit.Resolution.Float()/w.Reference.Float(), r.referenceDrift(w.Point.Source))
	}
	if d := last.Drift; d != nil && last.On >= w.Least.Float() && math.Abs(d.Slope)+d.U <= w.Until.Rate().Float() {
		w.Steady = true
		w.Ended = fmt.Sprintf("steady after %s on: drift %s", shortTime(last.On), w.rate(*d))
	}
	return bench, r.keepWarm(ctx, warmStep{Reading: last})
}

// notSteady does what the procedure says where the drift has not come down, or
// could not be watched to the end of the longest time (why).
func (r *run) notSteady(ctx context.Context, w *WarmUp, why string) error {
	over := fmt.Sprintf("the drift has not come down to %s in %s within %s", w.Until.Drift, w.Until.Per, w.Until.Longest)
	if n := len(w.Readings); n > 0 && w.Readings[n-1].Drift != nil {
		over += "; last: " + w.rate(*w.Readings[n-1].Drift)
	}
	if why != "" {
		over = "the drift of the unit could not be watched: " + why
	}
	switch w.Until.Otherwise {
	case procedures.WarmUpStop:
		return fmt.Errorf("%w: warm-up: %s; the procedure says to stop then", ErrBench, over)
	case procedures.WarmUpAsk:
		question := "warm-up: " + over + ". Go on all the same?"
		yes, err := r.Operator.Confirm(ctx, question)
		if err != nil && !errors.Is(err, ErrNoOperator) {
			return err
		}
		r.entry(ctx, question, yesNo(yes))
		if !yes {
			return fmt.Errorf("%w: warm-up: %s; nobody said to go on", ErrBench, over)
		}
		w.Ended = over + "; " + r.Operator.Name() + " went on"
	default:
		if left := r.started.Add(seconds(w.Until.Longest)).Sub(r.Clock.Now()); left > 0 {
			r.event(ctx, fmt.Sprintf("warm-up: %s; waiting for the longest time instead, %s more", over, left.Round(time.Second)))
			if err := r.Clock.Sleep(ctx, left); err != nil {
				return err
			}
		}
		w.Ended = over + "; went on"
	}
	r.warn(ctx, "warm-up: "+w.Ended)
	return nil
}

package runner

import (
	"context"
	"errors"
	"fmt"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// trustEvery is after how many readings of a series the conversation with the
// unit is proven to be in step.
const trustEvery = 20

// SignalSeries is one signal that stays on while the unit reads it again and again.
// A reading counts only once the source was shown good after it.
type SignalSeries struct {
	r     *run
	at    *place
	res   PointResult // every reading, in the order taken
	since int         // index of the first reading since the conversation was last proven
}

// newSeries brings the signal of a point to the unit, and makes sure, once at a
// place, that the unit lets go of a signal that is gone: one that holds its
// reading looks steady. bench tells why there is no series.
func (r *run) newSeries(ctx context.Context, at *place, p procedures.Point) (x *SignalSeries, bench Reason, err error) {
	x = &SignalSeries{r: r, at: at, res: r.newPoint(p)}
	if bench, err = x.bring(ctx); bench != "" || err != nil {
		return x, bench, err
	}
	switch {
	case at.held:
		return x, decision.HeldReading, nil
	case at.looked:
		return x, "", nil
	}
	if err := r.reading(ctx, &x.res, Counted); err != nil {
		return x, "", err
	}
	held, err := r.heldCheck(ctx, at, &x.res)
	switch {
	case err != nil:
		return x, "", err
	case held:
		return x, decision.HeldReading, nil
	case !at.looked:
		return x, "", nil // nothing was counted: looked for again at the next one
	}
	x.res.use(Counted, Discarded)
	bench, err = x.bring(ctx)
	return x, bench, err
}

// bring sets source and gate and throws away what began before they had settled;
// once more where a link was dead and came back meanwhile.
func (x *SignalSeries) bring(ctx context.Context) (bench Reason, err error) {
	_, bench, err = x.r.anew(nil, func() (Reason, Reason, error) {
		bench, err := x.bringOnce(ctx)
		return "", bench, err
	})
	return bench, err
}

func (x *SignalSeries) bringOnce(ctx context.Context) (bench Reason, err error) {
	r, p := x.r, x.res.Point
	if bench, err = r.arrive(ctx, x.at, p, &x.res); bench != "" || err != nil {
		return bench, err
	}
	if bench, err = r.setGate(ctx, p.Gate); bench != "" || err != nil {
		return bench, err
	}
	if err = r.limitInForce(x.at, &x.res); err != nil {
		return "", err
	}
	r.expect(x.at.input, x.res.Setting.Reported, x.res.Limit)
	for range r.Counter.Discard() {
		if err := r.reading(ctx, &x.res, Discarded); err != nil {
			return "", err
		}
	}
	return "", nil
}

// Read takes one reading. good tells that it is a number, and that the source
// was good to its end. A source that was not is brought back before the next
// one; bench tells that this is in vain.
func (x *SignalSeries) Read(ctx context.Context) (got Reading, good bool, bench Reason, err error) {
	if got, good, bench, err = x.read(ctx); err != nil {
		bench, err = x.r.broken(ctx, err)
	}
	return got, good, bench, err
}

func (x *SignalSeries) read(ctx context.Context) (got Reading, good bool, bench Reason, err error) {
	r := x.r
	r.otherwise() // what passed since the last one was meant to
	r.taking++
	err = r.reading(ctx, &x.res, Counted)
	r.taking--
	if errors.Is(err, errBack) {
		r.gateAsked = quantity.Duration{}
		bench, err = x.bring(ctx)
		return Reading{Reading: drivers.Reading{Mark: drivers.NoReply, At: r.Clock.Now()}, Use: Discarded}, false, bench, err
	}
	if err != nil {
		return Reading{}, false, "", err
	}
	last := len(x.res.Readings) - 1
	bench, err = r.sourceGood(ctx, x.at, x.res.Point, &x.res.Setting)
	if err != nil {
		return Reading{}, false, "", err
	}
	trusted := true
	if len(x.res.Readings)-x.since >= trustEvery {
		if trusted, err = x.prove(ctx); err != nil {
			return Reading{}, false, "", err
		}
	}
	if bench != "" || !trusted {
		x.res.Readings[last].Use = Discarded
		bench, err = x.bring(ctx)
		return x.res.Readings[last], false, bench, err
	}
	got = x.res.Readings[last]
	return got, got.Mark == drivers.None, "", nil
}

// Again brings the signal back after a reading that had none.
func (x *SignalSeries) Again(ctx context.Context) (bench Reason, err error) {
	if bench, err = x.bring(ctx); err != nil {
		bench, err = x.r.broken(ctx, err)
	}
	return bench, err
}

// prove makes sure that what was read since the last time is what was asked for;
// else it is taken out.
func (x *SignalSeries) prove(ctx context.Context) (trusted bool, err error) {
	if trusted, err = x.r.inStep(ctx, &x.res); err != nil {
		return false, err
	}
	if !trusted {
		for k := x.since; k < len(x.res.Readings); k++ {
			if x.res.Readings[k].Use == Counted {
				x.res.Readings[k].Use = Discarded
			}
		}
	}
	x.since = len(x.res.Readings)
	return trusted, nil
}

// offset is how far a reading lies off what the signal should read, relative to
// that: a float, because it is for statistics.
func (x *SignalSeries) offset(got drivers.Reading) float64 {
	f := x.res.Reference
	return got.Frequency.Exact().Sub(f).Quo(f).Float()
}

// Course is all that was read so far.
func (x *SignalSeries) Course() Course {
	return Course{By: "unit", Point: &x.res.Point, Setting: &x.res.Setting, Gate: x.res.Gate, Expected: x.res.Reference,
		Resolution: x.res.Limit.Resolution, Readings: x.res.Readings, Notes: x.res.Notes}
}

// Prove makes sure that what was read so far is what was asked for; what is not
// does not count.
func (x *SignalSeries) Prove(ctx context.Context) error {
	_, err := x.prove(ctx)
	if err != nil {
		_, err = x.r.broken(ctx, err)
	}
	return err
}

// End switches RF off.
func (x *SignalSeries) End(ctx context.Context) error {
	if err := x.r.quiet(ctx, x.at); err != nil {
		return fmt.Errorf("%w: %w", ErrBench, err)
	}
	return nil
}

// Course is what one instrument read of one steady thing over time.
type Course struct {
	By         string             `json:"by"`              // "unit" or "monitor"
	Point      *procedures.Point  `json:"point,omitempty"` // the signal that the unit reads
	Setting    *Setting           `json:"setting,omitempty"`
	Frequency  quantity.Frequency `json:"frequency,omitzero"` // nominal, of an output that is measured
	Gate       quantity.Duration  `json:"gate"`
	Expected   quantity.Exact     `json:"expected_hz"` // what it would read without an offset of the unit
	Resolution quantity.Exact     `json:"resolution_hz"`
	Readings   []Reading          `json:"readings"`
	Notes      []string           `json:"notes,omitempty"`
}

// Signal brings a point's signal to the unit to be read again and again; bench
// tells why that can't be.
func (s *Station) Signal(ctx context.Context, p procedures.Point) (x *SignalSeries, bench Reason, err error) {
	x, bench, err = s.r.newSeries(ctx, s.at, p)
	if err != nil {
		bench, err = s.r.broken(ctx, err)
	}
	return x, bench, err
}

// broken books what ended a series: an error of the context, a journal or an
// input in danger ends the run; what the bench did not give is its reason.
func (r *run) broken(ctx context.Context, err error) (Reason, error) {
	switch {
	case ctx.Err() != nil:
		return "", ctx.Err()
	case r.endanger != nil:
		return "", errors.Join(ErrBench, r.endanger)
	case errors.Is(err, ErrJournal):
		return "", err
	}
	return whose(err), nil
}

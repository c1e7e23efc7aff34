package runner

import (
	"context"
	"errors"

	"bandproof/drivers"
	"bandproof/procedures"
)

// trustEvery is after how many readings of a series the conversation with the
// unit is proven to be in step.
const trustEvery = 20

// series is one signal that stays on while the unit reads it again and again.
// A reading counts only once the source was shown good after it.
type series struct {
	r     *run
	at    *place
	res   PointResult // every reading, in the order taken
	since int         // index of the first reading since the conversation was last proven
}

// newSeries brings the signal of a point to the unit. bench tells why it can't.
func (r *run) newSeries(ctx context.Context, at *place, p procedures.Point) (x *series, bench Reason, err error) {
	x = &series{r: r, at: at, res: r.newPoint(p)}
	bench, err = x.bring(ctx)
	return x, bench, err
}

// bring sets source and gate and throws away what began before they had settled.
func (x *series) bring(ctx context.Context) (bench Reason, err error) {
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

// read takes one reading. good tells that it is a number, and that the source
// was good to its end. A source that was not is brought back before the next
// one; bench tells that this is in vain.
func (x *series) read(ctx context.Context) (got Reading, good bool, bench Reason, err error) {
	r := x.r
	if err := r.reading(ctx, &x.res, Counted); err != nil {
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

// prove makes sure that what was read since the last time is what was asked for;
// else it is taken out.
func (x *series) prove(ctx context.Context) (trusted bool, err error) {
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
func (x *series) offset(got drivers.Reading) float64 {
	f := x.res.Reference
	return got.Frequency.Exact().Sub(f).Quo(f).Float()
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

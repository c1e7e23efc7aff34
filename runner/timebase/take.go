package timebase

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// reader reads one steady thing again and again: the unit its signal, or the
// monitor the unit's output.
type reader interface {
	Read(ctx context.Context) (got runner.Reading, good bool, bench decision.Reason, err error)
	// Again looks for what is to be read after a reading that had none.
	Again(ctx context.Context) (bench decision.Reason, err error)
	// Prove makes sure that what was read so far is what was asked for.
	Prove(ctx context.Context) error
	Course() runner.Course
	End(ctx context.Context) error
}

// series is one task under way.
type series struct {
	keys    *keys
	s       *runner.Station
	task    procedures.Task
	earlier []runner.Reading // from before an interruption
	course  runner.Course    // in the end with all readings, the earlier ones too
	kept    int              // readings of this session that the journal has
	last    time.Time        // when they were kept
	bench   decision.Reason  // why there was no reading last; "" where there was one
	notes   []string         // for the outcome
	good    int              // readings with a number
}

// step is what is kept of a series: its head at the beginning of each session,
// then readings as they come.
type step struct {
	Head     *runner.Course   `json:"head,omitempty"`
	Readings []runner.Reading `json:"readings,omitempty"`
}

// keepEvery is how much of a series an interruption may cost.
const keepEvery = time.Minute

// pause before the next try where the bench gives nothing.
var pause = quantity.Of[quantity.Second](10, 0)

// Take reads for as long as the procedure says and judges what it found.
func (Kind) Take(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	x := &series{keys: t.Keys.(*keys), s: s, task: t}
	if err := x.recall(); err != nil {
		return runner.Outcome{}, err
	}
	if err := x.read(ctx); err != nil {
		return runner.Outcome{}, err
	}
	return x.outcome(ctx)
}

// recall takes up what an interrupted run has kept.
func (x *series) recall() error {
	for _, body := range x.s.Kept() {
		var kept step
		if err := json.Unmarshal(body, &kept); err != nil {
			return fmt.Errorf("%w: %s as kept: %w", runner.ErrJournal, x.task.ID, err)
		}
		if kept.Head != nil {
			x.course = *kept.Head
		}
		x.earlier = append(x.earlier, kept.Readings...)
	}
	x.course.Readings = x.earlier
	for _, got := range x.earlier {
		if got.Use == runner.Counted && got.Mark == drivers.None {
			x.good++
		}
	}
	if n := len(x.earlier); n > 0 {
		x.notes = append(x.notes, fmt.Sprintf("goes on with %d readings from before an interruption; what is missing between is a gap", n))
	}
	return nil
}

func (x *series) open(ctx context.Context) (reader, decision.Reason, error) {
	if o := x.task.Output; o != nil {
		return x.s.Output(ctx, *o)
	}
	return x.s.Signal(ctx, x.task.Points[0])
}

// read takes readings until the series is as long as it should be; where half
// of it or more is missing it goes on, for as long again at most.
func (x *series) read(ctx context.Context) error {
	start := x.s.Now()
	if len(x.earlier) > 0 {
		start = x.earlier[0].At
	}
	lasts := time.Duration(x.keys.Lasts.Float() * float64(time.Second))
	if x.over(start, lasts) {
		return nil
	}
	x.s.Event(ctx, fmt.Sprintf("%s: reads until %s", x.task.ID, start.Add(lasts).Format("2006-01-02 15:04")))
	r, bench, err := x.open(ctx)
	if err != nil {
		return err
	}
	if x.bench = bench; bench == decision.HeldReading {
		return r.End(ctx) // it would look steady for ever
	}
	x.last = x.s.Now()
	if err := x.begin(ctx, r); err != nil {
		return err
	}
	for next := x.s.Now(); !x.over(start, lasts); {
		if err := x.once(ctx, r); err != nil {
			return err
		}
		next = next.Add(time.Duration(x.keys.Every.Float() * float64(time.Second)))
		if wait := next.Sub(x.s.Now()); wait > 0 && x.bench == "" {
			if err := x.s.Wait(ctx, quantity.Of[quantity.Second](wait.Microseconds(), -6)); err != nil {
				return err
			}
		} else {
			next = x.s.Now()
		}
	}
	if err := x.keep(ctx, r, true); err != nil {
		return err
	}
	err = r.End(ctx)
	x.take(r)
	return err
}

// begin keeps what is to be known with the readings.
func (x *series) begin(ctx context.Context, r reader) error {
	x.take(r)
	head := x.course
	head.Readings, head.Notes = nil, nil
	return x.s.Keep(ctx, step{Head: &head})
}

// take has the course as it stands.
func (x *series) take(r reader) {
	x.course = r.Course()
	if len(x.earlier) > 0 {
		x.course.Readings = append(slices.Clip(x.earlier), x.course.Readings...)
	}
}

// once takes one reading, or tries to have the signal back.
func (x *series) once(ctx context.Context, r reader) (err error) {
	if x.bench != "" {
		if err = x.s.Wait(ctx, pause); err != nil {
			return err
		}
		if x.bench, err = r.Again(ctx); x.bench != "" || err != nil {
			return err
		}
	}
	_, good, bench, err := r.Read(ctx)
	if x.bench = bench; err != nil {
		return err
	}
	if good {
		x.good++
	}
	return x.keep(ctx, r, false)
}

// keep journals the readings since the last time, once a minute or at the end.
func (x *series) keep(ctx context.Context, r reader, end bool) error {
	if !end && x.s.Now().Sub(x.last) < keepEvery {
		return nil
	}
	if err := r.Prove(ctx); err != nil {
		return err
	}
	list := r.Course().Readings
	if len(list) == x.kept {
		return nil
	}
	err := x.s.Keep(ctx, step{Readings: list[x.kept:]})
	x.kept, x.last = len(list), x.s.Now()
	return err
}

// over tells whether the series is long enough.
func (x *series) over(start time.Time, lasts time.Duration) bool {
	passed := x.s.Now().Sub(start)
	each := max(x.keys.Every.Float(), x.course.Gate.Float())
	return passed >= lasts && float64(x.good)*each >= lasts.Seconds()/2 || passed >= 2*lasts
}

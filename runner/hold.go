package runner

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner/stability"
)

// Hold asks for a source that is parked at a point while somebody works at the
// unit: probes it, or turns a trimmer. Nothing is judged, and it is no part of
// any run.
type Hold struct {
	Point procedures.Point
	For   quantity.Duration // then RF goes off, and the operator is asked whether to go on
	Again time.Duration     // pause after a reading without a count; a second unless stated
	Live  func(Live)        // told of every reading; must return soon
	// Heard gives what the person has said since the last reading, one after the
	// other, without waiting; any is false where nothing is left. nil for nobody.
	Heard func() (n Note, any bool)
	// Noted is called for each note with what was read up to it; an error ends
	// the hold. nil where nothing is to be done.
	Noted func(n Note, read []HeldReading) error
}

// Note is what a person says while the source is held.
type Note struct {
	At   time.Time
	Text string
	Last bool // ends the hold
}

// HeldReading is one reading of a hold with its error.
type HeldReading struct {
	Reading
	Good  bool           // a number, and the source was good to its end
	Error quantity.Exact // Hz; of a good one
	Bench Reason         // why the bench is not good
}

// Live is how it stands after one reading.
type Live struct {
	HeldReading
	Expected quantity.Exact // Hz
	Limit    quantity.Exact // Hz, for comparison; nothing is judged
	PPM      float64        // relative error
	Level    quantity.Level // at the input: measured, or as computed
	Measured bool           // by a power meter
	Trend    *LiveTrend     // nil where it is not to be told yet
	Left     time.Duration
	Places   int // decimal places of Hz that the unit resolves
}

// LiveTrend is the slope of the last readings, in ppm per minute.
type LiveTrend struct{ Slope, U float64 }

// Held is what a hold leaves behind.
type Held struct {
	Started  time.Time        `json:"started"`
	Finished time.Time        `json:"finished"`
	Point    procedures.Point `json:"point"`
	Unit     drivers.Identity `json:"unit"`
	Expected quantity.Exact   `json:"expected_hz"`
	Limit    quantity.Exact   `json:"limit_hz"`
	Readings int              `json:"readings"`
	Ended    string           `json:"ended"`
	// RFMayBeOn names sources whose RF could not be switched off.
	RFMayBeOn []string `json:"rf_may_be_on,omitempty"`
	// Read are the first readings and the last ones, all where they are not many.
	Read []HeldReading `json:"-"`
}

// A hold that reads fast and long keeps its first and its last readings.
const (
	firstKept = 8
	lastKept  = 10_000
)

// trendOver is how many of the last readings the trend is told from.
const trendOver = 12

// Park parks the source of a setup (whose Journal is not used) and reads until
// the time is over and nobody goes on, the person ends it, or the context does.
// Every level goes through the interlock, and RF is off when it returns, or
// RFMayBeOn and an error say where not.
func Park(ctx context.Context, s Setup, h Hold) (Held, error) {
	s.Journal = forgetful{}
	r := newRun(s)
	held := Held{Started: r.started, Point: h.Point}
	ctx, done := r.attend(ctx)
	defer done()
	defer r.offAtLast()
	err := r.park(ctx, h, &held)
	r.leaving = true
	keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), r.rfOffWithin())
	defer cancel()
	off := r.rfOffAll(keep)
	r.Interlock.disarm()
	held.Finished, held.RFMayBeOn = r.Clock.Now(), r.result.RFMayBeOn
	if ctx.Err() != nil && (err == nil || errors.Is(err, ctx.Err())) {
		held.Ended, err = "ended from outside", nil
		if cause := context.Cause(ctx); errors.Is(cause, errLapsed) {
			held.Ended = cause.Error()
		}
	}
	if err != nil {
		held.Ended = err.Error()
	}
	if len(held.RFMayBeOn) > 0 {
		err = errors.Join(err, fmt.Errorf("%w: %w", ErrBench, off))
	}
	return held, err
}

func (r *run) park(ctx context.Context, h Hold, held *Held) error {
	if err := r.rfOffAll(ctx); err != nil {
		return fmt.Errorf("%w: before anything else, RF could not be switched off: %w", ErrBench, err)
	}
	if err := r.identify(ctx); err != nil {
		return err
	}
	held.Unit = r.result.Unit
	if err := r.prepareAids(ctx); err != nil {
		return err
	}
	at, err := r.connect(ctx, h.Point.Path)
	if err != nil {
		return err
	}
	at.search = true // also at a level below what the unit promises to count
	x, bench, err := r.newSeries(ctx, at, h.Point)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrBench, err)
	}
	for {
		ended, err := r.parked(ctx, h, x, bench, held)
		if ended != "" || err != nil {
			held.Ended = ended
			return err
		}
		if err := r.quiet(ctx, at); err != nil { // nobody may be there to answer
			return fmt.Errorf("%w: %w", ErrBench, err)
		}
		question := fmt.Sprintf("%s are over, RF is off. Go on for another %s?", h.For, h.For)
		yes, err := r.Operator.Confirm(ctx, question)
		if errors.Is(err, ErrNoOperator) || err == nil && !yes {
			held.Ended = "the time was over"
			return nil
		}
		if err != nil {
			return err
		}
		if bench, err = x.Again(ctx); err != nil {
			return err
		}
	}
}

// parked reads for the time of one stretch. ended tells what ended the hold; ""
// where the stretch is over.
func (r *run) parked(ctx context.Context, h Hold, x *SignalSeries, bench Reason, held *Held) (ended string, err error) {
	again := h.Again
	if again == 0 {
		again = time.Second
	}
	for until := r.Clock.Now().Add(seconds(h.For)); r.Clock.Now().Before(until); {
		if bench != "" {
			if err := r.Clock.Sleep(ctx, again); err != nil {
				return "", err
			}
			if bench, err = x.Again(ctx); err != nil {
				return "", err
			}
		}
		got := HeldReading{Bench: bench}
		if bench == "" {
			if got.Reading, got.Good, bench, err = x.Read(ctx); err != nil {
				return "", err
			}
			got.Bench = bench
		}
		if bench == "" { // somebody has a probe in there: look at the level too
			if got.Bench, err = r.level(ctx, x.at, h.Point, &x.res); err != nil {
				return "", err
			}
			bench = got.Bench
		}
		x.res.Notes = nil
		held.Expected, held.Limit = x.res.Reference, x.res.Limit.Total
		if got.Good {
			got.Error = got.Frequency.Exact().Sub(x.res.Reference)
		}
		if !got.At.IsZero() {
			held.Readings++
			held.Read = append(held.Read, got)
			if len(held.Read) > firstKept+2*lastKept {
				held.Read = append(held.Read[:firstKept], held.Read[len(held.Read)-lastKept:]...)
			}
			x.forget()
		}
		if h.Live != nil {
			h.Live(x.live(got, held.Read, until.Sub(r.Clock.Now())))
		}
		if ended, err := noted(h, held.Read); ended != "" || err != nil {
			return ended, err
		}
	}
	return "", nil
}

// forget drops what was read: a hold keeps its own.
func (x *SignalSeries) forget() {
	if x.since == len(x.res.Readings) || len(x.res.Readings) > lastKept {
		x.res.Readings, x.since = x.res.Readings[:0], 0
	}
}

// live is how it stands after a reading.
func (x *SignalSeries) live(got HeldReading, read []HeldReading, left time.Duration) Live {
	l := Live{HeldReading: got, Expected: x.res.Reference, Limit: x.res.Limit.Total, Level: x.res.Point.Levels.Input, Left: max(left, 0), Places: shownPlaces(x.res.Limit.Resolution)}
	if x.res.Level != nil {
		l.Level, l.Measured = x.res.Level.Input, true
	}
	if got.Good {
		l.PPM = procedures.PPM(got.Error, l.Expected)
	}
	var times, values []float64
	for _, y := range read[max(0, len(read)-trendOver):] {
		if y.Good {
			times, values = append(times, y.At.Sub(read[0].At).Minutes()), append(values, procedures.PPM(y.Error, l.Expected))
		}
	}
	if len(times) < trendOver/2 {
		return l
	}
	if t, err := stability.FitTrend(times, values, procedures.PPM(x.res.Limit.Resolution, l.Expected)); err == nil {
		l.Trend = &LiveTrend{t.Slope, uncertainty.Factor(t.Freedom) * t.Standard}
	}
	return l
}

// shownPlaces are the decimals that show one count.
func shownPlaces(count quantity.Exact) int {
	n := 0
	for c, one := count, quantity.ExactInt(1); c.Sign() > 0 && c.Cmp(one) < 0 && n < 12; n++ {
		c = c.Mul(quantity.ExactInt(10))
	}
	return n
}

// noted takes what the person has said since the last reading.
func noted(h Hold, read []HeldReading) (ended string, err error) {
	for h.Heard != nil {
		n, any := h.Heard()
		if !any {
			return "", nil
		}
		if h.Noted != nil {
			if err := h.Noted(n, read); err != nil {
				return "", err
			}
		}
		if n.Last {
			return "ended by the person", nil
		}
	}
	return "", nil
}

// forgetful is the journal of what is no part of any run.
type forgetful struct{}

func (forgetful) Point(context.Context, PointResult) error            { return nil }
func (forgetful) Event(context.Context, Event) error                  { return nil }
func (forgetful) Entry(context.Context, Entry) error                  { return nil }
func (forgetful) Outcome(context.Context, Outcome) error              { return nil }
func (forgetful) Step(context.Context, string, json.RawMessage) error { return nil }
func (forgetful) PutOff(context.Context, PutOff) error                { return nil }
func (forgetful) Standing(context.Context, Standing) error            { return nil }
func (forgetful) Session(context.Context, Session) error              { return nil }

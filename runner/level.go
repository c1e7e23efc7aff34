package runner

import (
	"context"
	"fmt"
	"math"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// Level is the level at an input as the power meter found it, with its last
// reading.
type Level struct {
	procedures.MeasuredLevel
	Reading drivers.LevelReading `json:"reading"`
}

// level has the power meter of the path measure, where the plan says that it
// can; what it finds takes the place of the computed level. A level that is
// further off the planned one than source, parts and meter allow is the
// bench's fault; one that is too high switches the source off.
func (r *run) level(ctx context.Context, at *place, p procedures.Point, res *PointResult) (Reason, error) {
	if !p.Metered || at.path.Meter == nil {
		return "", nil
	}
	meter := r.PowerMeters[at.path.Meter.Name]
	if meter == nil {
		return "", fmt.Errorf("power meter %s is not open", at.path.Meter.Name)
	}
	if err := r.synced(); err != nil {
		return "", err
	}
	var got drivers.LevelReading
	err := r.retryLink(ctx, meter, func() error {
		err := meter.SetFrequency(ctx, res.Setting.Reported)
		if err == nil {
			got, err = meter.Measure(ctx)
		}
		return err
	})
	if err != nil {
		return "", err
	}
	if err := r.endangered(ctx, at, p, got); err != nil {
		return "", err
	}
	if got.Mark != drivers.None {
		res.Level = nil
		res.Notes = append(res.Notes, fmt.Sprintf("power meter %s: %s, where %s is planned at the input", meter.Name(), got.Mark, p.Levels.Connector))
		if got.Mark == drivers.OverRange {
			return decision.LevelNotAsPlanned, r.quiet(ctx, at)
		}
		return decision.LevelNotAsPlanned, nil
	}
	found := Level{r.Bench.LevelBy(at.input, p, got.Level), got}
	res.Level = &found
	off := found.Connector.DBm(quantity.Dbm50()) - p.Levels.Connector.DBm(quantity.Dbm50())
	most := r.Bench.LevelTolerance(at.input, p)
	if math.Abs(off) <= most {
		return "", nil
	}
	res.Notes = append(res.Notes, fmt.Sprintf("power meter %s finds %s at the input, %+.2f dB off the planned level; at most %.2f dB is allowed", meter.Name(), found.Connector, off, most))
	if off > 0 {
		return decision.LevelNotAsPlanned, r.quiet(ctx, at)
	}
	return decision.LevelNotAsPlanned, nil
}

// endangered switches RF off and ends the run with the point where the power
// meter finds a level that comes too near to what destroys the input: the
// interlock, which goes by tables, has been given wrong ones.
func (r *run) endangered(ctx context.Context, at *place, p procedures.Point, got drivers.LevelReading) error {
	meter, _ := r.Bench.PowerMeter(at.path.Meter.Name)
	level, least := got.Level, ""
	switch got.Mark {
	case drivers.None:
	case drivers.OverRange:
		level, least = meter.Level[1], "at least "
	default:
		return nil
	}
	found := r.Bench.LevelBy(at.input, p, level)
	if found.Connector.DBm(quantity.Dbm50())+found.Uncertainty <= procedures.Stands(r.Procedure.Unit, at.input) {
		return nil
	}
	r.endanger = fmt.Errorf("%w: power meter %s finds %s%s (U = %.2f dB) at input %s, which is destroyed at %s; look for a missing pad, a wrong loss table or a wrong offset of the meter",
		drivers.ErrInterlock, meter.Name, least, found.Connector, found.Uncertainty, at.input.Name, at.input.Damage)
	if err := r.quiet(ctx, at); err != nil {
		return err
	}
	return r.endanger
}

// belowPromise tells whether the level at the input, as measured with its U,
// lies outside the levels for which the unit promises to count, and says so;
// where it can't be told for sure the note says that.
func (r *run) belowPromise(at *place, res *PointResult) bool {
	if res.Level == nil {
		return false
	}
	level, u := res.Level.Input.DBm(at.input.Impedance), res.Level.Uncertainty
	say := func(may, beyond string, promised quantity.Level) {
		res.Notes = append(res.Notes, fmt.Sprintf("the level at the input, %s measured (U = %.2f dB), %s %s %s, within which the unit promises to count", res.Level.Input, u, may, beyond, promised))
	}
	for _, x := range r.promised(at, res.Point) {
		switch {
		case x.beyond(level)-u > 1e-9:
			say("lies", x.side, x.level)
			return true
		case x.beyond(level)+u > 1e-9:
			say("may lie", x.side, x.level)
		}
	}
	return false
}

// bound is one end of the levels for which an input promises to count.
type bound struct {
	level  quantity.Level
	side   string
	beyond func(dbm float64) float64 // dB
}

func (r *run) promised(at *place, p procedures.Point) (list []bound) {
	ohms := at.input.Impedance
	if s, ok := at.input.SensitivityAt(p.Frequency); ok {
		list = append(list, bound{s, "below", func(l float64) float64 { return s.DBm(ohms) - l }})
	}
	if m := at.input.Maximum; m != nil {
		list = append(list, bound{*m, "above", func(l float64) float64 { return l - m.DBm(ohms) }})
	}
	return list
}

// quiet switches the RF of the place's source off.
func (r *run) quiet(ctx context.Context, at *place) error {
	err := r.retryLink(ctx, at.source, func() error { return at.source.RFOff(ctx) })
	if err != nil {
		return err
	}
	set := r.lastSet[at.spec.Name]
	set.on = false
	r.lastSet[at.spec.Name] = set
	return nil
}

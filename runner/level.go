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
	most := r.Bench.LevelTolerance(p)
	if math.Abs(off) <= most {
		return "", nil
	}
	res.Notes = append(res.Notes, fmt.Sprintf("power meter %s finds %s at the input, %+.2f dB off the planned level; at most %.2f dB is allowed", meter.Name(), found.Connector, off, most))
	if off > 0 {
		return decision.LevelNotAsPlanned, r.quiet(ctx, at)
	}
	return decision.LevelNotAsPlanned, nil
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

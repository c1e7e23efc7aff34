package runner

import "fmt"

// enough returns what tells, after each reading of a point, whether the rest may
// be left out; nil where the point is read in full: its procedure says nothing
// of stopping early, or a first look scattered.
func (r *run) enough(at *place, res *PointResult, look int) func() (bool, error) {
	rule, n := res.Point.EarlyStop, res.Point.Readings
	if rule == nil || look > 1 {
		return nil
	}
	return func() (bool, error) {
		at.look(res)
		m, missing := r.measurement(at, res), res.missing()
		stop, err := rule.Enough(r.Plan.Rule, m, missing, n)
		if err != nil {
			return false, fmt.Errorf("point %s: %w", res.Point.ID, err)
		}
		switch {
		case !stop:
		case missing > 0:
			res.StoppedEarly = fmt.Sprintf("%d of %d readings, none of which counted", missing, n)
		default:
			res.StoppedEarly = fmt.Sprintf("%d of %d readings: the rest would not change the verdict (%.3g %% confidence)", len(m.Readings), n, rule.Confidence*100)
		}
		return stop, nil
	}
}

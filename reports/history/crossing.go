package history

import (
	"time"
)

// Crossing is when a limit will probably be crossed.
type Crossing struct {
	// Line is when the line crosses it: an even chance that a result of that day
	// lies beyond. Zero where no drift is shown, or where it is not within Until.
	Line time.Time `json:"line,omitzero"`
	// Interval is the day from which on the prediction interval reaches beyond it,
	// so that it may have been crossed. Zero where that is not within Until.
	Interval time.Time `json:"interval,omitzero"`
	// Beyond and MayBeBeyond: so it is already at the newest result.
	Beyond      bool `json:"beyond_already,omitempty"`
	MayBeBeyond bool `json:"may_be_beyond_already,omitempty"`
}

// cross finds the days.
func (d *Drift) cross() {
	if d.Limit == nil {
		return
	}
	limit := d.Limit.Float()
	c := &Crossing{}
	line := func(p Predicted) bool { return d.beyond(p, limit, 0) > 0 }
	whole := func(p Predicted) bool { return d.beyond(p, limit, p.Half) > 0 }
	c.Beyond, c.MayBeBeyond = line(d.at(d.Newest)), whole(d.at(d.Newest))
	if d.Shown && !c.Beyond {
		c.Line, _ = d.first(line)
	}
	if !c.MayBeBeyond {
		c.Interval, _ = d.first(whole)
	}
	d.Crossing = c
	within := limit - d.GuardBand.Float()
	if d.Side == "at least" {
		within = limit + d.GuardBand.Float()
	}
	guarded := func(p Predicted) bool { return d.beyond(p, within, p.Half) > 0 }
	if guarded(d.at(d.Newest)) {
		return
	}
	if at, ok := d.first(guarded); ok {
		d.Holds = days(d.Newest, at)
		return
	}
	d.Holds, d.HoldsAll = days(d.Newest, d.Until), true
}

// first is the last instant, to the minute, before something is so
// that is not so at the newest result; ok is false where it is not within Until.
// How far a prediction lies beyond a limit is a convex function of time, as line
// and half-width are, so that it is crossed once or not at all.
func (d *Drift) first(so func(Predicted) bool) (at time.Time, ok bool) {
	low, high := d.Newest, d.Until
	if !so(d.at(high)) {
		return time.Time{}, false
	}
	for high.Sub(low) > time.Minute {
		if mid := low.Add(high.Sub(low) / 2); so(d.at(mid)) {
			high = mid
		} else {
			low = mid
		}
	}
	return low, true
}

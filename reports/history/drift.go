package history

import (
	"fmt"
	"math"
	"slices"
	"time"

	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/stability"
)

// Drift is the steady change that fits all stretches, and what follows from it.
// Half-widths and expanded uncertainties are for [Coverage].
type Drift struct {
	PerDay   float64 `json:"per_day"`
	Expanded float64 `json:"per_day_expanded_uncertainty"`
	// Shown: the drift is larger than its uncertainty.
	Shown     bool    `json:"shown"`
	Stretches int     `json:"stretches"`
	Results   int     `json:"results"`
	Intervals int     `json:"intervals"`
	Freedom   int     `json:"degrees_of_freedom"`
	Ratio     float64 `json:"scatter_over_uncertainty"`
	// Factor is what a standard uncertainty is multiplied with, of which the unit's
	// own count is left out where the limit allows for it.
	Factor float64 `json:"factor"`
	// Newest result; predictions go from there up to Until.
	Newest time.Time   `json:"newest"`
	Kind   runner.Kind `json:"newest_run"`
	Until  time.Time   `json:"until"`
	// Next is the standard uncertainty of the next as-found result, taken as that
	// of the newest.
	Next  float64         `json:"next_standard_uncertainty"`
	Limit *quantity.Exact `json:"limit,omitempty"`
	Side  runner.Side     `json:"side,omitempty"`
	// LimitOf is the date of the result that the limit is of.
	LimitOf time.Time `json:"limit_of,omitzero"`
	// LimitsDiffer: not all results have this limit.
	LimitsDiffer bool           `json:"limits_differ,omitempty"`
	GuardBand    quantity.Exact `json:"guard_band,omitzero"`
	Crossing     *Crossing      `json:"crossing,omitempty"` // nil without a limit
	Course       []Predicted    `json:"course"`             // for a picture
	// Holds is for how many days from the newest result on the prediction interval
	// stays within the limit less its guard band; HoldsAll: up to Until.
	Holds    float64 `json:"holds_days"`
	HoldsAll bool    `json:"holds_up_to_the_end,omitempty"`

	// Since is the date of an adjustment or a repair after the newest result: where
	// it stands now is not known, and nothing is predicted. Zero: there was none.
	Since time.Time `json:"adjusted_since,omitzero"`

	fit  *stability.Stretches
	last int // stretch
	from time.Time
}

// Predicted is where a result will lie.
type Predicted struct {
	At    time.Time `json:"at"`
	Value float64   `json:"value"`
	Half  float64   `json:"half_width"`
}

// fit fits the drift of a series.
func (s *Series) fit(runs []Run) {
	if len(s.Intervals) < fewest {
		s.TooFew = fmt.Sprintf("too few: %s from one calibration to the next while nothing was adjusted; a drift needs %d", count(len(s.Intervals), "interval"), fewest)
		return
	}
	var list []stability.Dated
	var first, newest Value
	share := 0.0
	for _, v := range s.Values {
		if v.Stretch < 0 {
			continue
		}
		if len(list) == 0 {
			first = v
		}
		newest, share = v, math.Max(share, v.share)
		list = append(list, stability.Dated{Time: days(first.At, v.At), Value: v.Found.Float(), Standard: v.Standard, Stretch: v.Stretch})
	}
	f, err := stability.FitStretches(list)
	if err != nil {
		s.TooFew = err.Error()
		return
	}
	span := newest.At.Sub(first.At)
	d := &Drift{PerDay: f.Slope, Factor: f.Factor(Coverage, share), Stretches: newest.Stretch + 1, Results: len(list), Intervals: len(s.Intervals), Freedom: f.Freedom, Ratio: f.Ratio,
		Newest: newest.At, Kind: newest.Run, Until: newest.At.Add(Reach * span), Next: newest.Standard, fit: f, last: newest.Stretch, from: first.At}
	d.Expanded = d.Factor * f.Standard
	d.Shown = math.Abs(d.PerDay) > d.Expanded
	s.Drift = d
	if d.Since = s.changed(runs, newest); d.Since.IsZero() {
		d.limit(s.Values)
		d.Course = d.Ahead(12)
		d.cross()
	}
}

// changed is the time of the first adjustment or repair after a value.
func (s *Series) changed(runs []Run, v Value) time.Time {
	for _, r := range runs[v.run:] {
		if s.timebase && r.timebase != runs[v.run].timebase || r.epoch != runs[v.run].epoch {
			return r.At
		}
	}
	return time.Time{}
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// limit takes that of the newest as-found result, which is what the next one will
// be judged by: an as-left limit may be one of the day of an adjustment.
func (d *Drift) limit(values []Value) {
	for _, found := range []bool{true, false} {
		for k := len(values) - 1; k >= 0; k-- {
			if v := values[k]; v.Limit != nil && (!found || v.Run == runner.AsFound) {
				d.Limit, d.Side, d.LimitOf, d.GuardBand = v.Limit, v.Side, v.At, v.GuardBand
				d.LimitsDiffer = slices.ContainsFunc(values, func(o Value) bool { return o.Limit == nil || o.Limit.Cmp(*v.Limit) != 0 })
				return
			}
		}
	}
}

// Ahead predicts from the newest result to Until in so many steps; nothing where
// it is not known where it stands.
func (d *Drift) Ahead(steps int) (list []Predicted) {
	if !d.Since.IsZero() {
		return nil
	}
	for k := range steps + 1 {
		list = append(list, d.at(d.Newest.Add(d.Until.Sub(d.Newest)/time.Duration(steps)*time.Duration(k))))
	}
	return list
}

// at predicts the result of a time after the newest.
func (d *Drift) at(t time.Time) Predicted {
	value, half := d.fit.Predict(d.last, days(d.from, t), d.Next, d.Factor)
	return Predicted{t, value, half}
}

// beyond is how far a prediction lies beyond a limit, by its line or by the worse
// end of its interval; not above zero where it keeps it.
func (d *Drift) beyond(p Predicted, limit, half float64) float64 {
	switch d.Side {
	case runner.AtMost:
		return p.Value + half - limit
	case runner.AtLeast:
		return limit - (p.Value - half)
	}
	return math.Abs(p.Value) + half - limit
}

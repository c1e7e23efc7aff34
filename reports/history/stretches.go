package history

import (
	"fmt"
	"math"
	"time"

	"bandproof/runner"
)

// Interval is what happened to a unit from one calibration to the next, while
// nothing was adjusted.
type Interval struct {
	From time.Time   `json:"from"`
	As   runner.Kind `json:"as"` // the run that it began with
	To   time.Time   `json:"to"`
	Days float64     `json:"days"`
	// Change with its expanded uncertainty: of results that are not related to
	// each other, which is more than it is where they share a reference.
	Change   float64 `json:"change"`
	Expanded float64 `json:"change_expanded_uncertainty"`
	PerDay   float64 `json:"per_day"`
}

// shortest interval, in days: a second look at one calibration is none.
const shortest = 1

// stretches counts for each run the stretch that it belongs to.
func (h *History) stretches() {
	all, timebase := 0, 0
	var last time.Time
	var before Run // not an added one
	for k := range h.Runs {
		r := &h.Runs[k]
		switch {
		case r.Added:
			r.Note = "an added run of single points, which enters no drift"
		case r.Kind == runner.AfterRepair:
			r.Note = "after repair, before adjustment: neither as-found nor as-left, so that it enters no drift"
			all, timebase = all+1, timebase+1
		case r.Kind == runner.AsLeft:
			all, timebase = all+1, timebase+1
		case !last.IsZero() && r.adjustedSince(last, before) && !day(r.adjusted).After(day(r.At)):
			r.Note = fmt.Sprintf("the job says that the timebase was adjusted on %s, elsewhere: its drift begins anew", r.adjusted.Format(time.DateOnly))
			timebase++
		}
		r.epoch, r.timebase = all, timebase
		if !r.Added {
			last, before = r.At, *r
		}
	}
	for k := range h.Series {
		h.Series[k].stretch(h.Runs)
	}
}

// adjustedSince tells whether the job of a run states an adjustment that came
// after the run before. One of the same day did where that was an as-found run
// whose own job does not state it: as found is before anything is adjusted.
func (r *Run) adjustedSince(last time.Time, before Run) bool {
	switch {
	case r.adjusted.IsZero():
		return false
	case day(r.adjusted).Equal(day(last)):
		return before.Kind == runner.AsFound && !day(before.adjusted).Equal(day(r.adjusted))
	}
	return day(r.adjusted).After(day(last))
}

func day(t time.Time) time.Time { return t.UTC().Truncate(24 * time.Hour) }

// stretch numbers the stretches of a series, and lists its intervals.
func (s *Series) stretch(runs []Run) {
	number := map[int]int{}
	before := -1 // the value that an interval began with
	for k := range s.Values {
		v := &s.Values[k]
		r := runs[v.run]
		switch {
		case v.Why != "":
		case r.Added:
			v.Why = "added run"
		case r.Kind == runner.AfterRepair:
			v.Why = "after repair"
		case !(v.Standard > 0) || math.IsInf(v.Standard, 0):
			v.Why = "no uncertainty is stated"
		}
		if v.Stretch = -1; v.Why != "" {
			continue
		}
		epoch := r.epoch
		if s.timebase {
			epoch = r.timebase
		}
		n, known := number[epoch]
		if !known {
			n = len(number)
			number[epoch] = n
		}
		v.Stretch = n
		switch {
		case before < 0 || s.Values[before].Stretch != n:
			before = k
		case days(s.Values[before].At, v.At) >= shortest:
			s.Intervals = append(s.Intervals, interval(s.Values[before], *v))
			before = k
		}
	}
}

func interval(a, b Value) Interval {
	i := Interval{From: a.At, As: a.Run, To: b.At, Days: days(a.At, b.At), Change: b.Found.Sub(a.Found).Float(), Expanded: math.Hypot(a.Expanded, b.Expanded)}
	if i.Days > 0 {
		i.PerDay = i.Change / i.Days
	}
	return i
}

func days(from, to time.Time) float64 { return to.Sub(from).Hours() / 24 }

package history

import (
	"fmt"
	"math"
	"time"

	"bandproof/procedures/decision"
	"bandproof/runner"
)

// Methods of the recommended interval, as ILAC-G24:2022 / OIML D 10:2022 names
// them in its contents, 6.2 and 6.3. What the methods do is from memory: that
// text was not read.
const (
	MethodStaircase    = "ILAC-G24:2022 / OIML D 10:2022, 6.2 method 1, automatic adjustment or “staircase” (calendar time)"
	MethodControlChart = "ILAC-G24:2022 / OIML D 10:2022, 6.3 method 2, control chart (calendar time)"
)

// Steps of the staircase: longer where all as-found errors keep to a share of their
// limits, shorter where one fails (the share from memory of the guideline, the
// steps common practice, no source).
const (
	staircaseShare  = 0.8
	staircaseLonger = 1.25
	staircaseFail   = 0.5
	// mostLonger bounds any lengthening at once.
	mostLonger = 2
)

// Recommendation is an interval from the newest run on. It is advice: never a due
// date on data sheet or label, where only what the customer agreed to may stand
// (ISO/IEC 17025:2017, 7.8.4.3).
type Recommendation struct {
	Days   int       `json:"days,omitempty"` // 0: none
	From   time.Time `json:"from,omitzero"`
	Method string    `json:"method,omitempty"`
	// Reliability is the probability, for each result by itself, that it is found
	// within its limit less the guard band at the end of the interval; the staircase
	// states none.
	Reliability float64 `json:"reliability,omitempty"`
	// ControlChart and Staircase are what each method gives, before bounds; 0: none.
	ControlChart int    `json:"control_chart_days,omitempty"`
	Governs      string `json:"governs,omitempty"` // the series that the control chart depends on
	Staircase    int    `json:"staircase_days,omitempty"`
	// Last is the last interval that the unit had.
	Last    int      `json:"last_interval_days,omitempty"`
	Reasons []string `json:"reasons"`
}

func (r *Recommendation) because(format string, args ...any) {
	r.Reasons = append(r.Reasons, fmt.Sprintf(format, args...))
}

// recommend takes the control chart where a drift can be fitted, the staircase
// beside it, and bounds what they say.
func (h *History) recommend() {
	r := &h.Interval
	r.Reasons = []string{}
	last, failed, share := h.lastInterval()
	for k := len(h.Runs) - 1; k >= 0 && r.From.IsZero(); k-- {
		if !h.Runs[k].Added {
			r.From = h.Runs[k].At
		}
	}
	if last > 0 {
		r.Last = whole(last)
		r.Staircase = h.staircase(last, failed, share)
	}
	chart, usable, none := h.controlChart()
	switch {
	case none:
		return
	case usable:
		r.ControlChart, r.Method, r.Reliability = whole(chart), MethodControlChart, Coverage
		r.Days = r.ControlChart
	case r.Staircase > 0:
		r.Method, r.Days = MethodStaircase, r.Staircase
	default:
		r.because("none: there is no interval from one calibration to the next yet")
		return
	}
	h.bound(last, failed)
}

func whole(days float64) int { return int(math.Floor(days)) }

// bound keeps a recommendation from leaping.
func (h *History) bound(last float64, failed bool) {
	r := &h.Interval
	if most := whole(last * mostLonger); last > 0 && r.Days > most {
		r.because("shortened to twice the last interval of %d d: never more than doubled at once", r.Last)
		r.Days = most
	}
	if failed && r.Staircase > 0 && r.Days > r.Staircase {
		r.because("shortened to half of the last interval: the newest as-found run was outside tolerance")
		r.Days = r.Staircase
	}
	if r.Days < 1 {
		r.Days, r.Method, r.Reliability = 0, "", 0
		r.because("none: less than a day is left; adjust, or find what is wrong, first")
	}
}

// controlChart is the time for which the prediction intervals of all results that
// have a drift stay within their limits less guard bands. none: one does not even
// at its newest result.
func (h *History) controlChart() (held float64, usable, none bool) {
	r := &h.Interval
	held = math.Inf(1)
	all, without := true, 0
	for _, s := range h.Series {
		d := s.Drift
		switch {
		case d == nil || d.Limit == nil:
			if len(s.Values) > 0 && s.Values[len(s.Values)-1].Limit != nil {
				without++
			}
			continue
		case d.Holds == 0:
			r.Governs = s.Name
			r.because("none: already at its newest result the prediction interval of %s reaches beyond its limit less guard band; adjust first", s.Name)
			return 0, false, true
		}
		usable = true
		if left := d.Holds - days(d.Newest, r.From); left < held {
			held, r.Governs, all = left, s.Name, d.HoldsAll
		}
	}
	if !usable {
		r.because("control chart: not usable, no result with a limit has a drift (too few intervals)")
		return 0, false, false
	}
	if all {
		r.because("control chart: within limits up to the end of what is predicted (%d times the time that the results span)", Reach)
	} else {
		r.because("control chart: the prediction interval of %s reaches its limit less guard band then", r.Governs)
	}
	if without > 0 {
		r.because("%s without a drift of their own are not part of it", count(without, "result"))
	}
	return math.Max(0, held), true, false
}

// lastInterval is the one that ended with the newest as-found run, what that
// found, and the largest share of a limit that an as-found error took.
func (h *History) lastInterval() (length float64, failed bool, share float64) {
	found := -1
	for k := range h.Runs {
		if r := h.Runs[k]; r.Kind == runner.AsFound && !r.Added {
			found = k
		}
	}
	if found < 0 {
		return 0, false, 0
	}
	for k := found - 1; k >= 0; k-- {
		if r := h.Runs[k]; !r.Added && r.Kind != runner.AfterRepair && days(r.At, h.Runs[found].At) >= shortest {
			length = days(r.At, h.Runs[found].At)
			break
		}
	}
	failed = h.Runs[found].failed
	for _, s := range h.Series {
		for _, v := range s.Values {
			if v.run != found || v.Verdict.Word == decision.NotJudged {
				continue
			}
			failed = failed || v.Verdict.Bad()
			if v.Limit != nil && v.Limit.Sign() > 0 && v.Side == runner.Within {
				share = math.Max(share, v.Found.Abs().Quo(*v.Limit).Float())
			}
		}
	}
	return length, failed, share
}

// staircase is the next step after an interval.
func (h *History) staircase(last float64, failed bool, share float64) int {
	r := &h.Interval
	switch {
	case failed:
		r.because("staircase: the newest as-found run was outside tolerance; half of the last interval")
		return whole(last * staircaseFail)
	case share <= staircaseShare:
		r.because("staircase: the newest as-found errors took at most %.0f %% of their limits, within %.0f %%; a quarter longer than the last interval", share*100, staircaseShare*100)
		return whole(last * staircaseLonger)
	}
	r.because("staircase: the newest as-found errors took up to %.0f %% of their limits; as long as the last interval", share*100)
	return whole(last)
}

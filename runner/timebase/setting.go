package timebase

import "math"

// Setting is the offset at which a timebase that ages steadily stays between
// −bound and +bound for longest. All offsets are relative, times are in days.
type Setting struct {
	Offset float64 `json:"offset"`
	// Least is how long it stays there at least, whatever slope the uncertainty
	// leaves possible; Expected with the slope as found.
	Least    float64 `json:"least_days"`
	Expected float64 `json:"expected_days"`
}

// Longest is the best setting for an ageing of slope ± u per day. The bound is
// the limit less what other influences and the uncertainty of the offset may
// take of it.
//
// Assumed: the timebase changes in proportion to time, by the same slope from
// now on, which lies within slope ± u. Where even its direction is not known
// (|slope| < u), the time that is sure is the shorter of two: to the upper bound
// at slope + u, (B − y)/(u + s), and to the lower one at slope − u, (B + y)/(u − s).
// It is longest where both are equal: y = −B·s/u, B/u in time. Where the
// direction is known, the best setting is the bound on the other side.
func Longest(bound, slope, u float64) (s Setting, ok bool) {
	if !(bound > 0) || math.IsInf(bound, 0) || math.IsNaN(slope) || math.IsInf(slope, 0) || !(u >= 0) || math.IsInf(u, 0) {
		return Setting{}, false
	}
	switch {
	case slope == 0 && u == 0:
		return Setting{Least: math.Inf(1), Expected: math.Inf(1)}, true
	case math.Abs(slope) < u:
		s.Offset = -bound * slope / u
	default:
		s.Offset = -math.Copysign(bound, slope)
	}
	s.Least, s.Expected = holds(s.Offset, bound, slope, u)
	return s, true
}

// holds is how long a timebase at y stays within ±bound: at least, and with the
// slope as found; zero where it lies outside already.
func holds(y, bound, slope, u float64) (least, expected float64) {
	if math.Abs(y) > bound*(1+1e-12) {
		return 0, 0
	}
	until := func(rate float64) float64 {
		switch {
		case rate > 0:
			return math.Max(0, bound-y) / rate
		case rate < 0:
			return math.Max(0, bound+y) / -rate
		}
		return math.Inf(1)
	}
	return math.Min(until(slope+u), until(slope-u)), until(slope)
}

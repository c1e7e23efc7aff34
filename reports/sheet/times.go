package sheet

import (
	"strings"
	"time"
)

// Times are printed by ISO 8601 in every language, on the bench's clock with its
// offset from UTC.

// moment writes date, time of day and zone.
func (r run) moment(t time.Time) string {
	if t.IsZero() {
		return r.say("not stated")
	}
	return strings.Replace(r.Local(t).Format("2006-01-02 15:04 -07:00"), "+00:00", "UTC", 1)
}

func (r run) period(from, to time.Time) string {
	if from.IsZero() && to.IsZero() {
		return r.say("not stated")
	}
	return r.to(r.moment(from), r.moment(to))
}

func (r run) day(t time.Time) string {
	if t.IsZero() {
		return r.say("not stated")
	}
	return r.Local(t).Format(time.DateOnly)
}

// days writes one date, or two where a run went over midnight.
func (r run) days(from, to time.Time) string {
	a, b := r.day(from), r.day(to)
	if a == b || to.IsZero() {
		return a
	}
	return r.to(a, b)
}

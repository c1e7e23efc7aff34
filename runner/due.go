package runner

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"bandproof/procedures"
)

// ErrOverdue: a standard that results would rest on is past its due date, and
// nobody has accepted that by its name.
var ErrOverdue = errors.New("standard overdue")

// Overdue is a standard past its due date that a run used all the same: because
// somebody accepted it before, or because the date passed while the run was on.
type Overdue struct {
	procedures.Due
	By     string    `json:"accepted_by,omitempty"`
	At     time.Time `json:"accepted_at,omitzero"`
	Lapsed time.Time `json:"lapsed_at,omitzero"` // noticed then, during the run
}

// Accept takes over overdue standards by name. A name that is none of them is
// an error that lists those that are.
func Accept(past []procedures.Due, names []string, by string, at time.Time) ([]Overdue, error) {
	var list []Overdue
	for _, name := range names {
		k := len(list)
		for _, d := range past {
			if d.Name == name {
				list = append(list, Overdue{Due: d, By: by, At: at})
			}
		}
		switch {
		case len(list) > k:
		case len(past) == 0:
			return nil, fmt.Errorf("%q is not overdue, or is no standard of this run; none is", name)
		default:
			return nil, fmt.Errorf("%q is not overdue, or is no standard of this run; overdue are %s", name, quoted(past))
		}
	}
	return list, nil
}

func quoted(past []procedures.Due) string {
	var names []string
	for _, d := range past {
		names = append(names, fmt.Sprintf("%q", d.Name))
	}
	return strings.Join(names, ", ")
}

// Refused is nil where each overdue standard is accepted; else an error that
// wraps ErrOverdue and names those that are not.
func Refused(past []procedures.Due, accepted []Overdue) error {
	var open []string
	for _, d := range past {
		if !slices.ContainsFunc(accepted, func(o Overdue) bool { return o.What == d.What && o.Name == d.Name }) {
			open = append(open, d.String())
		}
	}
	if len(open) == 0 {
		return nil
	}
	return fmt.Errorf("%w: %s", ErrOverdue, strings.Join(open, "; "))
}

// due ends the run before RF is first switched on where a standard is overdue
// that nobody accepted, and keeps those that somebody did.
func (r *run) due(ctx context.Context) error {
	now := r.Clock.Now()
	var past []procedures.Due
	for _, d := range r.Plan.Due(r.Bench) {
		if d.Past(now) {
			past = append(past, d)
		} else {
			r.inDate = append(r.inDate, d)
		}
	}
	if err := Refused(past, r.Overdue); err != nil {
		return err
	}
	for _, o := range r.Overdue {
		if o.Past(now) {
			r.result.Overdue = append(r.result.Overdue, o)
			r.event(ctx, fmt.Sprintf("%s; accepted by %s at %s", o.Due, o.By, o.At.UTC().Format(time.RFC3339)))
		}
	}
	return r.interrupt
}

// lapse notes standards whose due date has passed while the run was on, once
// for the run and at what rests on them: it gives the notes of a point or task.
func (r *run) lapse(ctx context.Context, id string, standards []string) (notes []string) {
	now := r.Clock.Now()
	r.inDate = slices.DeleteFunc(r.inDate, func(d procedures.Due) bool {
		if !d.Past(now) {
			return false
		}
		r.result.Overdue = append(r.result.Overdue, Overdue{Due: d, Lapsed: now})
		r.warn(ctx, fmt.Sprintf("%s, which passed during the run; what was taken from %s on was taken after that", d, id))
		return true
	})
	for _, o := range r.result.Overdue {
		if !o.Lapsed.IsZero() && slices.Contains(standards, o.Name) {
			notes = append(notes, fmt.Sprintf("taken after %s, until which the calibration of %s was relied on", o.Due.Due, o.Name))
		}
	}
	return notes
}

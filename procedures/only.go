package procedures

import (
	"fmt"
	"slices"
	"strings"
)

// Restrict leaves in a plan only the points and tasks that are named by id, in
// the order in which the plan takes them. Such a plan is for an added run: what
// it shows stands beside a run of the whole, and never in its place.
func (pl *Plan) Restrict(b *Bench, ids []string) error {
	var known []string
	for _, p := range pl.Points {
		known = append(known, p.ID)
	}
	for _, t := range pl.Tasks {
		known = append(known, t.ID)
	}
	inputs := map[string]bool{}
	for _, id := range ids {
		if !slices.Contains(known, id) {
			return fmt.Errorf("%q is no point and no task of this plan; it has %s", id, summary(known))
		}
	}
	pl.Points = slices.DeleteFunc(pl.Points, func(p Point) bool { return !slices.Contains(ids, p.ID) })
	pl.Tasks = slices.DeleteFunc(pl.Tasks, func(t Task) bool { return !slices.Contains(ids, t.ID) })
	pl.Only = nil
	for _, p := range pl.Points {
		inputs[p.Input], pl.Only = true, append(pl.Only, p.ID)
	}
	for _, t := range pl.Tasks {
		inputs[t.Input], pl.Only = true, append(pl.Only, t.ID)
	}
	pl.Inputs = slices.DeleteFunc(pl.Inputs, func(i PlannedInput) bool { return !inputs[i.Input] })
	pl.cost(b)
	return nil
}

// summary lists ids, of many the first and the last few.
func summary(ids []string) string {
	if len(ids) > 12 {
		ids = slices.Concat(ids[:6], []string{"…"}, ids[len(ids)-5:])
	}
	return strings.Join(ids, ", ")
}

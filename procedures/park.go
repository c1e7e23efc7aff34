package procedures

import (
	"fmt"

	"bandproof/procedures/quantity"
)

// Park plans the point at which a source is parked: as wanted, on the best path.
// tested asks for one on which the unit's timebase shows.
func (pl *Plan) Park(p *Procedure, b *Bench, o Options, input string, w Want, tested bool) (Point, error) {
	i, ok := p.Input(input)
	if !ok {
		return Point{}, fmt.Errorf("input %q is none of the unit; it has %s", input, listed(names(p.Inputs, func(i Input) string { return i.Name })))
	}
	if w.Level == nil && w.Above == nil {
		usual := quantity.Of[quantity.Decibel](10, 0)
		w.Above = &usual
	}
	d := &Draft{&planner{p: p, b: b, o: o, plan: pl}}
	best, why := Point{}, "no path in the bench file leads to this input"
	for _, path := range b.Paths {
		if path.Input != input || w.Path != "" && path.Name != w.Path {
			continue
		}
		if t := pl.Topology[path.Source]; tested && !t.TimebaseTested {
			why = "the unit's timebase does not show: " + t.Says
			continue
		}
		want := w
		want.Path = path.Name
		point, reason := d.Point(i, want)
		switch {
		case reason != "":
			why = reason
		case best.Path == "" || d.l.better(i, point, best):
			best = point
		}
	}
	if best.Path == "" {
		return Point{}, fmt.Errorf("input %s at %s: %s", input, w.Frequency, why)
	}
	return best, nil
}

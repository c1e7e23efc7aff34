package procedures

import (
	"slices"

	"bandproof/procedures/quantity"
)

// Way is a point as another source shows it, over a path of its own, so that
// it can be repeated that way if it fails. It has no id.
type Way struct {
	Point
	// HandsFree: nobody has to move a cable for it.
	HandsFree bool `json:"hands_free,omitempty"`
}

// By is the point as it is taken on another way.
func (p Point) By(w Way) Point {
	w.ID, w.Readings = p.ID, p.Readings
	return w.Point
}

// also lists the ways of other sources that show what best shows: at the very
// same frequency, with a TUR of at least 1, by a source in date. One for each
// source; those that need no hand first.
func (l *planner) also(best Point, all []Point) []Way {
	ways := map[string]Way{}
	var order []string
	for _, p := range all {
		if p.Source == best.Source || p.Frequency.Cmp(best.Frequency) != 0 || !l.sound(p) {
			continue
		}
		path, _ := l.b.Path(p.Path)
		w := Way{p, path.HandsFree()}
		was, seen := ways[p.Source]
		if !seen {
			order = append(order, p.Source)
		}
		if !seen || w.HandsFree && !was.HandsFree {
			ways[p.Source] = w
		}
	}
	var free, byHand []Way
	for _, name := range order {
		if w := ways[name]; w.HandsFree {
			free = append(free, w)
		} else {
			byHand = append(byHand, w)
		}
	}
	return append(free, byHand...)
}

// Repeatable counts the points of an input that another source reaches too, and
// names these sources.
func (pl *Plan) Repeatable(input string) (n int, sources []string) {
	for _, p := range pl.Points {
		if p.Input != input || len(p.Also) == 0 {
			continue
		}
		n++
		for _, w := range p.Also {
			if !slices.Contains(sources, w.Source) {
				sources = append(sources, w.Source)
			}
		}
	}
	return n, sources
}

// sameTUR is how little two TURs may differ and still count as equal: their
// uncertainties are known to two digits at best (JCGM 100:2008, 7.2.6).
const sameTUR = 0.01

// better tells whether a shows a point better than b: by a source in date with
// a TUR of at least 1, then with a signal as pure as the procedure asks, else
// with the higher TUR; among equals by a path that
// needs no hand, then from the source that reaches more of the input, so that
// cables are moved less often. All else equal, the first in the bench file stays.
func (l *planner) better(i Input, a, b Point) bool {
	if x, y := l.sound(a), l.sound(b); x != y {
		return x
	}
	if x, y := purer(a), purer(b); x != y {
		return x > y
	}
	if x, y := a.TUR, b.TUR; !(x == nil && y == nil) {
		switch {
		case y == nil, x != nil && *x < *y*(1-sameTUR):
			return false
		case x == nil, *x > *y*(1+sameTUR):
			return true
		}
	}
	p, _ := l.b.Path(a.Path)
	q, _ := l.b.Path(b.Path)
	if x, y := p.HandsFree(), q.HandsFree(); x != y {
		return x
	}
	return l.reaches(i, a.Source) > l.reaches(i, b.Source)*(1+1e-9)
}

// sound tells whether a point is shown by a source that is in date and good
// enough.
func (l *planner) sound(p Point) bool {
	s, _ := l.b.Source(p.Source)
	r, _ := l.b.Reference(s.Reference)
	return !s.Overdue(l.o.Now) && !r.Overdue(l.o.Now) && (p.TUR == nil || *p.TUR >= 1)
}

// reaches is how much of an input's range a source makes, in octaves.
func (l *planner) reaches(i Input, source string) float64 {
	s, _ := l.b.Source(source)
	low, high := i.Range[0], i.Range[1]
	if s.Range[0].Cmp(low) > 0 {
		low = s.Range[0]
	}
	if s.Range[1].Cmp(high) < 0 {
		high = s.Range[1]
	}
	if low.Cmp(high) >= 0 {
		return 0
	}
	return quantity.Octaves(low, high)
}

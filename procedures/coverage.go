package procedures

import (
	"bandproof/procedures/quantity"
)

// Coverage is how much of an input's range a set of shown points covers.
type Coverage struct {
	// Share of the logarithm of the frequency range, 0 to 1.
	Share float64 `json:"share"`
	// Complete: all of the range is covered, both edges and both sides of every
	// crossover among the points.
	Complete bool `json:"complete"`
	// Open lists the stretches that are not covered.
	Open []Stretch `json:"open,omitempty"`
}

// Stretch is a part of an input's range.
type Stretch struct {
	From quantity.Frequency `json:"from"`
	To   quantity.Frequency `json:"to"`
}

// PlannedOut tells whether a stretch without points is one that the bench can't
// show, rather than one where the points lie too far apart.
func (s Stretch) PlannedOut(list []NotShown) bool {
	for _, n := range list {
		if n.From.Cmp(s.To) < 0 && n.To.Cmp(s.From) > 0 {
			return true
		}
	}
	return false
}

// Coverage computes what the shown frequencies cover: the stretch between
// adjacent ones counts where they are no further apart than max_gap, and a
// crossover between them counts only where they are the points at its sides.
func (i Input) Coverage(shown []quantity.Frequency) Coverage {
	low, high := i.Range[0], i.Range[1]
	points := rising(append([]quantity.Frequency{}, shown...))
	var c Coverage
	covered := 0.0
	last := low
	edge := len(points) > 0 && points[0].Cmp(low) == 0
	for k, f := range points {
		if k == 0 {
			if !edge {
				c.Open = append(c.Open, Stretch{low, f})
			}
			last = f
			continue
		}
		if i.MaxGap.Within(last, f) && i.crossed(last, f) {
			covered += quantity.Octaves(last, f)
		} else {
			c.Open = append(c.Open, Stretch{last, f})
		}
		last = f
	}
	if len(points) == 0 || last.Cmp(high) != 0 {
		c.Open = append(c.Open, Stretch{last, high})
	}
	c.Share = covered / quantity.Octaves(low, high)
	c.Complete = len(c.Open) == 0 && i.bothSides(points)
	if c.Complete {
		c.Share = 1
	}
	return c
}

// crossed tells whether every crossover strictly between a and b has a and b
// at its sides.
func (i Input) crossed(a, b quantity.Frequency) bool {
	for _, x := range i.Crossovers {
		if a.Cmp(x) >= 0 || b.Cmp(x) <= 0 {
			continue
		}
		below, above := i.sides(x)
		if a.Cmp(below) < 0 || b.Cmp(above) > 0 {
			return false
		}
	}
	return true
}

// bothSides tells whether every crossover has a point close below and above.
func (i Input) bothSides(points []quantity.Frequency) bool {
	for _, x := range i.Crossovers {
		below, above := i.sides(x)
		left, right := false, false
		for _, f := range points {
			left = left || f.Cmp(below) >= 0 && f.Cmp(x) < 0
			right = right || f.Cmp(x) > 0 && f.Cmp(above) <= 0
		}
		if !left || !right {
			return false
		}
	}
	return true
}

package edge

import (
	"context"

	"bandproof/runner"
)

// sample is one setting of a search: where it lies on the axis (logarithm of
// frequency, or level in dBm) and what the unit did there.
type sample struct {
	x    float64
	shot runner.PointResult
	good bool
}

// change is where the unit goes from counting to not counting, or back.
type change struct {
	low, high sample
	why       string // it is not known better; "" where the stated fraction was reached
}

// probe takes a sample as near to x as the source can be set. why is not "" where
// the bench could not show it.
type probe func(ctx context.Context, x float64) (s sample, why string, err error)

// search finds changes between samples.
type search struct {
	probe probe
	close func(low, high sample) bool // the boundary between them is known well enough
	left  int                         // probes that it may still take
	shots []runner.PointResult        // all that it took
	open  []string                    // what the bench could not show
}

const outOfProbes = "more changes than there is time to follow: the search ends here"

// at takes a sample, if one may still be taken.
func (s *search) at(ctx context.Context, x float64) (sample, string, error) {
	if s.left == 0 {
		return sample{}, outOfProbes, nil
	}
	s.left--
	got, why, err := s.probe(ctx, x)
	if err == nil && got.shot.Point.Input != "" {
		s.shots = append(s.shots, got.shot)
	}
	return got, why, err
}

// between divides the stretch from low to high evenly, so that an island where
// the unit counts, or does not, is found too, and narrows every change down.
func (s *search) between(ctx context.Context, low, high sample, steps int) ([]change, error) {
	list := []sample{low}
	for k := 1; k < steps; k++ {
		got, why, err := s.at(ctx, low.x+(high.x-low.x)*float64(k)/float64(steps))
		if err != nil {
			return nil, err
		}
		switch {
		case why != "":
			s.open = append(s.open, why)
		case got.x > list[len(list)-1].x && got.x < high.x:
			list = append(list, got)
		}
	}
	return s.changes(ctx, append(list, high))
}

// changes narrows down every change between neighbours of a list.
func (s *search) changes(ctx context.Context, list []sample) (found []change, err error) {
	for k := 1; k < len(list); k++ {
		if list[k-1].good == list[k].good {
			continue
		}
		c, err := s.narrow(ctx, change{low: list[k-1], high: list[k]})
		if err != nil {
			return nil, err
		}
		found = append(found, c)
	}
	return found, nil
}

// narrow bisects one change.
func (s *search) narrow(ctx context.Context, c change) (change, error) {
	for !s.close(c.low, c.high) {
		got, why, err := s.at(ctx, (c.low.x+c.high.x)/2)
		if err != nil {
			return c, err
		}
		if why == "" && (got.x <= c.low.x || got.x >= c.high.x) {
			why = "the source has no setting in between"
		}
		if why != "" {
			c.why = why
			return c, nil
		}
		if got.good == c.low.good {
			c.low = got
		} else {
			c.high = got
		}
	}
	return c, nil
}

package stability

import (
	"fmt"
	"math"
)

// points are times and values without gaps, the values divided by unit.
type points struct {
	t, y             []float64
	unit             float64
	first, last, mid float64
	span, step       float64 // last − first; the span over the number of steps
}

func newPoints(times, values []float64) (*points, error) {
	if len(times) != len(values) {
		return nil, fmt.Errorf("%w: %d times for %d values", ErrData, len(times), len(values))
	}
	p := &points{unit: power(values), first: math.Inf(1), last: math.Inf(-1)}
	for k, v := range values {
		switch {
		case math.IsNaN(times[k]) || math.IsInf(times[k], 0):
			return nil, fmt.Errorf("%w: time %d is not a number", ErrData, k+1)
		case math.IsInf(v, 0):
			return nil, fmt.Errorf("%w: value %d is infinite; a missing value is marked as a gap (NaN)", ErrData, k+1)
		case math.IsNaN(v):
			continue
		}
		p.t, p.y = append(p.t, times[k]), append(p.y, v/p.unit)
		p.first, p.last = math.Min(p.first, times[k]), math.Max(p.last, times[k])
	}
	if len(p.t) < 3 {
		return nil, fmt.Errorf("%w: %d values are too few for a fit", ErrData, len(p.t))
	}
	p.mid, p.span = p.first/2+p.last/2, p.last-p.first
	p.step = p.span / float64(len(p.t)-1)
	if !(p.step > 0) || math.IsInf(p.span, 0) {
		return nil, fmt.Errorf("%w: times don't differ, or are too large", ErrData)
	}
	return p, nil
}

// shape is a curve with one parameter u that is not linear: y = c + a·value(u, t).
type shape struct {
	low, high float64 // where u is sought
	value     func(u, t float64) float64
	slope     func(u, t float64) float64 // of value by u
}

// shaped fits c, a and u. Given u the rest is linear, so the square of what is
// left is a function of u alone: it is searched on a grid (of at most a few
// thousand averaged values), then u, c and a are improved together on all
// values (Gauss and Newton). The result's third parameter is u.
func (p *points) shaped(s shape) (*fit, float64, error) {
	if len(p.t) < 4 {
		return nil, 0, fmt.Errorf("%w: %d values for a fit of 3 parameters; expected at least 4", ErrData, len(p.t))
	}
	undetermined := fmt.Errorf("%w: %w: they show no such curve (a straight line, a level or noise alone)", ErrData, errSingular)
	few := p.averaged(2000)
	rest := func(u float64) float64 {
		f, err := few.given(s, u)
		if err != nil {
			return math.Inf(1)
		}
		return f.scatter
	}
	const grid = 120
	width := (s.high - s.low) / grid
	best, least := -1, math.Inf(1)
	for k := 0; k <= grid; k++ {
		if r := rest(s.low + float64(k)*width); r < least {
			best, least = k, r
		}
	}
	if best <= 0 || best >= grid {
		return nil, 0, undetermined
	}
	u := golden(rest, s.low+float64(best-1)*width, s.low+float64(best+1)*width)
	f, err := p.given(s, u)
	if err != nil {
		return nil, 0, undetermined
	}
	for range 20 {
		next, err := p.improved(s, f, u)
		if err != nil {
			return nil, 0, undetermined
		}
		step := next.value[2]
		for ; math.Abs(step) > 1e-14; step /= 2 {
			if g, err := p.given(s, u+step); err == nil && g.scatter <= f.scatter {
				f, u = g, u+step
				break
			}
		}
		if math.Abs(step) < 1e-10 {
			break
		}
	}
	final, err := p.improved(s, f, u)
	if err != nil || u <= s.low || u >= s.high {
		return nil, 0, undetermined
	}
	f.inverse, f.freedom = final.inverse, final.freedom
	f.scatter = final.scatter
	// Where u is not known within a factor of e³ the curve is not determined.
	if f.standard(2) > 3 {
		return nil, 0, undetermined
	}
	return f, u, nil
}

// given fits c and a for a fixed u.
func (p *points) given(s shape, u float64) (*fit, error) {
	return leastSquares(len(p.t), 2, func(i int, a []float64) (float64, bool) {
		a[0], a[1] = 1, s.value(u, p.t[i])
		return p.y[i], true
	})
}

// improved fits the steps of c, a and u from where they are.
func (p *points) improved(s shape, at *fit, u float64) (*fit, error) {
	return leastSquares(len(p.t), 3, func(i int, a []float64) (float64, bool) {
		v := s.value(u, p.t[i])
		a[0], a[1], a[2] = 1, v, at.value[1]*s.slope(u, p.t[i])
		return p.y[i] - at.value[0] - at.value[1]*v, true
	})
}

// averaged is the mean of each n neighbours so that at most most points are left;
// the first tenth, where curves bend most, is kept finer.
func (p *points) averaged(most int) *points {
	if len(p.t) <= most {
		return p
	}
	q := *p
	q.t, q.y = nil, nil
	for i := 0; i < len(p.t); {
		n := max(1, min(len(p.t)/most*2, i*20/most))
		n = min(n, len(p.t)-i)
		t, y := 0.0, 0.0
		for k := i; k < i+n; k++ {
			t, y = t+p.t[k], y+p.y[k]
		}
		q.t, q.y = append(q.t, t/float64(n)), append(q.y, y/float64(n))
		i += n
	}
	return &q
}

// golden finds the least of f between a and b.
func golden(f func(float64) float64, a, b float64) float64 {
	ratio := (math.Sqrt(5) - 1) / 2
	c, d := b-ratio*(b-a), a+ratio*(b-a)
	fc, fd := f(c), f(d)
	for range 40 {
		if fc < fd {
			b, d, fd = d, c, fc
			c = b - ratio*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + ratio*(b-a)
			fd = f(d)
		}
	}
	return (a + b) / 2
}

package uncertainty

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// Bounds of the number of Monte Carlo trials. Fewer can't show a 95 % interval
// (JCGM 101:2008 7.9.4); more would need more than 80 MB of memory, 8 byte a
// trial.
const (
	LeastTrials   = 10_000
	DefaultTrials = 1_000_000
	MostTrials    = 10_000_000
)

// Options of a Monte Carlo propagation. The same options and budget give the
// same result, bit by bit.
type Options struct {
	Trials   int     // 0: DefaultTrials
	Seed     uint64  // of the generator
	Coverage float64 // probability of the intervals; 0: Coverage
}

func (o Options) filled() (Options, error) {
	if o.Trials == 0 {
		o.Trials = DefaultTrials
	}
	if o.Coverage == 0 {
		o.Coverage = Coverage
	}
	if o.Trials < LeastTrials || o.Trials > MostTrials {
		return o, fmt.Errorf("%d trials; expected %d to %d", o.Trials, LeastTrials, MostTrials)
	}
	if !(o.Coverage > 0 && o.Coverage < 1) || float64(o.Trials)*(1-o.Coverage) < 100 {
		return o, fmt.Errorf("coverage probability %v with %d trials; expected above 0 and at least 100 trials outside (JCGM 101 7.2)", o.Coverage, o.Trials)
	}
	return o, nil
}

// Sample is what the trials came to.
type Sample struct {
	Trials   int     `json:"trials"`
	Seed     uint64  `json:"seed"`
	Coverage float64 `json:"coverage_probability"`
	// Mean and Standard are nil where a line has two degrees of freedom or
	// fewer: its distribution has no standard deviation, only the intervals stand.
	Mean     *float64 `json:"mean"`
	Standard *float64 `json:"standard_uncertainty"`
	// Symmetric is the probabilistically symmetric coverage interval, Shortest
	// the shortest one (JCGM 101 7.7).
	Symmetric [2]float64 `json:"symmetric_interval"`
	Shortest  [2]float64 `json:"shortest_interval"`
	// Numerical is the standard uncertainty of the ends of Symmetric that comes
	// from the finite number of trials alone.
	Numerical [2]float64 `json:"numerical_uncertainty"`
}

// MonteCarlo propagates the distributions of a budget through its sensitivity
// coefficients; deviations are about zero. The context ends it early.
func (b Budget) MonteCarlo(ctx context.Context, list []Correlation, o Options) (Sample, error) {
	c := make([]float64, len(b))
	for k := range b {
		c[k] = b[k].Coefficient()
	}
	return Propagate(ctx, func(x []float64) float64 {
		sum := 0.0
		for k, v := range x {
			sum += c[k] * v
		}
		return sum
	}, make([]float64, len(b)), b, list, o)
}

// Propagate propagates the distributions of the inputs, each about its
// estimate, through a function; sensitivity coefficients don't count. The
// context ends it early. A function that is not finite at some trial is an
// error.
func Propagate(ctx context.Context, f Function, estimates []float64, b Budget, list []Correlation, o Options) (Sample, error) {
	o, err := o.filled()
	if err != nil {
		return Sample{}, err
	}
	if len(estimates) != len(b) {
		return Sample{}, fmt.Errorf("%d estimates for %d contributions; expected one each", len(estimates), len(b))
	}
	groups, err := b.groups(list)
	if err != nil {
		return Sample{}, err
	}
	draws, err := b.draws(groups)
	if err != nil {
		return Sample{}, err
	}
	y, err := trials(ctx, f, estimates, draws, o)
	if err != nil {
		return Sample{}, err
	}
	s := Sample{Trials: o.Trials, Seed: o.Seed, Coverage: o.Coverage}
	if b.hasDeviation() {
		mean, standard := moments(y)
		s.Mean, s.Standard = &mean, &standard
	}
	slices.Sort(y) // about a second for MostTrials
	s.intervals(y)
	return s, ctx.Err()
}

// between is the number of trials after which the context is looked at.
const between = 4096

func trials(ctx context.Context, f Function, estimates []float64, draws []draw, o Options) ([]float64, error) {
	g := newGenerator(o.Seed)
	y := make([]float64, o.Trials)
	x := make([]float64, len(estimates))
	for t := range y {
		if t%between == 0 {
			if err := ctx.Err(); err != nil {
				return nil, fmt.Errorf("monte carlo stopped after %d of %d trials: %w", t, o.Trials, err)
			}
		}
		for _, d := range draws {
			d(g, x)
		}
		for k, e := range estimates {
			x[k] += e
		}
		v := f(x)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("monte carlo trial %d (seed %d): the result is %v for the inputs %v; expected a finite number", t+1, o.Seed, v, x)
		}
		y[t] = v
	}
	return y, nil
}

// hasDeviation tells whether every line's distribution has a standard deviation.
func (b Budget) hasDeviation() bool {
	for _, c := range b {
		if !c.Distribution.bounded() && c.DegreesOfFreedom > 0 && c.DegreesOfFreedom <= 2 && c.Standard > 0 {
			return false
		}
	}
	return true
}

// moments returns mean and standard deviation (JCGM 101 7.6), in two passes
// about the first value, so that a large mean costs no digits.
func moments(y []float64) (mean, standard float64) {
	n := float64(len(y))
	for _, v := range y {
		mean += (v - y[0]) / n
	}
	// Scaled by the largest deviation, so that squares neither vanish nor overflow.
	most := 0.0
	for _, v := range y {
		most = math.Max(most, math.Abs(v-y[0]-mean))
	}
	if most == 0 {
		return y[0] + mean, 0
	}
	sum := 0.0
	for _, v := range y {
		d := (v - y[0] - mean) / most
		sum += d * d
	}
	return y[0] + mean, most * math.Sqrt(sum/(n-1))
}

// intervals fills in both coverage intervals of the sorted trials. q of the M
// trials lie within: values r and r+q bound the interval (JCGM 101 7.7).
func (s *Sample) intervals(y []float64) {
	m := len(y)
	q := min(int(s.Coverage*float64(m)+0.5), m-1)
	low := (m - q) / 2 // the r-th value of 1..M is y[r-1]
	low = max(low-1, 0)
	s.Symmetric = [2]float64{y[low], y[low+q]}
	best := 0
	for r := range m - q {
		if y[r+q]-y[r] < y[best+q]-y[best] {
			best = r
		}
	}
	s.Shortest = [2]float64{y[best], y[best+q]}
	// The rank of a quantile scatters with √(M·p·(1−p)) (binomial); the values
	// that many ranks away show what that means.
	tail := (1 - s.Coverage) / 2
	z := max(int(math.Sqrt(float64(m)*tail*(1-tail))+0.5), 1)
	for k, at := range []int{low, low + q} {
		a, c := max(at-z, 0), min(at+z, m-1)
		s.Numerical[k] = (y[c] - y[a]) / 2
	}
}

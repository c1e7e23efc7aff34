package stability

import (
	"fmt"
	"math"
)

// Trend is the steady change of readings over time with an uncertainty that may
// be relied on: white scatter is not taken for granted.
type Trend struct {
	Slope    float64 // per unit of time
	Standard float64 // standard uncertainty of the slope
	Freedom  float64 // effective degrees of freedom of Standard, at least 1
	Mid      float64 // time at the middle of the values
	Level    float64 // of the line at Mid
	LevelU   float64 // standard uncertainty of Level
	Scatter  float64 // about the line, at least what the resolution alone makes
	LagOne   float64 // autocorrelation of what the line leaves, in order of time
	Count    int     // values
	// Effective is the number of independent values that the count is worth.
	Effective float64
}

// FitTrend fits a straight line by least squares to readings that resolve count
// (in the unit of the values; 0: finely). Times rise; NaN marks a gap.
//
// Two things make the uncertainty larger than that of [FitLinear]. Readings that
// scatter by less than their resolution may hide a slope: their scatter is taken
// as at least count/√6, that of an asynchronous count. And readings that hang
// together are worth fewer independent ones: n·(1 − r)/(1 + r) with the lag-1
// autocorrelation r of what the line leaves, where that is above zero, both for
// the scatter and for its degrees of freedom (B. D. Santer and others, J.
// Geophys. Res. 105, 7337, 2000; from memory). Fewer than three of them tell no
// slope, which is an error.
func FitTrend(times, values []float64, count float64) (*Trend, error) {
	if !(count >= 0) || math.IsInf(count, 0) {
		return nil, fmt.Errorf("%w: trend: resolution %v; expected zero or more", ErrData, count)
	}
	for k := 1; k < len(times); k++ {
		if times[k] < times[k-1] {
			return nil, fmt.Errorf("%w: trend: time %d lies before the one ahead of it", ErrData, k+1)
		}
	}
	c, err := FitLinear(times, values)
	if err != nil {
		return nil, fmt.Errorf("trend: %w", err)
	}
	slope := c.Parameters[1]
	t := &Trend{Slope: slope.Value, Scatter: c.Scatter, Count: c.Freedom + 2}
	var rest []float64
	mean := 0.0
	for k, v := range values {
		if !math.IsNaN(v) {
			rest = append(rest, v-c.At(times[k]))
			mean += times[k] / float64(t.Count)
		}
	}
	spread := 0.0 // Σ(t − mean)²
	for k, v := range values {
		if !math.IsNaN(v) {
			spread += (times[k] - mean) * (times[k] - mean)
		}
	}
	if r, ok := autocorrelation(rest); ok {
		t.LagOne = r
	}
	t.Effective = float64(t.Count)
	if t.LagOne > 0 {
		t.Effective *= (1 - t.LagOne) / (1 + t.LagOne)
	}
	if t.Effective < 3 {
		return nil, fmt.Errorf("%w: trend: %d values hang together like %.1f independent ones (lag-1 autocorrelation %.2f); expected at least 3: more values, or over a longer time", ErrData, t.Count, t.Effective, t.LagOne)
	}
	t.Freedom = t.Effective - 2
	t.Scatter = math.Max(c.Scatter*math.Sqrt(float64(c.Freedom)/t.Freedom), count/math.Sqrt(6))
	t.Standard = t.Scatter / math.Sqrt(spread)
	t.Mid, t.Level = mean, c.At(mean)
	t.LevelU = t.Scatter / math.Sqrt(t.Effective)
	for _, x := range []float64{t.Slope, t.Standard, t.Level, t.LevelU, t.Mid} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("%w: trend: the values are too large to compute with", ErrData)
		}
	}
	return t, nil
}

// At is the line at a time, with its standard uncertainty there: of what the
// line says, not of a single reading.
func (t *Trend) At(time float64) (value, standard float64) {
	d := time - t.Mid
	return t.Level + t.Slope*d, math.Hypot(t.LevelU, t.Standard*d)
}

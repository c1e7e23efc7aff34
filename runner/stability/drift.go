package stability

import (
	"errors"
	"fmt"
	"math"
)

// Drift is the linear change of frequency, by least squares: of frequency a
// straight line, of phase a parabola. The standard uncertainty takes the
// scatter about the fit as white; Residual tells how far that holds.
type Drift struct {
	Offset         float64 `json:"offset"`      // frequency at the first value
	Slope          float64 `json:"slope_per_s"` // of frequency, per second
	SlopeStandard  float64 `json:"slope_standard_uncertainty_per_s"`
	SlopePerDay    float64 `json:"slope_per_day"`
	PerDayStandard float64 `json:"slope_standard_uncertainty_per_day"`
	Freedom        int     `json:"degrees_of_freedom"`
	Scatter        float64 `json:"scatter"` // standard deviation about the fit, in the unit of the values
	// LagOne is the autocorrelation of what the fit leaves, at lag 1: well above
	// zero the scatter is not white, and the uncertainty of the slope is too small.
	LagOne float64 `json:"lag_one_autocorrelation"`

	fit  *fit
	mid  float64 // index at the middle of the record
	half float64 // half its length, in values
}

const secondsPerDay = 86400

// FitDrift fits the drift of a series; it needs one value more than the fit has
// parameters, for the scatter.
func FitDrift(s Series) (*Drift, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	v, first := s.trimmed()
	d := &Drift{mid: float64(first) + float64(len(v)-1)/2, half: float64(len(v)-1) / 2}
	n := 2
	if s.Kind == Phase {
		n = 3
	}
	row := func(i int, a []float64) (float64, bool) {
		d.basis(float64(first+i), a)
		return v[i], !math.IsNaN(v[i])
	}
	f, err := leastSquares(len(v), n, row)
	if err != nil {
		return nil, fmt.Errorf("drift: %w", err)
	}
	d.fit, d.Freedom, d.Scatter = f, f.freedom, f.scatter
	// One unit of the basis is half the record in time.
	t := d.half * s.tau0()
	if s.Kind == Phase {
		d.Slope, d.SlopeStandard = 2*f.value[2]/t/t, 2*f.standard(2)/t/t
		d.Offset = f.value[1]/t - d.Slope*t
	} else {
		d.Slope, d.SlopeStandard = f.value[1]/t, f.standard(1)/t
		d.Offset = f.value[0] - f.value[1]
	}
	d.SlopePerDay, d.PerDayStandard = d.Slope*secondsPerDay, d.SlopeStandard*secondsPerDay
	rest := d.Remove(s).Values
	if r, ok := autocorrelation(rest); ok {
		d.LagOne = r
	}
	for _, x := range []float64{d.Offset, d.Slope, d.SlopeStandard, d.SlopePerDay, d.PerDayStandard, d.Scatter} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("%w: drift: the values are too large to compute with", ErrData)
		}
	}
	return d, nil
}

// basis is 1, u, u² with u from −1 to 1 over the record.
func (d *Drift) basis(i float64, a []float64) {
	u := (i - d.mid) / d.half
	for k := range a {
		a[k] = 1
		if k > 0 {
			a[k] = a[k-1] * u
		}
	}
}

// Remove returns the series without the fit; gaps stay gaps. The values of s
// are not changed.
func (d *Drift) Remove(s Series) Series {
	rest := make([]float64, len(s.Values))
	a := make([]float64, len(d.fit.value))
	for i, v := range s.Values {
		d.basis(float64(i), a)
		rest[i] = v - d.fit.at(a)
	}
	s.Values = rest
	return s
}

// TimeError is what a clock of this fractional offset and drift per second
// gains in an elapsed time, all in seconds.
func TimeError(offset, drift, elapsed float64) float64 {
	return offset*elapsed + drift*elapsed*elapsed/2
}

var errSingular = errors.New("the values don't determine the fit")

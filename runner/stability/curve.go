package stability

import (
	"fmt"
	"math"
)

// Parameter is one parameter of a fit with its standard uncertainty, which
// takes the scatter about the fit as white.
type Parameter struct {
	Name     string  `json:"name"`
	Value    float64 `json:"value"`
	Standard float64 `json:"standard_uncertainty"`
}

// Curve is a fit of frequency against time.
type Curve struct {
	Model      string      `json:"model"`
	Parameters []Parameter `json:"parameters"` // in the units of the values and of time
	Freedom    int         `json:"degrees_of_freedom"`
	Scatter    float64     `json:"scatter"`

	at func(t float64) float64
}

// At is the value of the fit at time t, within the data or beyond it.
func (c *Curve) At(t float64) float64 { return c.at(t) }

// Models of the fits, as written.
const (
	linearModel      = "y = a + b·t"
	logarithmicModel = "y = A·ln(B·t + 1) + C"
	warmUpModel      = "y = C + A·exp(−t/T)"
)

// FitLinear fits steady ageing, y = a + b·t. Times are in any unit, NaN in
// values marks a gap.
func FitLinear(times, values []float64) (*Curve, error) {
	data, err := newPoints(times, values)
	if err != nil {
		return nil, fmt.Errorf("linear ageing: %w", err)
	}
	f, err := leastSquares(len(data.t), 2, func(i int, a []float64) (float64, bool) {
		a[0], a[1] = 1, (data.t[i]-data.mid)/data.span
		return data.y[i], true
	})
	if err != nil {
		return nil, fmt.Errorf("linear ageing: %w", err)
	}
	slope := f.value[1] / data.span
	m := data.mid / data.span
	offset := f.value[0] - f.value[1]*m
	u := f.scatter * math.Sqrt(f.inverse.At(0, 0)-2*m*f.inverse.At(0, 1)+m*m*f.inverse.At(1, 1))
	return data.done(&Curve{Model: linearModel, Freedom: f.freedom, Scatter: f.scatter,
		Parameters: []Parameter{{"a", offset, u}, {"b", slope, f.standard(1) / data.span}},
		at:         func(t float64) float64 { return offset + slope*t }}, "linear ageing")
}

// FitLogarithmic fits ageing that slows down, y = A·ln(B·t + 1) + C, with times
// at or above zero. Data without curvature don't determine A and B apart, which
// is an error.
func FitLogarithmic(times, values []float64) (*Curve, error) {
	data, err := newPoints(times, values)
	if err != nil {
		return nil, fmt.Errorf("logarithmic ageing: %w", err)
	}
	if data.first < 0 {
		return nil, fmt.Errorf("logarithmic ageing: %w: a time is below zero; expected times since the start of ageing", ErrData)
	}
	end := data.last
	f, rate, err := data.shaped(shape{
		// u is ln(B·t_end); from nearly straight to nearly all at the start.
		low: math.Log(1e-2), high: math.Log(1e2 * end / data.step),
		value: func(u, t float64) float64 { return math.Log1p(math.Exp(u) * t / end) },
		slope: func(u, t float64) float64 { x := math.Exp(u) * t / end; return x / (1 + x) },
	})
	if err != nil {
		return nil, fmt.Errorf("logarithmic ageing: %w", err)
	}
	a, c, b := f.value[1], f.value[0], math.Exp(rate)/end
	return data.done(&Curve{Model: logarithmicModel, Freedom: f.freedom, Scatter: f.scatter,
		Parameters: []Parameter{{"A", a, f.standard(1)}, {"B", b, b * f.standard(2)}, {"C", c, f.standard(0)}},
		at:         func(t float64) float64 { return a*math.Log1p(b*t) + c }}, "logarithmic ageing")
}

// FitWarmUp fits the approach to a steady value, y = C + A·exp(−t/T).
func FitWarmUp(times, values []float64) (*Curve, error) {
	data, err := newPoints(times, values)
	if err != nil {
		return nil, fmt.Errorf("warm-up: %w", err)
	}
	start := data.first
	f, rate, err := data.shaped(shape{
		// u is ln(span/T); from nearly straight to over within a few values.
		low: math.Log(1e-2), high: math.Log(3 * data.span / data.step),
		value: func(u, t float64) float64 { return math.Exp(-math.Exp(u) * (t - start) / data.span) },
		slope: func(u, t float64) float64 {
			x := math.Exp(u) * (t - start) / data.span
			return -x * math.Exp(-x)
		},
	})
	if err != nil {
		return nil, fmt.Errorf("warm-up: %w", err)
	}
	constant := data.span / math.Exp(rate)
	c, a0 := f.value[0], f.value[1]
	// A counts from t = 0; its uncertainty follows from those of a0 and ln(1/T).
	grow := math.Exp(start / constant)
	k := start / constant * a0
	u := grow * f.scatter * math.Sqrt(math.Max(0, f.inverse.At(1, 1)+2*k*f.inverse.At(1, 2)+k*k*f.inverse.At(2, 2)))
	return data.done(&Curve{Model: warmUpModel, Freedom: f.freedom, Scatter: f.scatter,
		Parameters: []Parameter{{"A", a0 * grow, u}, {"T", constant, constant * f.standard(2)}, {"C", c, f.standard(0)}},
		at:         func(t float64) float64 { return c + a0*math.Exp(-(t-start)/constant) }}, "warm-up")
}

func (p *points) done(c *Curve, what string) (*Curve, error) {
	// Values were divided by unit; parameters that scale with them come back.
	for k := range c.Parameters {
		q := &c.Parameters[k]
		if q.Name != "B" && q.Name != "T" {
			q.Value, q.Standard = q.Value*p.unit, q.Standard*p.unit
		}
		if math.IsNaN(q.Value+q.Standard) || math.IsInf(q.Value+q.Standard, 0) {
			return nil, fmt.Errorf("%s: %w: %w", what, ErrData, errSingular)
		}
	}
	c.Scatter *= p.unit
	at := c.at
	c.at = func(t float64) float64 { return at(t) * p.unit }
	return c, nil
}

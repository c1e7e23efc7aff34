package stability

import (
	"errors"
	"fmt"
	"math"

	"bandproof/procedures/quantity"
)

// ErrData marks data that no deviation can be computed from.
var ErrData = errors.New("unusable data")

// Kind says what the values of a series are.
type Kind string

// Kinds of data.
const (
	Frequency Kind = "frequency" // fractional, or in any unit: deviations then have that unit
	Phase     Kind = "phase"     // time error in seconds
)

// ParseKind reads "frequency" or "phase".
func ParseKind(text string) (Kind, error) {
	if k := Kind(text); k == Frequency || k == Phase {
		return k, nil
	}
	return "", fmt.Errorf("%q is no kind of data; expected frequency or phase", text)
}

// Series is a run of values at equal distances in time.
type Series struct {
	Kind   Kind
	Values []float64         // NaN marks a gap, one for each missing value
	Tau0   quantity.Duration // from one value to the next, dead time included
	// DeadTime is the part of each Tau0 in which nothing was measured. It is
	// noted in the result; no deviation is corrected for it.
	DeadTime quantity.Duration
}

// check tells what is wrong with a series before anything is computed.
func (s Series) check() error {
	if _, err := ParseKind(string(s.Kind)); err != nil {
		return fmt.Errorf("%w: %w", ErrData, err)
	}
	if s.Tau0.Sign() <= 0 {
		return fmt.Errorf("%w: tau0 is %s; expected a time above zero, such as \"1 s\"", ErrData, s.Tau0)
	}
	if tau0 := s.tau0(); tau0 == 0 || math.IsInf(tau0, 0) {
		return fmt.Errorf("%w: tau0 is %s, which is beyond what can be computed with", ErrData, s.Tau0)
	}
	if s.DeadTime.Sign() < 0 || s.DeadTime.Cmp(s.Tau0) >= 0 {
		return fmt.Errorf("%w: dead time is %s; expected at least zero and less than tau0, %s", ErrData, s.DeadTime, s.Tau0)
	}
	if len(s.Values) == 0 {
		return fmt.Errorf("%w: there are no values", ErrData)
	}
	present := 0
	for k, v := range s.Values {
		if math.IsInf(v, 0) {
			return fmt.Errorf("%w: value %d is infinite; a missing value is marked as a gap (NaN)", ErrData, k+1)
		}
		if !math.IsNaN(v) {
			present++
		}
	}
	switch {
	case present == 0:
		return fmt.Errorf("%w: all %d values are gaps", ErrData, len(s.Values))
	case present == 1:
		return fmt.Errorf("%w: there is one value; a deviation needs at least two of frequency or three of phase", ErrData)
	}
	return nil
}

func (s Series) tau0() float64 { return s.Tau0.Float() }

// trimmed leaves out gaps before the first and after the last value; first is
// how many were left out before.
func (s Series) trimmed() (v []float64, first int) {
	v = s.Values
	for len(v) > 0 && math.IsNaN(v[0]) {
		v, first = v[1:], first+1
	}
	for len(v) > 0 && math.IsNaN(v[len(v)-1]) {
		v = v[:len(v)-1]
	}
	return v, first
}

// trace is a series made ready: phase in units of tau0·scale, so that sums of
// squares neither overflow nor lose small values.
type trace struct {
	kind  Kind
	x     []float64
	part  []int32 // frequency data with gaps: which stretch a phase point is in; else nil
	gaps  int
	scale float64 // value of a deviation = scale · that of x
}

// span is the length of the record in units of tau0.
func (t *trace) span() int { return len(t.x) - 1 }

// joined says whether nothing is missing between phase points i and j.
func (t *trace) joined(i, j int) bool { return t.part == nil || t.part[i] == t.part[j] }

// prepare turns the values into phase. A mean frequency is taken off first: no
// deviation depends on it, and small differences of large sums lose digits.
func (s Series) prepare() (*trace, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	v, _ := s.trimmed()
	t := &trace{kind: s.Kind}
	if s.Kind == Phase {
		t.fromPhase(v, s.tau0())
	} else {
		t.fromFrequency(v)
	}
	if math.IsInf(t.scale, 0) || math.IsNaN(t.scale) {
		return nil, fmt.Errorf("%w: the values are too large to compute with", ErrData)
	}
	return t, nil
}

func (t *trace) fromPhase(v []float64, tau0 float64) {
	t.x = make([]float64, len(v))
	last := len(v) - 1
	unit := power(v)
	slope := (v[last]/unit - v[0]/unit) / float64(last)
	for k := range v {
		t.x[k] = (v[k]/unit - v[0]/unit) - slope*float64(k)
		if math.IsNaN(v[k]) {
			t.gaps++
		}
	}
	more := power(t.x)
	for k := range t.x {
		t.x[k] /= more
	}
	t.scale = unit * more / tau0
}

func (t *trace) fromFrequency(v []float64) {
	t.x = make([]float64, len(v)+1)
	unit := power(v)
	// Differences from the first value: alike values leave exactly nothing.
	first := v[0] / unit
	var sum total
	for _, y := range v {
		if math.IsNaN(y) {
			t.gaps++
			continue
		}
		sum.add(y/unit - first)
	}
	mean := sum.value() / float64(len(v)-t.gaps)
	most := 0.0
	for _, y := range v {
		most = math.Max(most, math.Abs(zeroIfGap(y/unit-first-mean)))
	}
	more := powerOf(most)
	if t.gaps > 0 {
		t.part = make([]int32, len(t.x))
	}
	var at total
	for k, y := range v {
		at.add(zeroIfGap((y/unit - first - mean) / more))
		t.x[k+1] = at.value()
		if t.part != nil {
			t.part[k+1] = t.part[k]
			if math.IsNaN(y) {
				t.part[k+1]++
			}
		}
	}
	t.scale = unit * more
}

func zeroIfGap(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// power is the power of two next to the largest value, so that dividing by it
// is exact.
func power(v []float64) float64 {
	most := 0.0
	for _, x := range v {
		most = math.Max(most, math.Abs(zeroIfGap(x)))
	}
	return powerOf(most)
}

func powerOf(most float64) float64 {
	if most == 0 {
		return 1
	}
	_, e := math.Frexp(most)
	return math.Ldexp(1, max(min(e, 1000), -1000))
}

// total is a sum that keeps what rounding takes from it (Neumaier).
type total struct{ sum, lost float64 }

func (t *total) add(x float64) {
	s := t.sum + x
	if math.Abs(t.sum) >= math.Abs(x) {
		t.lost += (t.sum - s) + x
	} else {
		t.lost += (x - s) + t.sum
	}
	t.sum = s
}

func (t *total) value() float64 { return t.sum + t.lost }

// Frequencies are the values as frequency against time in seconds from the
// first value, for a fit: of phase its differences, each at the middle of its tau0.
func (s Series) Frequencies() (times, values []float64) {
	n, shift := len(s.Values), 0.0
	if s.Kind == Phase {
		n, shift = max(n-1, 0), 0.5
	}
	times, values = make([]float64, n), make([]float64, n)
	tau0 := s.tau0()
	for k := range n {
		times[k], values[k] = (float64(k)+shift)*tau0, s.Values[k]
		if s.Kind == Phase {
			values[k] = (s.Values[k+1] - s.Values[k]) / tau0
		}
	}
	return times, values
}

// Fractional turns frequencies in Hz, in place, into their fractional
// differences from nominal, which is above zero; gaps stay gaps.
func Fractional(values []float64, nominal float64) {
	for k, v := range values {
		values[k] = (v - nominal) / nominal
	}
}

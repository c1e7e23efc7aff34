package virtual

import "math"

const (
	day          = 86400.0
	roomTempC    = 23.0 // at which offsets are stated
	longPowered  = 365 * day
	defaultTau   = 600.0
	nominalClock = 10e6
)

// timebase is an instrument's own frequency standard.
type timebase struct {
	frequency  float64 // nominal, Hz
	offset     float64 // fractional, at the last adjustment, warm, at 23 °C
	ageing     float64 // per day
	adjustedAt float64 // on the bench's age, seconds; negative is before power-on
	powered    float64 // seconds powered when the bench's age is 0
	warmUp     float64 // fractional, on top when just switched on
	tau        float64 // seconds
	perDegree  float64
}

func newTimebase(s TimebaseScenario) *timebase {
	t := &timebase{frequency: nominalClock, offset: s.Offset.Float(), powered: longPowered, tau: defaultTau}
	if s.Frequency != nil {
		t.frequency = s.Frequency.Float()
	}
	if s.Ageing != nil {
		t.ageing = s.Ageing.Float()
	}
	if s.Adjusted != nil {
		t.adjustedAt = -s.Adjusted.Float()
	}
	if s.PoweredFor != nil {
		t.powered = s.PoweredFor.Float()
	}
	if s.WarmUp != nil {
		t.warmUp = s.WarmUp.Float()
	}
	if s.WarmUpTime != nil {
		t.tau = s.WarmUpTime.Float()
	}
	if s.Temperature != nil {
		t.perDegree = s.Temperature.Float()
	}
	return t
}

// y is the fractional offset (actual − nominal)/nominal at a model age.
func (t *timebase) y(age, ambient float64) float64 {
	return t.offset +
		t.ageing*(age-t.adjustedAt)/day +
		t.warmUp*math.Exp(-(t.powered+age)/t.tau) +
		t.perDegree*(ambient-roomTempC)
}

func (t *timebase) adjust(offset, age float64) { t.offset, t.adjustedAt = offset, age }

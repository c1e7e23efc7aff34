package accuracy

import (
	"fmt"
	"math/big"

	"bandproof/procedures/quantity"

	"github.com/cockroachdb/apd/v3"
)

// pi to 60 digits.
var pi, _ = new(big.Rat).SetString("3.14159265358979323846264338327950288419716939937510582097494")

// triggerNoise is the trigger error of a sine: noise over slew is the time by
// which one trigger may be off, start and stop are two of them, and the slew at
// the zero crossing is 2π·f·√2·V. Over a gate T that comes to
//
//	noise / (2π·V·T)
//
// in Hz (common practice, no source). The gate of a reciprocal count is
// lengthened to whole periods.
func (f Figures) triggerNoise(c Conditions) (quantity.Exact, string, error) {
	volts, err := rms(c.Level, c.Impedance)
	if err != nil {
		return quantity.Exact{}, "", err
	}
	gate := c.Gate.Exact()
	if f.Kind == Reciprocal {
		gate = wholePeriods(c.Reference, gate)
	}
	hz := f.TriggerNoise.Exact().Abs().Quo(quantity.ExactOf(pi).Mul(quantity.ExactInt(2)).Mul(volts).Mul(gate))
	return hz, fmt.Sprintf("noise %s on a sine of %s", f.TriggerNoise, c.Level), nil
}

// rms returns the voltage of a level: as stated, or of a power across the
// impedance, √(10^(dBm/10)·1 mW·R), to 50 digits.
func rms(l quantity.Level, r quantity.Resistance) (quantity.Exact, error) {
	if l.IsVoltage() {
		if l.Exact().Sign() <= 0 {
			return quantity.Exact{}, fmt.Errorf("level is %s; a trigger error needs one above zero", l)
		}
		return l.Exact(), nil
	}
	if r.Sign() <= 0 {
		return quantity.Exact{}, fmt.Errorf("impedance is %s; a trigger error needs one above zero", r)
	}
	dbm, _ := l.DBmPlain()
	x, _, err := apd.NewFromString(dbm)
	if err != nil {
		return quantity.Exact{}, fmt.Errorf("level %s: %w", l, err)
	}
	ctx := apd.BaseContext.WithPrecision(60)
	var power, watts, root apd.Decimal
	_, e1 := ctx.Quo(x, x, apd.New(10, 0))
	_, e2 := ctx.Pow(&power, apd.New(10, 0), x)
	_, e3 := ctx.Mul(&watts, &power, apd.New(1, -3))
	_, e4 := ctx.Mul(&watts, &watts, r.Decimal())
	_, e5 := apd.BaseContext.WithPrecision(50).Sqrt(&root, &watts)
	for _, err := range []error{e1, e2, e3, e4, e5} {
		if err != nil {
			return quantity.Exact{}, fmt.Errorf("voltage of %s across %s: %w", l, r, err)
		}
	}
	return quantity.ExactOf(quantity.RatOf(&root)), nil
}

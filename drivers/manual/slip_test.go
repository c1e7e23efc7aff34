package manual_test

import (
	"testing"

	"bandproof/drivers"
	"bandproof/drivers/manual"
	"bandproof/drivers/virtual"
	"bandproof/procedures/quantity"

	"pgregory.net/rapid"
)

// Whatever the signal, display and slip: what lies beyond the tolerance is
// questioned, what lies within it and has all its digits is taken at once, and
// what is typed twice is taken as it was typed.
func TestSlipsBeyondToleranceAreQuestioned(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom([]string{"Hz", "kHz", "MHz", "GHz"}).Draw(t, "unit")
		signal := quantity.Of[quantity.Hertz](rapid.Int64Range(1_000_000, 30_000_000_000).Draw(t, "signal"), 0)
		tolerance := signal.Exact().Mul(quantity.ExactFloat(rapid.Float64Range(1e-6, 0.2).Draw(t, "tolerance")))
		typed := signal
		switch rapid.IntRange(0, 3).Draw(t, "slip") {
		case 1:
			typed = signal.Scale(1, int32(rapid.SampledFrom([]int{-3, -2, -1, 1, 2, 3, 6}).Draw(t, "decade")))
		case 2:
			typed = signal.Add(quantity.Of[quantity.Hertz](rapid.Int64Range(-500_000, 30_000_000_000).Draw(t, "off"), 0))
		case 3:
			typed = signal.Scale(rapid.Int64Range(2, 9).Draw(t, "multiple"), 0)
		}
		p := &script{answers: []string{"", "", typed.In(unit), typed.In(unit)}}
		c, err := manual.OpenCounter(manual.Opening{Name: "counter", Panel: manual.Panel{Unit: unit}, Person: p, Clock: virtual.NewInstantClock()})
		if err != nil {
			t.Fatal(err)
		}
		if err := c.SelectInput(t.Context(), "A"); err != nil {
			t.Fatal(err)
		}
		if _, err := c.SetGate(t.Context(), duration("1 s")); err != nil {
			t.Fatal(err)
		}
		c.(drivers.Expecter).Expect(drivers.Expectation{Frequency: signal, Tolerance: tolerance, Resolution: exact("1 Hz"), Input: "A"})
		r, err := c.Read(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		// A value scaled up has its last digit scaled up too: digits are left out.
		beyond := typed.Exact().Sub(signal.Exact()).Abs().Cmp(tolerance) > 0 || typed.Decimal().Exponent > 0
		if r.Twice != beyond || (len(r.Questioned) > 0) != beyond {
			t.Fatalf("signal %s ± %s, typed %s: questioned %v, twice %v", signal, tolerance, typed, r.Questioned, r.Twice)
		}
		if r.Frequency.Cmp(typed) != 0 || r.Text != typed.In(unit) {
			t.Fatalf("typed %s, taken %s (%q)", typed.In(unit), r.Frequency, r.Text)
		}
	})
}

package procedures_test

import (
	"fmt"
	"math"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func second(text string) quantity.Duration { return quantity.MustParse[quantity.Second](text) }

// automatic replaces the fixed gate of the fixture's first sweep.
func automatic(low, high string) []string {
	return []string{`gate = "10 s"`, fmt.Sprintf("gate = \"auto\"\ngate_range = [%q, %q]", low, high)}
}

// The fixture counts directly, one count, with a timebase of 0.5 ppm. Worked by
// hand: the limit is q + S with S = 0.5e-6·f, U is 2·q/√6 (the reference adds
// next to nothing), so that 4:1 needs q ≤ 0.4412·S.
func TestAutomaticGate(t *testing.T) {
	for _, c := range []struct{ low, high, f, want, why string }{
		{"10 ms", "10 s", "100 MHz", "50 ms", "S is 50 Hz, q at most 22.06 Hz"},
		{"10 ms", "10 s", "10 MHz", "500 ms", "S is 5 Hz, q at most 2.206 Hz"},
		{"10 ms", "10 s", "1 MHz", "5 s", "S is 0.5 Hz, q at most 0.2206 Hz"},
		{"200 ms", "10 s", "100 MHz", "200 ms", "the shortest allowed is long enough"},
		{"30 ms", "70 ms", "100 MHz", "50 ms", "the bounds are candidates, and so are the steps between"},
		{"10 ms", "46 ms", "100 MHz", "46 ms", "a bound that is no step of 1, 2 and 5"},
		{"440 ms", "460 ms", "10 MHz", "460 ms", "q is 2.174 Hz, just enough; the shorter gate's 2.273 Hz is not, though within a tenth of that"},
		{"10 ms", "1 s", "1 MHz", "1 s", "the longest is not enough, and any shorter one is worse by more than a tenth"},
		{"10 ms", "10 s", "10 kHz", "10 ms", "no gate shows the timebase; 100 Hz is a hundredth of the frequency"},
		{"10 ms", "10 s", "1 kHz", "100 ms", "10 Hz is a hundredth of the frequency"},
		{"10 ms", "10 s", "10 Hz", "10 s", "0.1 Hz is a hundredth of the frequency"},
		{"10 ms", "5 s", "10 Hz", "5 s", "0.2 Hz is more than a hundredth, so no gate will do but the longest"},
	} {
		p, b := with(t, automatic(c.low, c.high), nil)
		x := at(t, plan(t, p, b), c.f)
		require.Zero(t, x.Gate.Cmp(second(c.want)), "%s within %s to %s: got %s, want %s: %s", c.f, c.low, c.high, x.Gate, c.want, c.why)
		require.Zero(t, x.Longest.Cmp(second(c.high)))
	}
}

// Whatever timebase, prescaler and bounds: where a gate of four to one is within
// the bounds, an error 1.45 times what the specification allows of the timebase
// fails at the gate that is chosen, and the next shorter gate would not do.
func TestAutomaticGateSwallowsNoTimebaseError(t *testing.T) {
	p, b := with(t, automatic("10 ms", "10 s"), nil)
	rapid.Check(t, func(t *rapid.T) {
		ppb := rapid.Int64Range(1, 100_000).Draw(t, "ppb")
		stated := quantity.Of[quantity.One](ppb, -9)
		p := *p
		p.Unit.Timebase.Stated = &stated
		p.Inputs = append([]procedures.Input{}, p.Inputs...)
		p.Sweeps = append([]procedures.Sweep{}, p.Sweeps...)
		p.Inputs[0].Accuracy.Counts = rapid.IntRange(1, 5).Draw(t, "counts")
		low := quantity.Of[quantity.Second](rapid.Int64Range(1, 1000).Draw(t, "low, ms"), -3)
		high := low.Add(quantity.Of[quantity.Second](rapid.Int64Range(1, 20_000).Draw(t, "high - low, ms"), -3))
		p.Sweeps[0].GateRange = &[2]quantity.Duration{low, high}
		chosen, err := procedures.NewPlan(&p, b, procedures.Options{Now: now})
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range chosen.Points {
			if x.Input != "A" {
				continue
			}
			if x.Gate.Cmp(low) < 0 || x.Gate.Cmp(high) > 0 {
				t.Fatalf("%s: gate %s is outside %s to %s", x.Frequency, x.Gate, low, high)
			}
			f, n := x.Frequency.Float(), float64(p.Inputs[0].Accuracy.Counts)
			allowed := f * float64(ppb) * 1e-9
			ratio := func(gate float64) float64 { return (n/gate + allowed) / (2 * n / gate / math.Sqrt(6)) } // the reference adds next to nothing
			if ratio(high.Float()) >= 4.001 && x.Limit.Total.Float() >= 1.45*allowed {
				t.Fatalf("%s: %g Hz would pass, of %g Hz allowed of the timebase, at gate %s", x.Frequency, 1.45*allowed, allowed, x.Gate)
			}
			short := x.Gate.Float() / 2.6 // at least one step shorter
			if short >= low.Float() && ratio(short) > 4.001 && n/short < f/100 {
				t.Fatalf("%s: %s is chosen, and %g s would do", x.Frequency, x.Gate, short)
			}
		}
	})
}

func TestAutomaticGateTakesWhatTheCounterHas(t *testing.T) {
	p, b := with(t, automatic("10 ms", "10 s"), nil)
	has := func(gates ...quantity.Duration) *procedures.Plan {
		pl, err := procedures.NewPlan(p, b, procedures.Options{Now: now, Capabilities: map[string]procedures.Capability{"": {Gates: gates}}})
		require.NoError(t, err)
		return pl
	}
	require.Equal(t, "100 ms", at(t, has(second("1 ms"), second("100 ms"), second("1 s"), second("100 s")), "100 MHz").Gate.String())
	none := has(second("1 ms"), second("100 s"))
	require.Equal(t, "the counter has no gate time within 10 ms to 10 s; it has 1 ms, 100 s", none.Inputs[0].NotShown[0].Reason)
}

// A prescaled count is as large as its factor.
func TestAutomaticGateOfAPrescaledInput(t *testing.T) {
	p, b := with(t, append(automatic("10 ms", "10 s"), `kind = "direct"`, `kind = "prescaled", prescale = 8`), nil)
	// S is 50 Hz at 100 MHz, 8/gate at most 22.06 Hz: 0.36 s.
	require.Equal(t, "500 ms", at(t, plan(t, p, b), "100 MHz").Gate.String())
}

// What a gate in a file may be, and that it is written as it is read.
func TestGateTimeText(t *testing.T) {
	for text, want := range map[string]string{"auto": "auto", "1 s": "1 s", "100ms": "100 ms"} {
		var g procedures.GateTime
		require.NoError(t, g.UnmarshalText([]byte(text)), text)
		require.Equal(t, want, g.String())
		require.Equal(t, text == "auto", g.Auto)
	}
	for _, text := range []string{"", "Auto", "automatic", "1", "1 Hz"} {
		var g procedures.GateTime
		require.ErrorContains(t, g.UnmarshalText([]byte(text)), `or "auto"`, text)
	}
}

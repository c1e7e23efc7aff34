package virtual

import (
	"math"
	"math/big"
	"math/cmplx"
	"strconv"
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/testdata/checks/checktable"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// published returns one entry of the shared check values.
func published(t *testing.T, id string) (inputs, expect map[string]any) {
	t.Helper()
	type check struct {
		ID             string
		Inputs, Expect map[string]any
	}
	for _, c := range checktable.Load[check](t, "../../testdata/checks/counter.toml") {
		if c.ID == id {
			return c.Inputs, c.Expect
		}
	}
	t.Fatalf("no check value %q", id)
	return nil, nil
}

func rat(s string) *big.Rat { r, _ := new(big.Rat).SetString(s); return r }

func healthy() gateMods { return gateMods{factor: 1} }

func inputOf(kind string, edit func(*InputScenario)) *input {
	s := InputScenario{Name: "X", Kind: kind, Impedance: quantity.Dbm50(), Max: quantity.MustLevel("7 dBm"), Damage: quantity.MustLevel("20 dBm")}
	if edit != nil {
		edit(&s)
	}
	return newInput(s)
}

func float(r *big.Rat) float64 { f, _ := r.Float64(); return f }

// A direct count takes the two neighbouring values only, each as often as the
// fraction of a cycle says.
func TestDirectCountIsPlusMinusOneCount(t *testing.T) {
	for _, row := range []struct {
		name, gate string
		f          float64
		low, high  float64
		upper      float64 // share of the higher
	}{
		{"a third above, 1 s", "1", 1000000.33, 1000000, 1000001, 0.33},
		{"100 ms, steps of 10 Hz", "1/10", 1234567, 1234560, 1234570, 0.7},
		{"10 s, steps of 0.1 Hz", "10", 50.02, 50.0, 50.1, 0.2},
		{"below one cycle", "1/100", 10, 0, 100, 0.1},
	} {
		t.Run(row.name, func(t *testing.T) {
			in := inputOf(Direct, nil)
			const n = 4000
			upper := 0
			for i := range n {
				v := float(in.count(shot{f: row.f, set: row.f, gate: rat(row.gate), draw: newDraw(1, "x", "s", i), mods: healthy()}).value)
				switch {
				case math.Abs(v-row.high) < 1e-9:
					upper++
				case math.Abs(v-row.low) > 1e-9:
					t.Fatalf("f %v gate %s: got %v, want %v or %v", row.f, row.gate, v, row.low, row.high)
				}
			}
			sigma := math.Sqrt(row.upper * (1 - row.upper) / n)
			require.InDelta(t, row.upper, float64(upper)/n, 4*sigma)
		})
	}
}

func TestCountingStepsAreThePublishedOnes(t *testing.T) {
	inputs, expect := published(t, "direct-count-pm1")
	for i, c := range inputs["cases"].([]any) {
		f, gate := c.([]any)[0].(float64), c.([]any)[1].(float64)
		want := expect["resolution_hz"].([]any)[i].(float64)
		in := inputOf(Direct, nil)
		seen := map[float64]bool{}
		for k := range 200 {
			g := rat(strconv.FormatFloat(gate, 'f', -1, 64))
			seen[float(in.count(shot{f: f + 0.5/gate, set: f, gate: g, draw: newDraw(1, "x", "", k), mods: healthy()}).value)] = true
		}
		require.Len(t, seen, 2)
		require.InDelta(t, want, stepOf(seen), want*1e-7, "f %v gate %v", f, gate)
	}
}

// stepOf is the distance between the largest and the smallest.
func stepOf(seen map[float64]bool) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for v := range seen {
		low, high = math.Min(low, v), math.Max(high, v)
	}
	return high - low
}

func TestReciprocalCountResolvesAsPublished(t *testing.T) {
	inputs, expect := published(t, "reciprocal-resolution")
	clock := inputs["clock_hz"].(float64)
	for i, x := range inputs["f_hz"].([]any) {
		f, want := x.(float64), expect["resolution_hz"].([]any)[i].(float64)
		in := inputOf(Reciprocal, func(s *InputScenario) {
			d := quantity.FromRat[quantity.Second](rat(strconv.FormatFloat(1/clock, 'f', 12, 64)), 12)
			s.TimeResolution = &d
		})
		low, high := math.Inf(1), math.Inf(-1)
		var decimals int
		for k := range 500 {
			v := in.count(shot{f: f * (1 - 3.3e-8), set: f, gate: rat("1"), draw: newDraw(1, "x", "", k), mods: healthy()})
			low, high, decimals = math.Min(low, float(v.value)), math.Max(high, float(v.value)), v.decimals
		}
		require.InDelta(t, want, high-low, want*0.01, "f %v", f)
		require.InDelta(t, want, math.Pow(10, -float64(decimals)), want*1e-9, "f %v: decimals", f)
	}
}

func TestReciprocalGateIsWholePeriodsAndAtLeastOne(t *testing.T) {
	in := inputOf(Reciprocal, nil)
	for _, row := range []struct{ gate, f, want float64 }{
		{1, 0.3, 1 / 0.3}, {1, 2.5, 3 / 2.5}, {0.1, 1000, 0.1}, {0.1, 1005, 101 / 1005.0}, {0.01, 0, 0.01},
	} {
		require.InDelta(t, row.want, in.seconds(row.gate, row.f), 1e-12, "gate %v f %v", row.gate, row.f)
	}
}

func TestPrescaledCountStepsByPrescaleOverGate(t *testing.T) {
	for _, row := range []struct {
		name     string
		lengthen bool
		step     float64
		gate     float64
	}{{"gate as set", false, 320, 0.1}, {"gate lengthened", true, 10, 3.2}} {
		t.Run(row.name, func(t *testing.T) {
			in := inputOf(Prescaled, func(s *InputScenario) { s.Prescale, s.GateLengthened = 32, row.lengthen })
			require.InDelta(t, row.gate, in.seconds(0.1, 1e9), 1e-12)
			seen := map[float64]bool{}
			const f = 1e9 + 7
			for k := range 500 {
				v := float(in.count(shot{f: f, set: f, gate: rat("1/10"), draw: newDraw(1, "x", "", k), mods: healthy()}).value)
				require.InDelta(t, f, v, row.step)
				seen[v] = true
			}
			require.Len(t, seen, 2)
			require.InDelta(t, row.step, stepOf(seen), 1e-6)
		})
	}
}

func TestDownConvertedTimebaseIsOnTheFullFrequency(t *testing.T) {
	osc, lowest, off := quantity.MustParse[quantity.Hertz]("200 MHz"), quantity.MustParse[quantity.Hertz]("20 MHz"), quantity.MustParse[quantity.One]("3e-7")
	scaled := inputOf(DownConverted, func(s *InputScenario) { s.Oscillator, s.LowestIF = &osc, &lowest })
	own := inputOf(DownConverted, func(s *InputScenario) { s.Oscillator, s.LowestIF, s.OwnOscillator = &osc, &lowest, &off })
	for _, f := range []float64{1.4e9, 1.419e9, 1.42e9, 9.99e9, 18e9} {
		n := math.Floor((f - 20e6) / 200e6)
		s := shot{f: f, set: f, gate: rat("1"), y: 1e-7, draw: newDraw(1, "x", "", 0), mods: healthy()}
		require.InDelta(t, f/(1+1e-7), float(scaled.count(s).value), 1, "scaled from the timebase, %v Hz", f)
		require.InDelta(t, n*200e6+(f-n*200e6*(1+3e-7))/(1+1e-7), float(own.count(s).value), 1, "own oscillator, %v Hz", f)
	}
}

func TestFastTimebaseReadsLow(t *testing.T) {
	// 33.999989 MHz shown for 34 MHz stands for a timebase that is 0.3235 ppm
	// fast (common practice, no source).
	const f, y, want = 34e6, 0.3235e-6, 33999989.0
	in := inputOf(Direct, nil)
	seen := map[float64]int{}
	for k := range 500 {
		seen[float(in.count(shot{f: f, set: f, gate: rat("1"), y: y, draw: newDraw(1, "x", "", k), mods: healthy()}).value)]++
	}
	// 34 MHz / (1 + 0.3235e-6) = 33 999 989.001 Hz: nearly always the lower neighbour.
	require.Equal(t, 500, seen[want]+seen[want+1], "%v", seen)
	require.Greater(t, seen[want], 490, "%v", seen)

	inputs, expect := published(t, "timebase-correction")
	fast, shown := inputs["timebase_y"].(float64), inputs["reading_hz"].(float64)
	mean := 0.0
	const n = 2000
	for k := range n {
		mean += float(in.count(shot{f: expect["f_true_hz"].(float64), gate: rat("1000"), y: fast, draw: newDraw(1, "x", "", k), mods: healthy()}).value) / n
	}
	require.InDelta(t, shown, mean, 1e-3)
}

func TestFrozenPhaseGivesOneValue(t *testing.T) {
	in := inputOf(Direct, nil)
	const y = 2e-12
	for _, row := range []struct {
		name string
		f    float64
		gate string
		want int
	}{{"whole cycles in the gate", 10e6, "1", 1}, {"100 ms", 123.45e6, "1/10", 1}, {"no whole cycles", 10e6 + 0.37, "1", 2}} {
		seen := map[float64]bool{}
		for k := range 300 {
			seen[float(in.count(shot{f: row.f * (1 + y), set: row.f, coherent: true, gate: rat(row.gate), y: y,
				draw: newDraw(1, "x", "", k), frozen: newDraw(1, "x", "", -1), mods: healthy()}).value)] = true
		}
		require.Len(t, seen, row.want, row.name)
	}
}

// Whatever the parts, an asynchronous direct count lies within one count of
// the frequency divided by the timebase's scale.
func TestDirectCountProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(1, 5e9).Draw(t, "f")
		ms := rapid.Int64Range(1, 100000).Draw(t, "gate in ms")
		y := rapid.Float64Range(-1e-4, 1e-4).Draw(t, "y")
		k := rapid.Int().Draw(t, "ordinal")
		gate := big.NewRat(ms, 1000)
		v := float(inputOf(Direct, nil).count(shot{f: f, set: f, gate: gate, y: y, draw: newDraw(1, "x", "", k), mods: healthy()}).value)
		if q := 1000 / float64(ms); math.Abs(v-f/(1+y)) > q*(1+1e-4) {
			t.Fatalf("f %v gate %v y %v: got %v", f, gate, y, v)
		}
	})
}

func TestHighImpedanceInputSeesTwiceTheVoltage(t *testing.T) {
	c := quantity.MustParse[quantity.Farad]("35 pF")
	high := inputOf(Direct, func(s *InputScenario) { s.Impedance, s.Capacitance = quantity.MustParse[quantity.Ohm]("1 MΩ"), &c })
	require.InDelta(t, 6.02, high.gain(1000), 0.001)
	zc := 1 / complex(0, 2*math.Pi*120e6*35e-12)
	z := 1e6 * zc / (1e6 + zc)
	require.InDelta(t, 20*math.Log10(2*cmplx.Abs(z/(z+50))), high.gain(120e6), 1e-9)
	require.InDelta(t, 0, inputOf(Direct, nil).gain(1e9), 1e-12)
	fitted := inputOf(Direct, func(s *InputScenario) {
		s.Impedance, s.Terminated = quantity.MustParse[quantity.Ohm]("1 MΩ"), true
	})
	require.InDelta(t, 0, fitted.gain(1000), 0.001)
}

func TestCableLossIsLinearInTheRootOfFrequency(t *testing.T) {
	w := &wire{table: []lossPoint{{1e8, 0.4}, {4e8, 0.8}}, pad: 10}
	for _, row := range []struct{ f, want float64 }{{1e8, 10.4}, {4e8, 10.8}, {2.25e8, 10.6}, {9e8, 11.2}, {1e4, 10.004}} {
		require.InDelta(t, row.want, w.loss(row.f), 1e-9, "%v Hz", row.f)
	}
}

func TestTimebaseDriftsWarmsAndFeelsTheRoom(t *testing.T) {
	p := quantity.MustParse[quantity.One]
	ageing, warm, perDegree := p("0.001 ppm"), p("-2 ppm"), p("0.01 ppm")
	tau, powered, adjusted := quantity.MustParse[quantity.Second]("10 min"), quantity.MustParse[quantity.Second]("0 s"), quantity.MustParse[quantity.Second]("100 d")
	tb := newTimebase(TimebaseScenario{Offset: p("0.5 ppm"), Ageing: &ageing, WarmUp: &warm, WarmUpTime: &tau, PoweredFor: &powered, Temperature: &perDegree, Adjusted: &adjusted})
	require.InDelta(t, 0.5e-6+0.1e-6-2e-6, tb.y(0, 23), 1e-15)
	require.InDelta(t, 0.5e-6+0.1e-6-2e-6/math.E, tb.y(600, 23), 1e-11)
	require.InDelta(t, 0.5e-6+0.15e-6+0.02e-6, tb.y(50*day, 25), 1e-12)
	tb.adjust(0.1e-6, 50*day)
	require.InDelta(t, 0.1e-6+0.001e-6, tb.y(51*day, 23), 1e-12)
}

func TestNumberForms(t *testing.T) {
	for _, row := range []struct{ plain, form, want string }{
		{"33999989", "nr2", "33999989"}, {"0.10", "nr2", "0.10"},
		{"33999989", "nr3", "+3.3999989E+07"}, {"1000.50", "nr3", "+1.00050E+03"}, {"-20.00", "nr3", "-2.000E+01"},
		{"0.0100", "nr3", "+1.00E-02"}, {"0.00", "nr3", "+0.00E+00"}, {"5", "nr3", "+5.0E+00"}, {"0", "nr3", "+0.0E+00"},
	} {
		require.Equal(t, row.want, number(row.plain, row.form), "%s as %s", row.plain, row.form)
	}
}

package accuracy_test

import (
	"fmt"
	"math/big"
	"testing"

	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/testdata/checks/checktable"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func s(text string) quantity.Duration { return quantity.MustParse[quantity.Second](text) }

func ratio(text string) *quantity.Ratio {
	r := quantity.MustParse[quantity.One](text)
	return &r
}

func exact(text string) quantity.Exact {
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		panic(text)
	}
	return quantity.ExactOf(r)
}

// TestWorkedValues compares with testdata/checks/counter.toml, each value with
// its source there.
func TestWorkedValues(t *testing.T) {
	type check struct {
		ID     string
		Source string
		Inputs struct {
			Cases        [][]float64
			ClockHz      float64 `toml:"clock_hz"`
			GateS        any     `toml:"gate_s"`
			FHz          any     `toml:"f_hz"`
			SingleShotS  float64 `toml:"single_shot_s"`
			Counts       int     `toml:"counts"`
			ResolutionHz float64 `toml:"resolution_hz"`
			Timebase     float64 `toml:"timebase"`
			ResidualHz   float64 `toml:"residual_hz"`
			ReadingHz    float64 `toml:"reading_hz"`
		}
		Expect struct {
			ResolutionHz []float64 `toml:"resolution_hz"`
			LimitHz      float64   `toml:"limit_hz"`
			LimitPPM     float64   `toml:"limit_ppm"`
			ErrorHz      float64   `toml:"error_hz"`
			ErrorPPM     float64   `toml:"error_ppm"`
			Within       bool      `toml:"within"`
		}
	}
	seen := map[string]bool{}
	table := checktable.New(t, "../../testdata/checks", "counter")
	for _, c := range checktable.Load[check](t, "../../testdata/checks/counter.toml") {
		seen[c.ID] = true
		t.Run(c.ID, func(t *testing.T) {
			in, want := c.Inputs, c.Expect
			switch c.ID {
			case "direct-count-pm1":
				for k, x := range in.Cases {
					q, err := accuracy.Counting{Kind: accuracy.Direct}.Resolution(decimal(x[0]), gate(x[1]))
					require.NoError(t, err)
					require.InEpsilon(t, want.ResolutionHz[k], q.Float(), 1e-12)
					table.Row(c.ID, c.Source, fmt.Sprintf("resolution %d, Hz", k+1), want.ResolutionHz[k], q.Float())
				}
			case "reciprocal-resolution":
				for k, f := range in.FHz.([]any) {
					q, err := accuracy.Counting{Kind: accuracy.Reciprocal, TimeResolution: gate(1 / in.ClockHz)}.Resolution(decimal(number(f)), gate(number(in.GateS)))
					require.NoError(t, err)
					require.InEpsilon(t, want.ResolutionHz[k], q.Float(), 1e-12)
					table.Row(c.ID, c.Source, fmt.Sprintf("resolution %d, Hz", k+1), want.ResolutionHz[k], q.Float())
				}
			case "reciprocal-interpolated":
				for k, g := range in.GateS.([]any) {
					q, err := accuracy.Counting{Kind: accuracy.Reciprocal, TimeResolution: gate(in.SingleShotS)}.Resolution(decimal(number(in.FHz)), gate(number(g)))
					require.NoError(t, err)
					require.InEpsilon(t, want.ResolutionHz[k], q.Float(), 1e-12)
					table.Row(c.ID, c.Source, fmt.Sprintf("resolution %d, Hz", k+1), want.ResolutionHz[k], q.Float())
				}
			case "accuracy-spec-10mhz", "accuracy-spec-1khz":
				spec := accuracy.Spec{Figures: accuracy.Figures{Counting: accuracy.Counting{Kind: accuracy.Direct}, Counts: in.Counts}}
				f := number(in.FHz)
				if in.ResidualHz > 0 {
					spec.Residuals = []accuracy.Residual{{From: hertz(f), To: hertz(f), Error: hertz(in.ResidualHz)}}
				}
				relative := decimal(in.Timebase)
				l, err := spec.Limit(accuracy.Conditions{Nominal: hertz(f), Reference: decimal(f), Gate: gate(1 / in.ResolutionHz), Timebase: &relative, TimebaseHow: "check"})
				require.NoError(t, err)
				require.InEpsilon(t, want.LimitHz, l.Total.Float(), 1e-6)
				e := decimal(in.ReadingHz).Sub(decimal(f))
				require.InEpsilon(t, want.ErrorHz, e.Float(), 1e-6)
				require.InEpsilon(t, want.ErrorPPM, e.Quo(decimal(f)).Float()*1e6, 1e-6)
				require.InEpsilon(t, want.LimitPPM, l.Total.Quo(decimal(f)).Float()*1e6, 1e-6)
				v, _ := decision.Rule{Name: decision.Simple}.Judge(decision.Evidence{Errors: []quantity.Exact{e}, Limit: l.Total})
				require.Equal(t, want.Within, v.Good())
				table.Row(c.ID, c.Source, "limit, Hz", want.LimitHz, l.Total.Float())
				table.Row(c.ID, c.Source, "error, ppm", want.ErrorPPM, e.Quo(decimal(f)).Float()*1e6)
			}
		})
	}
	for _, id := range []string{"direct-count-pm1", "reciprocal-resolution", "reciprocal-interpolated", "accuracy-spec-10mhz", "accuracy-spec-1khz"} {
		require.True(t, seen[id], "check %s is gone from the file", id)
	}
	// The fact of the trade of TestFactOfTheTrade (common practice, no source).
	e := quantity.MustParse[quantity.Hertz]("33.999989 MHz").Sub(quantity.MustParse[quantity.Hertz]("34 MHz"))
	table.Row("34-mhz", "common practice, no source", "error of 33.999989 MHz for 34 MHz, ppm", -0.3235, e.Float()/34)
	table.Done()
}

// decimal takes a float from a check file as the decimal that was written there.
func decimal(f float64) quantity.Exact { return hertz(f).Exact() }

func hertz(f float64) quantity.Frequency { return quantity.Significant(f, 17-6) }

func gate(f float64) quantity.Duration {
	return quantity.FromRat[quantity.Second](quantity.Significant(f, 11).Rat(), 30)
}

func number(x any) float64 {
	if i, ok := x.(int64); ok {
		return float64(i)
	}
	return x.(float64)
}

// A fact of the trade (common practice, no source): a counter that shows
// 33.999989 MHz at 1 Hz resolution for 34 MHz is low by 11 Hz, 0.3235 ppm.
func TestFactOfTheTrade(t *testing.T) {
	reading := quantity.MustParse[quantity.Hertz]("33.999989 MHz")
	f := quantity.MustParse[quantity.Hertz]("34 MHz")
	e := reading.Sub(f)
	require.Equal(t, "-11", e.Exact().String())
	require.Equal(t, "-0.3235", e.Exact().Quo(f.Exact()).Mul(quantity.ExactInt(1_000_000)).Fixed(4))
}

func TestResolution(t *testing.T) {
	for _, c := range []struct {
		name string
		c    accuracy.Counting
		f    string
		gate string
		want string
	}{
		{"direct", accuracy.Counting{Kind: accuracy.Direct}, "1000000", "100 ms", "10"},
		{"prescaled", accuracy.Counting{Kind: accuracy.Prescaled, Prescale: 32}, "1000000000", "1 s", "32"},
		{"prescaled, gate lengthened", accuracy.Counting{Kind: accuracy.Prescaled, Prescale: 32, GateLengthened: true}, "1000000000", "1 s", "1"},
		{"reciprocal, gate shorter than a period", accuracy.Counting{Kind: accuracy.Reciprocal, TimeResolution: s("100 ns")}, "10", "1 ms", "1/100000"},
		{"reciprocal, gate lengthened to whole periods", accuracy.Counting{Kind: accuracy.Reciprocal, TimeResolution: s("100 ns")}, "3", "0.5 s", "9/20000000"},
		{"down-converted, count at the intermediate frequency", accuracy.Counting{Kind: accuracy.Converted}, "10000000000", "1 s", "1"},
		{"down-converted, local oscillator counted", accuracy.Counting{Kind: accuracy.Converted, Harmonic: 12}, "10000000000", "1 s", "12"},
		{"display coarser than the gate", accuracy.Counting{Kind: accuracy.Direct, Display: quantity.MustParse[quantity.Hertz]("100 Hz")}, "1000000", "1 s", "100"},
	} {
		q, err := c.c.Resolution(exact(c.f), s(c.gate))
		require.NoError(t, err, c.name)
		require.Zero(t, q.Cmp(exact(c.want)), "%s: got %s, want %s", c.name, q, c.want)
	}
	for name, c := range map[string]struct {
		c    accuracy.Counting
		f    string
		gate string
	}{
		"zero gate":      {accuracy.Counting{Kind: accuracy.Direct}, "1", "0 s"},
		"zero frequency": {accuracy.Counting{Kind: accuracy.Direct}, "0", "1 s"},
		"no prescale":    {accuracy.Counting{Kind: accuracy.Prescaled}, "1", "1 s"},
		"no time":        {accuracy.Counting{Kind: accuracy.Reciprocal}, "1", "1 s"},
		"unknown kind":   {accuracy.Counting{Kind: "odd"}, "1", "1 s"},
	} {
		_, err := c.c.Resolution(exact(c.f), s(c.gate))
		require.Error(t, err, name)
	}
}

func TestTimebase(t *testing.T) {
	for _, c := range []struct {
		name  string
		t     accuracy.Timebase
		since string
		want  string
	}{
		{"stated", accuracy.Timebase{Stated: ratio("0.5 ppm")}, "0 s", "0.0000005"},
		{"ageing over the interval", accuracy.Timebase{Ageing: ratio("1 ppm"), Per: "year", Interval: s("365 d")}, "0 s", "0.000001"},
		{"ageing since adjustment", accuracy.Timebase{Ageing: ratio("5e-10"), Per: "day", Interval: s("1 d")}, "365 d", "0.0000001825"},
		{"linear", accuracy.Timebase{Ageing: ratio("1 ppm"), Per: "year", Interval: s("365 d"), Temperature: ratio("0.3 ppm"), Line: ratio("0.1 ppm")}, "0 s", "0.0000014"},
		{"root of sum of squares", accuracy.Timebase{Temperature: ratio("3e-7"), Line: ratio("4e-7"), Combine: "rss"}, "0 s", "0.0000005"},
	} {
		got, how, err := c.t.Relative(s(c.since))
		require.NoError(t, err, c.name)
		require.NotEmpty(t, how)
		require.Zero(t, got.Cmp(exact(c.want)), "%s: got %s, want %s", c.name, got, c.want)
	}
	for name, x := range map[string]accuracy.Timebase{
		"nothing":       {},
		"no period":     {Ageing: ratio("1 ppm"), Interval: s("1 d")},
		"no time since": {Ageing: ratio("1 ppm"), Per: "day"},
	} {
		_, _, err := x.Relative(quantity.Duration{})
		require.Error(t, err, name)
	}
}

// The root of the sum of squares holds 50 digits: √2·1e-7.
func TestRootDigits(t *testing.T) {
	got, _, err := accuracy.Timebase{Temperature: ratio("1e-7"), Line: ratio("1e-7"), Combine: "rss"}.Relative(quantity.Duration{})
	require.NoError(t, err)
	require.Equal(t, "0.00000014142135623730950488016887242096980785696718753769", got.String()) // √2 = 1.4142135623730950488016887242096980785696718753769…
}

// A reading exactly at the limit passes and one count beyond fails, from
// 0.001 Hz to 110 GHz, at every gate.
func TestOneCountBeyondFails(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := quantity.Of[quantity.Hertz](rapid.Int64Range(1, 110_000_000_000_000).Draw(t, "millihertz"), -3).Exact()
		g := quantity.Of[quantity.Second](rapid.Int64Range(1, 100_000).Draw(t, "milliseconds"), -3)
		relative := quantity.ExactOf(big.NewRat(rapid.Int64Range(0, 10_000).Draw(t, "ppb"), 1_000_000_000))
		spec := accuracy.Spec{Figures: accuracy.Figures{Counting: accuracy.Counting{Kind: accuracy.Direct}, Counts: rapid.IntRange(1, 3).Draw(t, "counts")}}
		l, err := spec.Limit(accuracy.Conditions{Reference: f, Gate: g, Timebase: &relative})
		if err != nil || l.Vacuous(f) {
			return
		}
		rule := decision.Rule{Name: decision.Simple}
		at, _ := rule.Judge(decision.Evidence{Errors: []quantity.Exact{f.Add(l.Total).Sub(f)}, Limit: l.Total})
		beyond, _ := rule.Judge(decision.Evidence{Errors: []quantity.Exact{f.Sub(l.Total).Sub(l.Resolution).Sub(f)}, Limit: l.Total})
		if at.Word != decision.Pass || beyond.Word != decision.Fail {
			t.Fatalf("f %s, gate %s, limit %s: at the limit %s, one count beyond %s", f, g, l.Total, at, beyond)
		}
	})
}

// Trigger error of a sine: 1 mV of noise on 100 mV over 1 s is
// 1e-3/(2π·0.1·1) = 1.5915 mHz (common practice, no source); as the time error
// √2·noise/(2π·f·√2·V) relative to the gate it is the same at every frequency.
func TestTriggerNoise(t *testing.T) {
	volt := quantity.MustParse[quantity.Volt]
	spec := accuracy.Spec{Figures: accuracy.Figures{Counting: accuracy.Counting{Kind: accuracy.Reciprocal, TimeResolution: s("1 ns")}, TriggerNoise: volt("1 mV")}}
	at := func(f, gate, level string) accuracy.Limit {
		l, err := spec.Limit(accuracy.Conditions{Reference: exact(f), Gate: s(gate), Level: quantity.MustLevel(level), Impedance: quantity.Dbm50()})
		require.NoError(t, err)
		require.Len(t, l.Terms, 2)
		require.Equal(t, "trigger", l.Terms[1].Name)
		return l
	}
	require.InEpsilon(t, 1.5915494309189535e-3, at("1000", "1 s", "100 mV").Terms[1].Hz.Float(), 1e-15)
	require.InEpsilon(t, 1.5915494309189535e-3, at("10", "1 s", "100 mV").Terms[1].Hz.Float(), 1e-15)
	require.InEpsilon(t, 1.5915494309189535e-2, at("1000", "0.1 s", "100 mV").Terms[1].Hz.Float(), 1e-15)
	// A gate shorter than a period is lengthened to one.
	require.InEpsilon(t, 1.5915494309189535e-2, at("10", "1 ms", "100 mV").Terms[1].Hz.Float(), 1e-15)
	// 0 dBm across 50 Ω is √0.05 V = 0.22360679774997896… V, to 50 digits.
	require.InEpsilon(t, 1e-3/(2*3.141592653589793*0.22360679774997896), at("1000", "1 s", "0 dBm").Terms[1].Hz.Float(), 1e-15)
	// What scatters: counts and trigger, either way.
	l := at("1000", "1 s", "100 mV")
	require.Zero(t, l.Scatter().Cmp(l.Terms[0].Hz.Add(l.Terms[1].Hz)))

	_, err := spec.Limit(accuracy.Conditions{Reference: exact("1000"), Gate: s("1 s"), Level: quantity.MustLevel("0 V"), Impedance: quantity.Dbm50()})
	require.ErrorContains(t, err, "above zero")
	_, err = spec.Limit(accuracy.Conditions{Reference: exact("1000"), Gate: s("1 s")})
	require.ErrorContains(t, err, "impedance is 0 Ω")
}

func TestPieces(t *testing.T) {
	hz := quantity.MustParse[quantity.Hertz]
	spec := accuracy.Spec{Figures: accuracy.Figures{Counting: accuracy.Counting{Kind: accuracy.Direct}},
		Pieces: []accuracy.Piece{{From: hz("100 MHz"), To: hz("1 GHz"), Figures: accuracy.Figures{Counting: accuracy.Counting{Kind: accuracy.Prescaled, Prescale: 10}, Counts: 2}}}}
	for f, want := range map[string]string{"99999999": "1", "100000000": "20", "1000000000": "20", "1000000001": "1"} {
		l, err := spec.Limit(accuracy.Conditions{Nominal: hz(f + " Hz"), Reference: exact(f), Gate: s("1 s")})
		require.NoError(t, err)
		require.Equal(t, want, l.Total.String(), f)
	}
	// The edge belongs to its piece also where the reference is a little off.
	l, err := spec.Limit(accuracy.Conditions{Nominal: hz("1 GHz"), Reference: exact("1000000000.1"), Gate: s("1 s")})
	require.NoError(t, err)
	require.Equal(t, "20", l.Total.String())
}

// What a count or a display adds to a budget.
func TestQuantisation(t *testing.T) {
	hz := quantity.MustParse[quantity.Hertz]
	for _, c := range []struct {
		name  string
		c     accuracy.Counting
		half  float64
		shape uncertainty.Distribution
		bias  string
	}{
		{"count", accuracy.Counting{Kind: accuracy.Direct}, 1, uncertainty.Triangular, "0"},
		{"display as fine as the count", accuracy.Counting{Kind: accuracy.Direct, Display: hz("1 Hz")}, 1, uncertainty.Triangular, "0"},
		{"rounded display", accuracy.Counting{Kind: accuracy.Direct, Display: hz("10 Hz")}, 5, uncertainty.Rectangular, "0"},
		{"truncating display", accuracy.Counting{Kind: accuracy.Direct, Display: hz("10 Hz"), Truncates: true}, 5, uncertainty.Rectangular, "-5"},
		{"reciprocal", accuracy.Counting{Kind: accuracy.Reciprocal, TimeResolution: s("100 ns")}, 0.1, uncertainty.Triangular, "0"},
	} {
		spec := accuracy.Spec{Figures: accuracy.Figures{Counting: c.c}}
		l, err := spec.Limit(accuracy.Conditions{Nominal: hz("1 MHz"), Reference: exact("1000000"), Gate: s("1 s")})
		require.NoError(t, err, c.name)
		half, shape, bias, why := c.c.Quantisation(l)
		require.InEpsilon(t, c.half, half, 1e-12, c.name)
		require.Equal(t, c.shape, shape, c.name)
		require.Equal(t, c.bias, bias.String(), c.name)
		require.NotEmpty(t, why)
	}
}

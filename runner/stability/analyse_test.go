package stability_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/runner/stability"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var everything = stability.Request{Deviations: stability.Deviations(), Averaging: stability.Averaging{Step: 2}}

func TestBadSeries(t *testing.T) {
	gap := math.NaN()
	one := stability.Averaging{Factors: []int{1}}
	all := stability.Deviations()
	for _, c := range []struct {
		name string
		s    stability.Series
		q    stability.Request
		want string
	}{
		{"empty", stability.Series{Kind: stability.Frequency, Tau0: second}, everything, "there are no values"},
		{"one value", stability.Series{Kind: stability.Frequency, Values: []float64{1}, Tau0: second}, everything, "there is one value"},
		{"one value among gaps", stability.Series{Kind: stability.Phase, Values: []float64{gap, 1, gap}, Tau0: second}, everything, "there is one value"},
		{"all gaps", stability.Series{Kind: stability.Phase, Values: []float64{gap, gap}, Tau0: second}, everything, "all 2 values are gaps"},
		{"infinite", stability.Series{Kind: stability.Frequency, Values: []float64{1, math.Inf(-1)}, Tau0: second}, everything, "value 2 is infinite"},
		{"tau0 zero", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2}}, everything, "tau0 is 0 s; expected a time above zero"},
		{"tau0 negative", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2}, Tau0: second.Neg()}, everything, "tau0 is -1 s"},
		{"dead time", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2}, Tau0: second, DeadTime: second}, everything, "dead time is 1 s; expected"},
		{"no kind", stability.Series{Values: []float64{1, 2}, Tau0: second}, everything, "expected frequency or phase"},
		{"factor too large", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2, 4, 8, 16}, Tau0: second}, stability.Request{Deviations: all[:1], Averaging: stability.Averaging{Factors: []int{3}}}, "adev with averaging factor 3 needs at least 6 values of frequency, and there are 5; the largest possible is 2"},
		{"factor too large, phase", stability.Series{Kind: stability.Phase, Values: []float64{1, 2, 4, 8, 16, 3}, Tau0: second}, stability.Request{Deviations: []stability.Deviation{stability.MDEV}, Averaging: stability.Averaging{Factors: []int{3}}}, "mdev with averaging factor 3 needs at least 9 values of phase, and there are 6; the largest possible is 2"},
		{"factor beyond an int", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2, 4}, Tau0: second}, stability.Request{Deviations: all[:1], Averaging: stability.Averaging{Factors: []int{math.MaxInt}}}, "averaging factor"},
		{"two values of phase", stability.Series{Kind: stability.Phase, Values: []float64{1, 2}, Tau0: second}, everything, "adev with averaging factor 1 needs at least 3 values of phase, and there are 2"},
		{"factor zero", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2}, Tau0: second}, stability.Request{Deviations: all[:1], Averaging: stability.Averaging{Factors: []int{0}}}, "averaging factor 0"},
		{"no factor", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2}, Tau0: second}, stability.Request{Deviations: all[:1]}, "no averaging factors"},
		{"no deviation", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2}, Tau0: second}, stability.Request{Averaging: one}, "no deviation"},
		{"unknown deviation", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2}, Tau0: second}, stability.Request{Deviations: []stability.Deviation{"xdev"}, Averaging: one}, `"xdev" is no deviation`},
		{"confidence", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2}, Tau0: second}, stability.Request{Deviations: all[:1], Averaging: one, Confidence: 1}, "confidence 1"},
		{"confidence not a number", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2}, Tau0: second}, stability.Request{Deviations: all[:1], Averaging: one, Confidence: gap}, "confidence NaN"},
		{"gaps leave nothing", stability.Series{Kind: stability.Frequency, Values: []float64{1, gap, 2, gap, 3}, Tau0: second}, stability.Request{Deviations: all[:1], Averaging: one}, "gaps leave nothing"},
		{"too large", stability.Series{Kind: stability.Frequency, Values: []float64{1e308, -1e308, 1e308, -1e308}, Tau0: second}, stability.Request{Deviations: all[:1], Averaging: one}, "too large"},
		{"drift of too few", stability.Series{Kind: stability.Frequency, Values: []float64{1, 2}, Tau0: second}, stability.Request{Deviations: all[:1], Averaging: one, RemoveDrift: true}, "drift: unusable data: 2 values for a fit of 2 parameters; expected at least 3"},
	} {
		_, err := stability.Analyse(context.Background(), c.s, c.q)
		require.ErrorContains(t, err, c.want, c.name)
	}
}

func TestListsAsWritten(t *testing.T) {
	for text, want := range map[string]string{"0": "is no averaging factor", "": "is no averaging factor", "1,1": "comes after", "10,1": "rising", "1.5": "no averaging", "-1": "no averaging", "99999999999999999999": "no averaging"} {
		_, err := stability.ParseAveraging(text)
		require.ErrorContains(t, err, want, text)
	}
	for text, want := range map[string]string{"": "is no deviation", "adev,": "is no deviation", "adev,adev": "twice", "ADEV": "expected one of adev"} {
		_, err := stability.ParseDeviations(text)
		require.ErrorContains(t, err, want, text)
	}
	a, err := stability.ParseAveraging("1, 10,100")
	require.NoError(t, err)
	require.Equal(t, []int{1, 10, 100}, a.Factors)
}

func TestFactorsReachTheEndOfTheRecord(t *testing.T) {
	y := make([]float64, 100)
	y[3] = 1
	factors := map[stability.Deviation][]int{}
	for _, row := range analyse(t, stability.Series{Kind: stability.Frequency, Values: y, Tau0: second}, everything).Rows {
		factors[row.Deviation] = append(factors[row.Deviation], row.Averaging)
	}
	require.Equal(t, []int{1, 2, 4, 8, 16, 32}, factors[stability.OADEV])
	require.Equal(t, []int{1, 2, 4, 8, 16, 32}, factors[stability.OHDEV])
	require.Equal(t, []int{1, 2, 4, 8, 16, 32}, factors[stability.MDEV])
}

func TestNotes(t *testing.T) {
	s := stability.Series{Kind: stability.Frequency, Values: []float64{math.NaN(), 1, 2, math.NaN(), 4, 7, 5}, Tau0: second, DeadTime: quantity.MustParse[quantity.Second]("20 ms")}
	r := analyse(t, s, stability.Request{Deviations: []stability.Deviation{stability.OADEV}, Averaging: stability.Averaging{Step: 2}, RemoveDrift: true})
	require.Equal(t, 5, r.Count)
	require.Equal(t, 1, r.Gaps, "gaps at the ends are no gaps")
	notes := fmt.Sprint(r.Notes)
	for _, want := range []string{"averaging factor 2 is left out: gaps", "missing values between the first and the last: 1", "dead time 20 ms in each 1 s", "drift was removed", "noise type unknown"} {
		require.Contains(t, notes, want)
	}
	s.DeadTime = quantity.Duration{}
	require.NotContains(t, fmt.Sprint(analyse(t, s, everything).Notes), "dead time")
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := stability.Analyse(ctx, stability.Series{Kind: stability.Frequency, Values: []float64{1, 2, 3, 1}, Tau0: second}, everything)
	require.ErrorIs(t, err, context.Canceled)
}

// anySeries draws noise with a scale from very small to very large.
func anySeries(t *rapid.T) stability.Series {
	n := rapid.IntRange(12, 200).Draw(t, "count")
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	s := stability.Series{Kind: stability.Frequency, Values: make([]float64, n), Tau0: second}
	if rapid.Bool().Draw(t, "phase") {
		s.Kind = stability.Phase
	}
	for k := range s.Values {
		s.Values[k] = r.NormFloat64()
	}
	return s
}

func TestProperties(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := anySeries(rt)
		base := analyse(t, s, everything)
		byKey := map[string]float64{}
		for _, row := range base.Rows {
			byKey[fmt.Sprint(row.Deviation, row.Averaging)] = row.Value
			if !(row.Lower <= row.Value && row.Value <= row.Upper) || row.N < 1 || row.Freedom < 0.5 || row.Freedom > float64(row.N)*1.6+1 {
				rt.Fatalf("%+v", row)
			}
		}
		near := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-7*math.Abs(want) {
				rt.Fatalf("%s: got %v, want %v", what, got, want)
			}
		}
		for _, row := range base.Rows {
			key := fmt.Sprint(row.Averaging)
			switch row.Deviation {
			case stability.TDEV:
				near("tdev = tau·mdev/√3 at "+key, row.Value, row.Tau*byKey["mdev"+key]/math.Sqrt(3))
			case stability.OADEV, stability.MDEV, stability.TotDEV:
				if row.Averaging == 1 {
					near(string(row.Deviation)+" = adev at 1", row.Value, byKey["adev1"])
				}
			case stability.OHDEV:
				if row.Averaging == 1 {
					near("ohdev = hdev at 1", row.Value, byKey["hdev1"])
				}
			}
		}
		scale := math.Pow(10, float64(rapid.IntRange(-250, 250).Draw(rt, "scale")))
		offset := rapid.Float64Range(-1e3, 1e3).Draw(rt, "offset")
		slope := rapid.Float64Range(-10, 10).Draw(rt, "drift")
		scaled, shifted, drifting := s, s, s
		scaled.Values, shifted.Values, drifting.Values = make([]float64, len(s.Values)), make([]float64, len(s.Values)), make([]float64, len(s.Values))
		for k, v := range s.Values {
			scaled.Values[k] = v * scale
			i := float64(k)
			shifted.Values[k], drifting.Values[k] = v+offset, v+slope*i
			if s.Kind == stability.Phase {
				shifted.Values[k], drifting.Values[k] = v+offset+offset*i, v+slope*i*i/2
			}
		}
		for k, row := range analyse(t, scaled, everything).Rows {
			near("scaled "+string(row.Deviation), row.Value/scale, base.Rows[k].Value)
			if row.Noise != base.Rows[k].Noise {
				rt.Fatalf("noise changes with scale: %v, %v", row, base.Rows[k])
			}
		}
		for k, row := range analyse(t, shifted, everything).Rows {
			near("with a constant offset, "+string(row.Deviation), row.Value, base.Rows[k].Value)
		}
		for k, row := range analyse(t, drifting, everything).Rows {
			if row.Deviation == stability.HDEV || row.Deviation == stability.OHDEV {
				near("with linear drift, "+string(row.Deviation), row.Value, base.Rows[k].Value)
			}
		}
		// Taking the drift off gives the same table with the drift and without it.
		removed := everything
		removed.RemoveDrift = true
		flat := analyse(t, s, removed)
		for k, row := range analyse(t, drifting, removed).Rows {
			near("drift removed, "+string(row.Deviation), row.Value, flat.Rows[k].Value)
		}
	})
}

// A constant frequency has no deviation at all, whatever its value; nor has a
// straight line of phase but for rounding of its values.
func TestConstantFrequencyIsZero(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(6, 300).Draw(rt, "count")
		f := rapid.Float64Range(-1e11, 1e11).Draw(rt, "frequency")
		y, x := make([]float64, n), make([]float64, n)
		for k := range y {
			y[k], x[k] = f, f*float64(k)
		}
		for _, row := range analyse(t, stability.Series{Kind: stability.Frequency, Values: y, Tau0: second}, everything).Rows {
			if row.Value != 0 || row.Lower != 0 || row.Upper != 0 {
				rt.Fatalf("constant %v: %+v", f, row)
			}
		}
		for _, row := range analyse(t, stability.Series{Kind: stability.Phase, Values: x, Tau0: second}, everything).Rows {
			if row.Value > 1e-13*math.Abs(f)*float64(n)*row.Tau {
				rt.Fatalf("phase %v·k: %+v", f, row)
			}
		}
	})
}

// A large offset beside a small deviation costs no digits: the counter's usual
// case, 10 MHz with some µHz.
func TestSmallNoiseOnALargeFrequency(t *testing.T) {
	const step = 1.0 / (1 << 29) // about 1.9 nHz, exact beside 10 MHz
	r := rand.New(rand.NewPCG(4, 2))
	small, large := make([]float64, 5000), make([]float64, 5000)
	for k := range small {
		small[k] = step * float64(r.IntN(2000))
		large[k] = 1e7 + small[k]
	}
	a := analyse(t, stability.Series{Kind: stability.Frequency, Values: small, Tau0: second}, everything).Rows
	for k, row := range analyse(t, stability.Series{Kind: stability.Frequency, Values: large, Tau0: second}, everything).Rows {
		require.InEpsilon(t, a[k].Value, row.Value, 1e-9, "%s at %d", row.Deviation, row.Averaging)
	}
}

// BenchmarkStability is all seven deviations at decade factors; the points per
// second must not fall as the record grows.
func BenchmarkStability(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	for _, n := range []int{1e4, 1e5, 1e6} {
		y := make([]float64, n)
		for k := range y {
			y[k] = r.NormFloat64()
		}
		b.Run(fmt.Sprintf("%.0e", float64(n)), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				analyse(b, stability.Series{Kind: stability.Frequency, Values: y, Tau0: second},
					stability.Request{Deviations: stability.Deviations(), Averaging: stability.Averaging{Step: 10}})
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "points/s")
		})
	}
}

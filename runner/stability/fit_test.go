package stability_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bandproof/runner/stability"

	"github.com/stretchr/testify/require"
)

// The stated standard uncertainty is the scatter of the result over many
// simulated records, and its mean is the truth.
func TestUncertaintyOfFits(t *testing.T) {
	const records = 150
	r := rand.New(rand.NewPCG(9, 1))
	times := make([]float64, 120)
	for k := range times {
		times[k] = 10 + 5*float64(k) + 0.5*math.Sin(float64(k)) // unequal steps, not from zero
	}
	type fitter func(times, values []float64) (*stability.Curve, error)
	for _, c := range []struct {
		name  string
		truth []float64
		at    func(t float64) float64
		fit   fitter
	}{
		{"linear", []float64{5, -0.02}, func(t float64) float64 { return 5 - 0.02*t }, stability.FitLinear},
		{"logarithmic", []float64{3, 0.05, -7}, func(t float64) float64 { return 3*math.Log(0.05*t+1) - 7 }, stability.FitLogarithmic},
		{"warm-up", []float64{40, 90, -2}, func(t float64) float64 { return 40*math.Exp(-t/90) - 2 }, stability.FitWarmUp},
	} {
		sum, square, stated := make([]float64, 3), make([]float64, 3), make([]float64, 3)
		for range records {
			y := make([]float64, len(times))
			for k, at := range times {
				y[k] = c.at(at) + 0.1*r.NormFloat64()
				if k%17 == 5 {
					y[k] = math.NaN()
				}
			}
			f, err := c.fit(times, y)
			require.NoError(t, err, c.name)
			require.InEpsilon(t, 0.1, f.Scatter, 0.3, c.name)
			for k, p := range f.Parameters {
				sum[k] += p.Value / records
				square[k] += (p.Value - c.truth[k]) * (p.Value - c.truth[k]) / records
				stated[k] += p.Standard / records
			}
		}
		for k, truth := range c.truth {
			scatter := math.Sqrt(square[k])
			require.InDelta(t, truth, sum[k], 4*scatter/math.Sqrt(records)+0.1*scatter, "%s, parameter %d", c.name, k)
			require.InEpsilon(t, scatter, stated[k], 0.2, "%s, parameter %d: scatter %v, stated %v", c.name, k, scatter, stated[k])
		}
	}
}

func TestDriftOfFrequencyAndPhase(t *testing.T) {
	const records = 300
	r := rand.New(rand.NewPCG(7, 2))
	for _, kind := range []stability.Kind{stability.Frequency, stability.Phase} {
		mean, square, stated := 0.0, 0.0, 0.0
		for range records {
			s := stability.Series{Kind: kind, Values: make([]float64, 120), Tau0: second}
			for k := range s.Values {
				at := float64(k)
				s.Values[k] = 3 - 0.01*at + 0.5*r.NormFloat64()
				if kind == stability.Phase {
					s.Values[k] = 9 + 3*at - 0.01*at*at/2 + 0.5*r.NormFloat64()
				}
			}
			s.Values[30], s.Values[0] = math.NaN(), math.NaN()
			d, err := stability.FitDrift(s)
			require.NoError(t, err)
			mean += d.Slope / records
			square += (d.Slope + 0.01) * (d.Slope + 0.01) / records
			stated += d.SlopeStandard / records
			require.InDelta(t, 0, d.LagOne, 0.4)
		}
		require.InDelta(t, -0.01, mean, 4*math.Sqrt(square/records), kind)
		require.InEpsilon(t, math.Sqrt(square), stated, 0.15, kind)
	}
}

func TestFitsRefuseWhatTheyCannotTell(t *testing.T) {
	times := []float64{0, 1, 2, 3, 4, 5, 6, 7}
	line := []float64{0, 1, 2, 3, 4, 5, 6, 7}
	flat := []float64{2, 2, 2, 2, 2, 2, 2, 2}
	gap := math.NaN()
	for _, c := range []struct {
		name          string
		times, values []float64
		want          string
	}{
		{"a straight line", times, line, "no such curve"},
		{"a level", times, flat, "don't determine the fit"},
		{"lengths differ", times, line[:3], "8 times for 3 values"},
		{"nothing", nil, nil, "0 values are too few"},
		{"three values", times[:3], []float64{0, 2, 3}, "expected at least 4"},
		{"all gaps", times[:4], []float64{gap, gap, gap, gap}, "0 values are too few"},
		{"one time", []float64{1, 1, 1, 1, 1}, line[:5], "times don't differ"},
		{"time not a number", []float64{0, gap, 1, 2}, line[:4], "time 2 is not a number"},
		{"infinite", times[:4], []float64{1, 2, math.Inf(1), 3}, "value 3 is infinite"},
	} {
		for name, fit := range map[string]func(a, b []float64) (*stability.Curve, error){"logarithmic": stability.FitLogarithmic, "warm-up": stability.FitWarmUp} {
			_, err := fit(c.times, c.values)
			require.ErrorIs(t, err, stability.ErrData, "%s: %s", name, c.name)
			require.ErrorContains(t, err, c.want, "%s: %s", name, c.name)
		}
	}
	_, err := stability.FitLogarithmic([]float64{-1, 0, 1, 2, 3}, []float64{1, 5, 6, 6.5, 7})
	require.ErrorContains(t, err, "a time is below zero")
	_, err = stability.FitLinear(nil, nil)
	require.ErrorContains(t, err, "too few")
}

// Many values take the short way through averaged ones to the same result.
func TestFitOfManyValues(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	n := 200_000
	times, values := make([]float64, n), make([]float64, n)
	for k := range times {
		times[k] = float64(k)
		values[k] = 1e-9 + 5e-8*math.Exp(-times[k]/1800) + 1e-10*r.NormFloat64()
	}
	f, err := stability.FitWarmUp(times, values)
	require.NoError(t, err)
	for k, truth := range []float64{5e-8, 1800, 1e-9} {
		p := f.Parameters[k]
		require.InDelta(t, truth, p.Value, 5*p.Standard, p.Name)
		require.Less(t, p.Standard, 0.01*truth, p.Name)
	}
}

func TestFrequenciesOfPhase(t *testing.T) {
	times, values := stability.Series{Kind: stability.Phase, Values: []float64{0, 2, math.NaN(), 3, 4}, Tau0: second}.Frequencies()
	require.Equal(t, []float64{0.5, 1.5, 2.5, 3.5}, times)
	require.Equal(t, 2.0, values[0])
	require.True(t, math.IsNaN(values[1]) && math.IsNaN(values[2]))
	times, _ = stability.Series{Kind: stability.Phase, Tau0: second}.Frequencies()
	require.Empty(t, times)
}

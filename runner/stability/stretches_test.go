package stability_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"bandproof/procedures/uncertainty"
	"bandproof/runner/stability"
	"bandproof/testdata/checks/checktable"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// dated takes the values of a check, with equal weights where none are stated.
func (c check) dated() (list []stability.Dated) {
	for k, x := range c.X {
		v := stability.Dated{Time: x, Value: c.Values[k], Standard: 1}
		if c.Standard != nil {
			v.Standard, v.Stretch = c.Standard[k], c.Stretch[k]
		}
		list = append(list, v)
	}
	return list
}

func TestPublishedPredictions(t *testing.T) {
	all := checks(t, "ageing.toml", 7)
	norris, cars := all["strd-norris"], all["prediction-cars"]
	for _, c := range []check{norris, cars} {
		s, err := stability.FitStretches(c.dated())
		require.NoError(t, err)
		require.InEpsilon(t, c.Slope, s.Slope, c.Tolerance, c.ID)
		require.InEpsilon(t, c.SlopeStandard, s.Standard*s.Ratio, c.Tolerance, c.ID)
		require.InEpsilon(t, c.Scatter, s.Ratio, c.Tolerance, "%s: with equal weights of one the ratio is the scatter", c.ID)
		require.Equal(t, len(c.X)-2, s.Freedom, c.ID)
	}
	s, err := stability.FitStretches(cars.dated())
	require.NoError(t, err)
	table := checktable.New(t, "../../testdata/checks", "ageing")
	for k, at := range cars.At {
		value, half := s.Predict(0, at, 1, s.Factor(cars.Coverage, 1))
		require.InEpsilon(t, cars.Predicted[k], value, cars.Tolerance)
		require.InEpsilon(t, cars.Upper[k], value+half, cars.Tolerance)
		table.Row(cars.ID, cars.Source, fmt.Sprintf("predicted at %g", at), cars.Predicted[k], value)
		table.Row(cars.ID, cars.Source, fmt.Sprintf("upper end of the interval at %g", at), cars.Upper[k], value+half)
	}
	n, err := stability.FitStretches(norris.dated())
	require.NoError(t, err)
	table.Row(norris.ID, norris.Source, "slope", norris.Slope, n.Slope)
	table.Row(norris.ID, norris.Source, "standard deviation of the slope", norris.SlopeStandard, n.Standard*n.Ratio)
	table.Row(norris.ID, norris.Source, "scatter", norris.Scatter, n.Ratio)
	table.Done()
}

func TestStretchesAsComputedIndependently(t *testing.T) {
	c := checks(t, "ageing.toml", 7)["stretches-computed"]
	s, err := stability.FitStretches(c.dated())
	require.NoError(t, err)
	require.InEpsilon(t, c.Slope, s.Slope, c.Tolerance)
	require.InEpsilon(t, c.SlopeStandard, s.Standard, c.Tolerance)
	require.InEpsilon(t, c.Scatter, s.Ratio, c.Tolerance)
	require.Equal(t, 3, s.Freedom)
	require.Equal(t, s.Factor(0.9545, 1), s.Factor(0.9545, 0.1), "the scatter counts whole")
	require.InEpsilon(t, c.FactorT*c.Scatter, s.Factor(c.Coverage, 1), c.Tolerance)
	value, half := s.Predict(3, c.At[0], c.NextStandard, s.Factor(c.Coverage, 1))
	require.InEpsilon(t, c.Predicted[0], value, c.Tolerance)
	require.InEpsilon(t, c.TotalStandard*c.FactorT*c.Scatter, half, c.Tolerance)
}

// The next result lies within the interval as often as it says: about so often
// where the thing scatters beyond the uncertainties of its results, at least so
// often where these make all of the scatter.
func TestPredictionHoldsTheNextResult(t *testing.T) {
	const units = 4000
	r := rand.New(rand.NewPCG(20, 26))
	for _, c := range []struct {
		name    string
		own, u  float64 // scatter of the thing itself, of the results
		years   int
		adjusts bool // each year
		almost  bool // close to 95.45 %, not only above
	}{
		{"scatter of its own, never adjusted", 5, 1, 6, false, true},
		{"scatter of its own, adjusted each year", 5, 1, 6, true, true},
		{"scatter of its own, fewest values", 5, 1, 4, false, true},
		{"uncertainties make all of it", 0, 1, 6, false, false},
		{"uncertainties make all of it, adjusted each year", 0, 1, 6, true, false},
	} {
		held := 0
		for range units {
			slope, level, stretch := r.NormFloat64()*0.1, r.NormFloat64()*10, 0
			measured := func(day float64) float64 {
				return level + slope*day + c.own*r.NormFloat64() + c.u*r.NormFloat64()
			}
			var list []stability.Dated
			for year := range c.years {
				day := 365*float64(year) + 40*r.Float64()
				if year == 0 || !c.adjusts {
					list = append(list, stability.Dated{Time: day, Value: measured(day), Standard: c.u})
				}
				if year > 0 && c.adjusts {
					list = append(list, stability.Dated{Time: day, Value: measured(day), Standard: c.u, Stretch: stretch})
					stretch++
					level += r.NormFloat64() * 20
					list = append(list, stability.Dated{Time: day + 1, Value: measured(day + 1), Standard: c.u, Stretch: stretch})
				}
			}
			s, err := stability.FitStretches(list)
			require.NoError(t, err)
			next := 365 * float64(c.years)
			value, half := s.Predict(stretch, next, c.u, s.Factor(uncertainty.Coverage, 1))
			if math.Abs(measured(next)-value) <= half {
				held++
			}
		}
		share, sigma := float64(held)/units, math.Sqrt(uncertainty.Coverage*(1-uncertainty.Coverage)/units)
		t.Logf("%s: %.2f %% of %d", c.name, share*100, units)
		require.Greater(t, share, uncertainty.Coverage-3*sigma, c.name)
		if c.almost {
			require.Less(t, share, uncertainty.Coverage+4*sigma, c.name)
		}
	}
}

// A unit of its own in each value: order, a later beginning and other units of
// time and value change nothing but what they must.
func TestStretchesDoNotDependOnHowTheyAreWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(4, 12).Draw(t, "n")
		list := make([]stability.Dated, n)
		for k := range list {
			list[k] = stability.Dated{Time: 30*float64(k) + rapid.Float64Range(0, 20).Draw(t, "time"), Value: rapid.Float64Range(-1, 1).Draw(t, "value"), Standard: rapid.Float64Range(0.1, 1).Draw(t, "u"), Stretch: k * 2 / n}
		}
		s, err := stability.FitStretches(list)
		require.NoError(t, err)
		value, half := s.Predict(1, 500, 0.3, s.Factor(0.9545, 1))
		shift, unit := rapid.Float64Range(-5000, 5000).Draw(t, "shift"), math.Pow(10, float64(rapid.IntRange(-12, 6).Draw(t, "unit")))
		other := make([]stability.Dated, n)
		for k, p := range rapid.Permutation(list).Draw(t, "order") {
			other[k] = stability.Dated{Time: p.Time + shift, Value: p.Value * unit, Standard: p.Standard * unit, Stretch: p.Stretch}
		}
		o, err := stability.FitStretches(other)
		require.NoError(t, err)
		value2, half2 := o.Predict(1, 500+shift, 0.3*unit, o.Factor(0.9545, 1))
		require.InDelta(t, value, value2/unit, 1e-7*half+1e-9)
		require.InEpsilon(t, half, half2/unit, 1e-7)
		require.InEpsilon(t, s.Standard, o.Standard/unit, 1e-7)
	})
}

func TestStretchesRefuseWhatTheyCannotTell(t *testing.T) {
	one := func(time float64, stretch int) stability.Dated {
		return stability.Dated{Time: time, Value: time, Standard: 1, Stretch: stretch}
	}
	wrong := func(change func(*stability.Dated)) []stability.Dated {
		list := []stability.Dated{one(0, 0), one(1, 0), one(2, 0), one(3, 0)}
		change(&list[1])
		return list
	}
	for name, c := range map[string]struct {
		list []stability.Dated
		want string
	}{
		"nothing":          {nil, "0 values"},
		"two values":       {[]stability.Dated{one(0, 0), one(1, 0)}, "2 values"},
		"one time":         {[]stability.Dated{one(1, 0), one(1, 0), one(1, 0)}, "different times"},
		"no freedom":       {[]stability.Dated{one(0, 0), one(1, 0), one(2, 1)}, "expected at least 4"},
		"single stretches": {[]stability.Dated{one(0, 0), one(1, 1), one(2, 2), one(3, 3)}, "expected at least 6"},
		"empty stretch":    {[]stability.Dated{one(0, 0), one(1, 0), one(2, 2), one(3, 2), one(4, 2)}, "don't determine"},
		"stretch −1":       {wrong(func(d *stability.Dated) { d.Stretch = -1 }), "value 2 is of stretch -1"},
		"no uncertainty":   {wrong(func(d *stability.Dated) { d.Standard = 0 }), "value 2 has standard uncertainty 0"},
		"not a number":     {wrong(func(d *stability.Dated) { d.Value = math.NaN() }), "value 2 is not a number"},
		"infinite":         {wrong(func(d *stability.Dated) { d.Time = math.Inf(1) }), "value 2 is not a number"},
	} {
		_, err := stability.FitStretches(c.list)
		require.ErrorIs(t, err, stability.ErrData, name)
		require.ErrorContains(t, err, c.want, name)
	}
}

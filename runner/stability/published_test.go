package stability_test

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/runner/stability"
	"bandproof/testdata/checks/checktable"

	"github.com/stretchr/testify/require"
)

var second = quantity.MustParse[quantity.Second]("1 s")

type check struct {
	ID               string               `toml:"id"`
	Source           string               `toml:"source"`
	GeneratorStart   int64                `toml:"generator_start"`
	Count            int                  `toml:"count"`
	GeneratorValues  []int64              `toml:"generator_values"`
	GeneratorLast    int64                `toml:"generator_last"`
	Frequency        []float64            `toml:"frequency"`
	Averaging        []int                `toml:"averaging"`
	Deviation        map[string][]float64 `toml:"deviation"`
	Slope            float64              `toml:"slope"`
	PhaseWithoutMean []float64            `toml:"phase_without_mean"`
	Noise            []string             `toml:"noise"`
	Alpha            []float64            `toml:"alpha"`
	AdevSlope        []float64            `toml:"adev_slope"`
	MdevSlope        []float64            `toml:"mdev_slope"`
	Points           []int                `toml:"points"`
	Days             []float64            `toml:"days"`
	Values           []float64            `toml:"values"`
	SlopePerDay      float64              `toml:"slope_per_day"`
	Intercept        float64              `toml:"intercept"`
	PerDay           float64              `toml:"per_day"`
	ElapsedDays      float64              `toml:"elapsed_days"`
	DriftPerDay      float64              `toml:"drift_per_day"`
	ElapsedS         float64              `toml:"elapsed_s"`
	A                float64              `toml:"A"`
	B                float64              `toml:"B"`
	F0               float64              `toml:"f0"`
	TDays            float64              `toml:"t_days"`
	Expected         float64              `toml:"expected"`
	Tolerance        float64              `toml:"tolerance"`
	// Of a line that is fitted to x and values.
	X                 []float64 `toml:"x"`
	SlopeStandard     float64   `toml:"slope_standard"`
	InterceptStandard float64   `toml:"intercept_standard"`
	Scatter           float64   `toml:"scatter"`
	// Of stretches of it, and of what comes next.
	Standard      []float64 `toml:"standard"`
	Stretch       []int     `toml:"stretch"`
	Coverage      float64   `toml:"coverage"`
	At            []float64 `toml:"at"`
	Predicted     []float64 `toml:"predicted"`
	Upper         []float64 `toml:"upper"`
	FactorT       float64   `toml:"factor_t"`
	NextStandard  float64   `toml:"next_standard"`
	TotalStandard float64   `toml:"total_standard"`
}

func checks(t testing.TB, file string, count int) map[string]check {
	t.Helper()
	all := checktable.Load[check](t, "../../testdata/checks/"+file)
	require.Len(t, all, count)
	byID := map[string]check{}
	for _, c := range all {
		require.Positive(t, c.Tolerance, c.ID)
		byID[c.ID] = c
	}
	return byID
}

func analyse(t testing.TB, s stability.Series, q stability.Request) *stability.Result {
	t.Helper()
	r, err := stability.Analyse(context.Background(), s, q)
	require.NoError(t, err)
	return r
}

// data is the series of a check.
func (c check) data(t *testing.T) []float64 {
	if c.Frequency != nil {
		return c.Frequency
	}
	values := make([]float64, c.Count)
	n := c.GeneratorStart
	for k := range values {
		if k < len(c.GeneratorValues) {
			require.Equal(t, c.GeneratorValues[k], n)
		}
		values[k] = float64(n) / 2147483647
		if k == c.Count-1 {
			require.Equal(t, c.GeneratorLast, n)
		}
		n = 16807 * n % 2147483647
	}
	return values
}

// phase adds up frequency, from zero, its mean left out if so asked.
func phase(y []float64, tau0 float64, withoutMean bool) []float64 {
	mean := 0.0
	for _, v := range y {
		if withoutMean {
			mean += v / float64(len(y))
		}
	}
	x := make([]float64, len(y)+1)
	for k, v := range y {
		x[k+1] = x[k] + (v-mean)*tau0
	}
	return x
}

// TestPublishedDeviations compares with testdata/checks/stability.toml, as
// frequency and as phase, in seconds and in other steps of time.
func TestPublishedDeviations(t *testing.T) {
	all := checks(t, "stability.toml", 5)
	table := checktable.New(t, "../../testdata/checks", "stability")
	for _, id := range []string{"sp1065-1000-points", "nbs140-9-points"} {
		c := all[id]
		y := c.data(t)
		require.Len(t, c.Deviation, 7, id)
		for _, name := range slices.Sorted(maps.Keys(c.Deviation)) {
			want := c.Deviation[name]
			for _, tau0 := range []string{"1 s", "10 ms"} {
				step := quantity.MustParse[quantity.Second](tau0)
				for _, s := range []stability.Series{
					{Kind: stability.Frequency, Values: y, Tau0: step},
					{Kind: stability.Phase, Values: phase(y, step.Float(), false), Tau0: step},
				} {
					r := analyse(t, s, stability.Request{Deviations: []stability.Deviation{stability.Deviation(name)}, Averaging: stability.Averaging{Factors: c.Averaging}})
					require.Len(t, r.Rows, len(want))
					for k, row := range r.Rows {
						w := want[k]
						if name == "tdev" {
							w *= step.Float()
						}
						require.InEpsilon(t, w, row.Value, c.Tolerance, "%s: %s of %s, tau0 %s, averaging factor %d: got %v, want %v", id, name, s.Kind, tau0, row.Averaging, row.Value, w)
						if tau0 == "1 s" && s.Kind == stability.Frequency {
							table.Row(c.ID, c.Source, fmt.Sprintf("%s, factor %d", name, row.Averaging), w, row.Value)
						}
						require.Less(t, row.Lower, row.Value)
						require.Greater(t, row.Upper, row.Value)
					}
				}
			}
		}
		for k, w := range c.PhaseWithoutMean {
			require.InDelta(t, w, phase(y, 1, true)[k], 1e-4)
		}
		if c.Slope != 0 {
			d, err := stability.FitDrift(stability.Series{Kind: stability.Frequency, Values: y, Tau0: second})
			require.NoError(t, err)
			require.InEpsilon(t, c.Slope, d.Slope, c.Tolerance)
		}
	}
	table.Done()
}

func TestPublishedAgeing(t *testing.T) {
	all := checks(t, "ageing.toml", 7)
	line := all["ageing-exact-line"]
	f, err := stability.FitLinear(line.Days, line.Values)
	require.NoError(t, err)
	require.InEpsilon(t, line.Intercept, f.Parameters[0].Value, line.Tolerance)
	require.InEpsilon(t, line.SlopePerDay, f.Parameters[1].Value, line.Tolerance)
	d, err := stability.FitDrift(stability.Series{Kind: stability.Frequency, Values: line.Values, Tau0: quantity.MustParse[quantity.Second]("1 d")})
	require.NoError(t, err)
	require.InEpsilon(t, line.SlopePerDay, d.SlopePerDay, line.Tolerance)
	require.InEpsilon(t, line.Intercept, d.Offset, line.Tolerance)

	year := all["ageing-year-from-day"]
	days, values := []float64{0, 1, 2, 5}, []float64{0, 1 * year.PerDay, 2 * year.PerDay, 5 * year.PerDay}
	f, err = stability.FitLinear(days, values)
	require.NoError(t, err)
	require.InEpsilon(t, year.Expected, f.At(year.ElapsedDays), year.Tolerance)

	x := all["drift-time-error"]
	require.InEpsilon(t, x.Expected, stability.TimeError(0, x.DriftPerDay/86400, x.ElapsedS), x.Tolerance)

	// The fit finds the law again from exact values, and gives its value.
	log := all["ageing-log-model"]
	days, values = nil, nil
	for day := 0.0; day <= 90; day += 1.5 {
		days = append(days, day)
		values = append(values, log.A*math.Log(log.B*day+1)+log.F0)
	}
	f, err = stability.FitLogarithmic(days, values)
	require.NoError(t, err)
	require.InEpsilon(t, log.Expected, f.At(log.TDays), log.Tolerance)
	require.InEpsilon(t, log.A, f.Parameters[0].Value, 1e-6)
	require.InEpsilon(t, log.B, f.Parameters[1].Value, 1e-6)
}

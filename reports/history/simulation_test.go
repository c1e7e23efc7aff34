package history_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bandproof/reports/history"
	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
)

// simulated is the drift of a virtual unit found each year, off by start, ageing
// by perYear, with its own scatter; its timebase is adjusted to zero every third
// year where adjusts is set.
func simulated(t *testing.T, r *rand.Rand, years int, start, perYear, scatter float64, adjusts bool) (drift history.Drift, truth func(days float64) float64) {
	t.Helper()
	one := func(rec *record.Record) { rec.Run.Points = rec.Run.Points[1:] }
	level, since := start, 0.0
	truth = func(days float64) float64 { return level + perYear*(days-since)/365 }
	see := func(days float64) float64 { return truth(days) + scatter*r.NormFloat64() }
	var list []record.Record
	for k := range years {
		days := 365*float64(k) + 30*r.Float64()
		list = append(list, built(days, found, see(days), one))
		if adjusts && k%3 == 2 && k < years-1 {
			level, since = 0, days+1
			list = append(list, built(days+1, left, see(days+1), one))
		}
	}
	d := series(t, history.New("S-1", list, nil), history.Timebase).Drift
	require.NotNil(t, d)
	return *d, truth
}

// The dates are as often too early as too late, the interval's comes first, and
// the next as-found result lies within the interval about as often as it says.
func TestCrossingDatesAreNotBiased(t *testing.T) {
	const units = 800
	r := rand.New(rand.NewPCG(11, 26))
	for _, adjusts := range []bool{false, true} {
		early, held, error := 0, 0, 0.0
		for range units {
			d, truth := simulated(t, r, 7, -2e-7, 1.2e-7, 1.5e-8, adjusts)
			newest := d.Newest.Sub(first).Hours() / 24
			crosses := newest + (1e-6-truth(newest))/1.2e-7*365
			require.False(t, d.Crossing.Line.IsZero())
			require.False(t, d.Crossing.Interval.IsZero())
			require.True(t, d.Crossing.Interval.Before(d.Crossing.Line))
			predicted := d.Crossing.Line.Sub(first).Hours() / 24
			if predicted < crosses {
				early++
			}
			error += (predicted - crosses) / units
			// The next result, a twelfth of the reach ahead: a year.
			p := d.Course[1]
			at := p.At.Sub(first).Hours() / 24
			if math.Abs(truth(at)+1.5e-8*r.NormFloat64()-p.Value) <= p.Half {
				held++
			}
		}
		share := float64(early) / units
		t.Logf("adjusted %t: %.1f %% too early, mean error %.0f d of about 2000 d; next result within the interval %.1f %%", adjusts, share*100, error, float64(held)/units*100)
		require.InDelta(t, 0.5, share, 4*0.5/math.Sqrt(units))
		require.InDelta(t, 0, error, 60)
		sigma := math.Sqrt(history.Coverage * (1 - history.Coverage) / units)
		require.InDelta(t, history.Coverage, float64(held)/units, 4*sigma)
	}
}

// A unit without drift is given a date in less than 4.55 % of cases, the chance
// that a drift is shown where there is none.
func TestNoDriftNoDate(t *testing.T) {
	const units = 3000
	r := rand.New(rand.NewPCG(5, 26))
	dated, shown := 0, 0
	for range units {
		d, _ := simulated(t, r, 6, 0, 0, 2e-7, false)
		if d.Shown {
			shown++
		}
		if !d.Crossing.Line.IsZero() {
			require.True(t, d.Shown)
			dated++
		}
	}
	most := 1 - history.Coverage
	sigma := math.Sqrt(most * (1 - most) / units)
	t.Logf("of %d units without drift %.2f %% show one, %.2f %% are given a date", units, float64(shown)/units*100, float64(dated)/units*100)
	require.InDelta(t, most, float64(shown)/units, 4*sigma)
	require.LessOrEqual(t, dated, shown)
	require.NotZero(t, dated, "else the test shows nothing")
}

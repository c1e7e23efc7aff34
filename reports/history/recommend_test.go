package history_test

import (
	"math"
	"strings"
	"testing"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/reports/history"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// drifting is a unit found each year, off by start and perYear more each time,
// left at the end as it is found.
func drifting(years int, start, perYear float64, change ...func(*record.Record)) []record.Record {
	var list []record.Record
	for k := range years {
		list = append(list, built(365*float64(k), found, start+perYear*float64(k), change...))
	}
	return list
}

func guarded(r *record.Record) {
	for k := range r.Run.Points {
		p := &r.Run.Points[k]
		p.GuardBand = p.Limit.Total.Quo(quantity.ExactInt(10))
	}
}

// held is for how many days an exact line through n yearly results, newest y and
// changing by perDay, keeps y ± 2·√(q + u²) within a bound, with the textbook's
// q = u²·(1/n + (t − mean)²/Σ(t − mean)²). All in Hz, of the 100 MHz point.
func held(n int, newest, perYear, u, bound float64) float64 {
	mean, sum := 365*float64(n-1)/2, 0.0
	for k := range n {
		sum += math.Pow(365*float64(k)-mean, 2)
	}
	days := 0.0
	for ; days < 20_000; days += 0.25 {
		t := 365*float64(n-1) + days
		q := u * u * (1/float64(n) + math.Pow(t-mean, 2)/sum)
		if newest+perYear*days/365+2*math.Sqrt(q+u*u) > bound {
			break
		}
	}
	return days
}

func TestRecommendedInterval(t *testing.T) {
	outside := func(r *record.Record) { r.Run.Statement = runner.Outside }
	adjustedTo := func(y float64, records []record.Record) []record.Record {
		return append(records, built(365*float64(len(records)-1)+1, left, y))
	}
	for name, c := range map[string]struct {
		records              []record.Record
		days, chart          float64
		stairs               int
		method, says, saysTo string
	}{
		"never more than doubled": {drifting(5, 0, 1e-7), 730, held(5, 40, 10, 1, 100), 456, history.MethodControlChart, "never more than doubled at once", "a quarter longer"},
		"the limit comes first":   {drifting(5, -2e-8, 2e-7), held(5, 78, 20, 1, 100), held(5, 78, 20, 1, 100), 456, history.MethodControlChart, "the prediction interval of", "78 % of their limits, within 80 %"},
		"as long as before":       {drifting(3, 0.6e-6, 1.5e-7), 365, 0, 365, history.MethodStaircase, "as long as the last interval", "control chart: not usable"},
		"a guard band":            {drifting(5, -2e-8, 2e-7, guarded), held(5, 78, 20, 1, 90), held(5, 78, 20, 1, 90), 456, history.MethodControlChart, "limit less guard band", ""},
		"too few":                 {drifting(3, 0, 1e-7), 456, 0, 456, history.MethodStaircase, "control chart: not usable", "a quarter longer"},
		"failed, then adjusted":   {adjustedTo(0, append(drifting(4, 0.6e-6, 1e-7), built(4*365, found, 1.1e-6, outside))), 182, 0, 182, history.MethodControlChart, "shortened to half of the last interval", "outside tolerance; half of the last interval"},
		"failed, too few":         {of(built(0, found, 8e-7), built(365, found, 1.2e-6, outside), built(366, left, 0)), 182, 0, 182, history.MethodStaircase, "half of the last interval", ""},
		"left at its limit":       {drifting(5, 0.2e-6, 2e-7), 0, 0, 365, "", "reaches beyond its limit less guard band; adjust first", ""},
		"one calibration":         {drifting(1, 0, 0), 0, 0, 0, "", "there is no interval from one calibration to the next yet", ""},
	} {
		r := history.New("S-1", c.records, nil).Interval
		require.Equal(t, c.stairs, r.Staircase, "%s: %+v", name, r)
		require.InDelta(t, c.days, r.Days, 1.5, "%s: %+v", name, r)
		require.Equal(t, c.method, r.Method, "%s: %+v", name, r)
		if c.chart > 0 {
			require.InDelta(t, c.chart, r.ControlChart, 1.5, "%s: %+v", name, r)
		}
		reasons := strings.Join(r.Reasons, "\n")
		require.Contains(t, reasons, c.says, name)
		require.Contains(t, reasons, c.saysTo, name)
		require.Equal(t, c.method == history.MethodControlChart, r.Reliability > 0, name)
		require.False(t, r.From.IsZero(), name)
	}
}

// What an added run or a point that is not judged found changes no interval.
func TestOnlyWholeAsFoundRunsCount(t *testing.T) {
	records := drifting(5, 0, 1e-7)
	want := history.New("S-1", records, nil).Interval
	added := built(4*365+10, found, 2e-6, func(r *record.Record) { r.Run.Only, r.Run.Statement = []string{"B-001"}, runner.Outside })
	require.Equal(t, want.Days, history.New("S-1", append(records, added), nil).Interval.Days)
	records[4].Run.Points = append(records[4].Run.Points, point("B-003", "2 GHz", 9999, 1))
	records[4].Run.Points[2].Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.SourceNotLocked}
	require.Equal(t, want.Days, history.New("S-1", records, nil).Interval.Days)
}

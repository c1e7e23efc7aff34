package history_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/history"
	"bandproof/reports/imported"
	"bandproof/reports/record"
	"bandproof/runner"
	"bandproof/testdata/checks/checktable"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// As-found and as-left are never merged, and each adjustment begins a stretch.
func TestStretches(t *testing.T) {
	day := func(days float64) procedures.Date { return procedures.Date{Time: after(days).Truncate(24 * time.Hour)} }
	adjusted := func(days float64) func(*record.Record) {
		return func(r *record.Record) { r.Job.Adjusted = day(days) }
	}
	only := func(r *record.Record) { r.Run.Only = []string{"B-001"} }
	for name, c := range map[string]struct {
		records   []record.Record
		want      []int // stretch of each value of the timebase
		intervals int
	}{
		"never adjusted":            {of(built(0, found, 1e-7), built(365, found, 2e-7), built(730, found, 3e-7)), []int{0, 0, 0}, 2},
		"adjusted each time":        {of(built(0, found, 1e-7), built(1, left, 0), built(365, found, 2e-7), built(366, left, 0), built(730, found, 1e-7)), []int{0, 1, 1, 2, 2}, 2},
		"adjusted once":             {of(built(0, found, 1e-7), built(365, found, 2e-7), built(366, left, 0), built(730, found, 1e-7)), []int{0, 0, 1, 1}, 2},
		"repaired between":          {of(built(0, found, 1e-7), built(365, found, 2e-7), built(366, repaired, 2e-7), built(367, left, 0), built(730, found, 1e-7)), []int{0, 0, -1, 1, 1}, 2},
		"repaired without as-left":  {of(built(0, found, 1e-7), built(365, found, 2e-7), built(366, repaired, 2e-7), built(730, found, 1e-7)), []int{0, 0, -1, 1}, 1},
		"adjusted elsewhere":        {of(built(0, found, 1e-7), built(365, found, 2e-7, adjusted(200)), built(730, found, 3e-7, adjusted(200))), []int{0, 1, 1}, 1},
		"the known adjustment":      {of(built(0, found, 1e-7), built(1, left, 2e-8), built(365, found, 2e-7, adjusted(1))), []int{0, 1, 1}, 1},
		"adjusted that same day":    {of(built(0, found, 1e-7), built(365, found, 2e-7), built(730, found, 1e-7, adjusted(365))), []int{0, 0, 1}, 1},
		"adjusted before it came":   {of(built(0, found, 1e-7), built(365, found, 2e-7, adjusted(365)), built(730, found, 3e-7, adjusted(365))), []int{0, 1, 1}, 1},
		"added run":                 {of(built(0, found, 1e-7), built(1, found, 1e-7, only), built(365, found, 2e-7)), []int{0, -1, 0}, 1},
		"as-left on the same day":   {of(built(0, left, 0), built(0, found, 1e-7), built(365, found, 1e-7)), []int{0, 1, 1}, 1},
		"broken off, taken again":   {of(built(0, found, 1e-7), built(365, found, 2e-7), built(365.3, found, 2e-7), built(730, found, 3e-7)), []int{0, 0, 0, 0}, 2},
		"one record only":           {of(built(0, found, 1e-7)), []int{0}, 0},
		"point missing at as-left":  {of(built(0, found, 1e-7), built(1, left, 0, func(r *record.Record) { r.Run.Points = nil }), built(365, found, 1e-7)), []int{0, 1}, 0},
		"other unit is left alone":  {of(built(0, found, 1e-7), built(365, found, 2e-7, func(r *record.Record) { r.Job.Serial = "S-2" })), []int{0}, 0},
		"results that don't count":  {of(built(0, found, 1e-7), built(100, found, 1e-7, spoiled(decision.NoCount)), built(365, found, 2e-7)), []int{0, 0}, 1},
		"results of external clock": {of(built(0, found, 1e-7, shared)), nil, 0},
	} {
		h := history.New("S-1", c.records, nil)
		if c.want == nil {
			_, err := h.Of(history.Timebase)
			require.ErrorContains(t, err, `there is no result "timebase"`, name)
			continue
		}
		s := series(t, h, history.Timebase)
		require.Equal(t, c.want, stretchesOf(s), name)
		require.Len(t, s.Intervals, c.intervals, name)
		require.Nil(t, s.Drift, name)
		require.Contains(t, s.TooFew, "too few", name)
		require.Contains(t, s.TooFew, "a drift needs 3", name)
	}
	h := history.New("S-1", of(built(0, found, 1e-7), built(100, found, 0, spoiled(decision.NoCount)), built(200, found, 0, func(r *record.Record) { r.Run.Points[1].Reported.Standard = 0 })), nil)
	s := series(t, h, "B 1 GHz")
	require.Equal(t, []string{"", "no count", "no uncertainty is stated"}, []string{s.Values[0].Why, s.Values[1].Why, s.Values[2].Why})
}

func spoiled(why decision.Reason) func(*record.Record) {
	return func(r *record.Record) {
		for k := range r.Run.Points {
			r.Run.Points[k].Verdict = decision.Verdict{Word: decision.Fail, Reason: why}
		}
	}
}

func shared(r *record.Record) { r.Run.Topology = map[string]procedures.Topology{"G": {}} }

// Errors that hold the timebase's share are not mixed with such that don't.
func TestTopologiesAreKeptApart(t *testing.T) {
	h := history.New("S-1", of(built(0, found, 1e-7), built(365, found, 2e-7, shared)), nil)
	require.Len(t, series(t, h, "B 1 GHz, own timebase").Values, 1)
	require.Len(t, series(t, h, "B 1 GHz, external reference").Values, 1)
	_, err := h.Of("B 1 GHz")
	require.ErrorContains(t, err, "begins several names")
}

// Drift, prediction and crossing of exact lines are those of arithmetic: 5e-10 a
// day is 1.825e-7 in a year (testdata/checks/ageing.toml), 1.825 Hz of 10 MHz.
func TestDriftOfExactLines(t *testing.T) {
	type entry struct {
		ID       string  `toml:"id"`
		Source   string  `toml:"source"`
		PerDay   float64 `toml:"per_day"`
		Elapsed  float64 `toml:"elapsed_days"`
		Expected float64 `toml:"expected"`
	}
	var check entry
	for _, c := range checktable.Load[entry](t, "../../testdata/checks/ageing.toml") {
		if c.ID == "ageing-year-from-day" {
			check = c
		}
	}
	require.InEpsilon(t, 1.825e-7, check.Expected, 1e-12)
	year, y := check.Elapsed, check.Expected
	records := of(built(0, found, 9e-7), built(1, left, 0), built(1+year, found, y), built(1+2*year, found, 2*y), built(2+2*year, left, -y), built(2+3*year, found, 0), built(3+3*year, left, 0))
	h := history.New("S-1", records, nil)
	s := series(t, h, history.Timebase)
	require.Equal(t, []int{0, 1, 1, 1, 2, 2, 3}, stretchesOf(s))
	d := s.Drift
	require.NotNil(t, d, s.TooFew)
	require.InEpsilon(t, check.PerDay, d.PerDay, 1e-6)
	require.True(t, d.Shown)
	for _, i := range s.Intervals {
		require.InEpsilon(t, year, i.Days, 1e-9)
		require.InEpsilon(t, y, i.Change, 1e-6)
		require.InEpsilon(t, check.PerDay, i.PerDay, 1e-6)
		require.InEpsilon(t, math.Sqrt2*1e-8, i.Expanded, 1e-6, "root-sum-square of two U of 10 Hz in 1 GHz")
	}
	// From zero on day 3 + 3·year the line takes 2000 d to its limit of 1 ppm.
	require.InDelta(t, 3+3*year+2000, d.Crossing.Line.Sub(first).Hours()/24, 1.5)
	require.True(t, d.Crossing.Interval.Before(d.Crossing.Line))
	require.False(t, d.Crossing.Beyond || d.Crossing.MayBeBeyond)
	require.Equal(t, "point B-002 at 1 GHz", s.Values[0].From, "where it is known best")
	ghz := series(t, h, "B 1 GHz").Drift
	require.InEpsilon(t, -check.PerDay*1e9, ghz.PerDay, 1e-9, "readings go the other way")
	require.InDelta(t, 0, ghz.Crossing.Line.Sub(d.Crossing.Line).Hours()/24, 1)
	lines := s.Lines()
	require.Len(t, lines, 2)
	require.InDelta(t, 2*y, lines[0].B-lines[0].A, 1e-12)
}

// Nothing is predicted farther than twice the time that the results span.
func TestPredictionsEnd(t *testing.T) {
	slow := history.New("S-1", of(built(0, found, 0), built(365, found, 1e-8), built(730, found, 2e-8), built(1095, found, 3e-8)), nil)
	d := series(t, slow, history.Timebase).Drift
	require.Equal(t, after(1095+2*1095), d.Until)
	require.Equal(t, d.Until, d.Course[len(d.Course)-1].At)
	require.True(t, d.Crossing.Line.IsZero() && d.Crossing.Interval.IsZero())
	require.True(t, d.HoldsAll)
}

// What was not measured since an adjustment has a drift, and no prediction.
func TestAdjustedSince(t *testing.T) {
	records := drifting(5, 0, 1e-7)
	partly := built(4*365+1, left, 0, func(r *record.Record) { r.Run.Points = r.Run.Points[1:] })
	h := history.New("S-1", append(records, partly), nil)
	old := series(t, h, "B 100 MHz").Drift
	require.InEpsilon(t, -10.0/365, old.PerDay, 1e-6)
	require.Equal(t, partly.Run.Started, old.Since)
	require.Nil(t, old.Crossing)
	require.Empty(t, old.Ahead(5))
	require.NotNil(t, series(t, h, "B 1 GHz").Drift.Crossing)
	require.Contains(t, h.Interval.Reasons[len(h.Interval.Reasons)-2], "1 result without")
	all := built(4*365+1, left, 0)
	all.Run.Points = nil
	h = history.New("S-1", append(records, all), nil)
	require.Equal(t, history.MethodStaircase, h.Interval.Method)
	elsewhere := built(4*365+20, found, 0, func(r *record.Record) {
		r.Run.Points, r.Job.Adjusted = nil, procedures.Date{Time: after(4*365 + 10)}
	})
	h = history.New("S-1", append(records, elsewhere), nil)
	require.Equal(t, elsewhere.Run.Started, series(t, h, "B 1 GHz").Drift.Since)
}

// A one-sided limit is crossed on its own side only.
func TestOneSidedLimits(t *testing.T) {
	row := func(days, dbm float64) record.Record {
		return built(days, found, 0, func(r *record.Record) {
			x := runner.Row{What: "least level", Unit: "dBm", Side: runner.AtMost, Uncertainty: &uncertainty.Result{Standard: 0.1, CoverageFactor: 2, Expanded: 0.2}}
			value, limit := quantity.ExactDecimal(dbm), quantity.ExactInt(-20)
			x.Found, x.Limit, x.Verdict = &value, &limit, decision.Verdict{Word: decision.Pass}
			r.Run.Outcomes = []runner.Outcome{{Task: procedures.Task{ID: "B-s-1", Kind: "sensitivity", Measure: "sensitivity B", Input: "B"}, Rows: []runner.Row{x}}}
		})
	}
	worse := history.New("S-1", of(row(0, -30), row(365, -28), row(730, -26), row(1095, -24)), nil)
	d := series(t, worse, "sensitivity B").Drift
	require.InDelta(t, 1095+730, d.Crossing.Line.Sub(first).Hours()/24, 1)
	better := history.New("S-1", of(row(0, -24), row(365, -26), row(730, -28), row(1095, -30)), nil)
	require.True(t, series(t, better, "sensitivity B").Drift.Crossing.Line.IsZero())
}

func TestCorrections(t *testing.T) {
	corrects := func(id, of string, days float64, withdrawn bool) record.Record {
		return built(365, found, 3e-7, func(r *record.Record) {
			r.ID, r.Created = id, after(days)
			r.Corrects = &record.Correction{ID: of, Reason: "wrong pad (invented)", Withdrawn: withdrawn}
		})
	}
	wrong := built(365, found, 9e-7)
	base := of(built(0, found, 1e-7), wrong, built(730, found, 5e-7))
	foundOf := func(h history.History) (list []float64) {
		for _, v := range series(t, h, history.Timebase).Values {
			list = append(list, math.Round(v.Found.Float()*1e8)/10)
		}
		return list
	}
	h := history.New("S-1", append(base, corrects("c", wrong.ID, 400, false)), nil)
	require.Equal(t, []float64{1, 3, 5}, foundOf(h))
	require.Equal(t, []string{"record " + wrong.ID + " is corrected by c, which takes its place: wrong pad (invented)"}, h.LeftOut)
	h = history.New("S-1", append(base, corrects("c", wrong.ID, 400, true)), nil)
	require.Equal(t, []float64{1, 5}, foundOf(h))
	require.Equal(t, []string{"record " + wrong.ID + " is withdrawn by c: wrong pad (invented)"}, h.LeftOut)
	h = history.New("S-1", append(base, corrects("c", wrong.ID, 400, false), corrects("d", "c", 401, true)), nil)
	require.Equal(t, []float64{1, 5}, foundOf(h), "a chain of corrections")
	require.Len(t, h.LeftOut, 2)
	h = history.New("S-1", append(base, corrects("d", wrong.ID, 401, false), corrects("c", wrong.ID, 400, false)), nil)
	require.Equal(t, []float64{1, 3, 5}, foundOf(h))
	require.Contains(t, h.LeftOut, "record c corrects "+wrong.ID+", and so does the newer d, which takes its place")
	elsewhere := corrects("c", wrong.ID, 400, false)
	elsewhere.Job.Serial = "S-2" // it was another unit after all
	h = history.New("S-1", append(base, elsewhere), nil)
	require.Equal(t, []float64{1, 5}, foundOf(h))
}

// Imported results stand in the same series, marked.
func TestImportedResultsCount(t *testing.T) {
	text := "date,serial,run,input,frequency,unit_reference,error,uncertainty,k,limit,laboratory\n" +
		"2018-03-01,S-1,as-left,,,own,0 ppm,0.01 ppm,2,1 ppm,Elsewhere\n" +
		"2019-03-01,S-1,as-found,,,own,0.1 ppm,0.015 ppm,3,1 ppm,Elsewhere\n" +
		"2019-03-01,S-1,as-found,B,1 GHz,own,-100 Hz,,,,Elsewhere\n"
	f, err := imported.Parse("old.csv", []byte(text), imported.Options{Today: first.AddDate(9, 0, 0)})
	require.NoError(t, err)
	var list []history.Imported
	for _, r := range f.Results {
		list = append(list, history.Imported{Result: r, File: f.Name})
	}
	h := history.New("S-1", of(built(0, found, 2e-7), built(365, found, 3e-7)), list)
	require.Len(t, h.Runs, 4, "lines of one day and run are one run")
	require.Equal(t, []string{"old.csv, Elsewhere", "old.csv, Elsewhere", "", ""}, []string{h.Runs[0].Imported, h.Runs[1].Imported, h.Runs[2].Imported, h.Runs[3].Imported})
	s := series(t, h, history.Timebase)
	require.Equal(t, []int{0, 0, 0, 0}, stretchesOf(s))
	require.InEpsilon(t, 1e-8, s.Values[1].Expanded, 1e-6, "0.015 ppm with k = 3 is 0.01 ppm with k = 2")
	require.InEpsilon(t, 1e-7/365, s.Drift.PerDay, 0.01)
	p := series(t, h, "B 1 GHz")
	require.Len(t, p.Values, 3, "a line without a level belongs to the only level of this point")
	require.Equal(t, "old.csv, Elsewhere, line 4", p.Values[0].Imported)
	require.Equal(t, []int{-1, 0, 0}, stretchesOf(p))
}

// The order of records does not matter, and a later beginning moves every date
// and changes nothing else.
func TestOrderAndDates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 7).Draw(t, "n")
		shift := float64(rapid.IntRange(-2000, 2000).Draw(t, "shift"))
		var one, two []record.Record
		for k := range n {
			days := 365*float64(k) + float64(rapid.IntRange(0, 60).Draw(t, "day"))
			kind := rapid.SampledFrom([]runner.Kind{found, found, left, repaired}).Draw(t, "kind")
			y := rapid.Float64Range(-1e-6, 1e-6).Draw(t, "y")
			r := built(days, kind, y)
			one = append(one, r)
			moved := built(days+shift, kind, y)
			moved.ID = r.ID
			two = append(two, moved)
		}
		a := history.New("S-1", one, nil)
		places, other := make([]int, n), make([]record.Record, n)
		for k := range places {
			places[k] = k
		}
		for k, from := range rapid.Permutation(places).Draw(t, "order") {
			other[k] = one[from]
		}
		b := history.New("S-1", other, nil)
		text := func(h history.History) string {
			out, err := json.Marshal(h)
			require.NoError(t, err)
			return string(out)
		}
		require.Equal(t, text(a), text(b))
		m := history.New("S-1", two, nil)
		require.Equal(t, a.Interval.Days, m.Interval.Days)
		for k, s := range a.Series {
			o := m.Series[k]
			require.Equal(t, s.Drift == nil, o.Drift == nil)
			require.Equal(t, stretchesOf(s), stretchesOf(o))
			if s.Drift == nil {
				continue
			}
			require.InDelta(t, s.Drift.PerDay, o.Drift.PerDay, 1e-9*math.Abs(s.Drift.PerDay)+1e-18)
			require.Equal(t, s.Drift.Crossing == nil, o.Drift.Crossing == nil)
			if s.Drift.Crossing == nil {
				continue
			}
			for _, x := range [][2]time.Time{{s.Drift.Until, o.Drift.Until}, {s.Drift.Newest, o.Drift.Newest}, {s.Drift.Crossing.Line, o.Drift.Crossing.Line}, {s.Drift.Crossing.Interval, o.Drift.Crossing.Interval}} {
				require.Equal(t, x[0].IsZero(), x[1].IsZero())
				if !x[0].IsZero() {
					require.InDelta(t, shift, x[1].Sub(x[0]).Hours()/24, 0.6)
				}
			}
		}
	})
}

// Records by other procedures, or of another model under one serial number, count,
// and it is said.
func TestWhatDiffers(t *testing.T) {
	h := history.New("S-1", of(built(0, found, 0), built(365, found, 0, func(r *record.Record) { r.Model, r.Procedure.Revision = "Other", "2" })), nil)
	require.Equal(t, []string{"the records are not all of one model: Invented Instruments Other; Invented Instruments Test Counter", "the records are not all of one procedure: P 1; P 2"}, h.Notes)
}

func TestNothingToTell(t *testing.T) {
	h := history.New("S-1", nil, nil)
	require.Equal(t, history.Schema, h.Schema)
	require.Zero(t, h.Interval.Days)
	s, err := h.Of("")
	require.NoError(t, err)
	require.Nil(t, s)
	_, err = h.Of("x")
	require.ErrorContains(t, err, "the unit has no result")
	out, err := json.Marshal(h)
	require.NoError(t, err)
	require.NotContains(t, string(out), "null")
}

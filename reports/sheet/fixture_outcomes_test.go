package sheet

import (
	"math"
	"slices"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/record"
	"bandproof/runner"
	"bandproof/runner/stability"

	"github.com/stretchr/testify/require"
)

// withOutcomes is a run of the fixture with other measurements: sensitivity with a
// search at input B, an edge and a yes or no there, a self-test of the unit, and
// its timebase over a day. Where worse is true the unit is not yet repaired.
func withOutcomes(t testing.TB, kind runner.Kind) record.Record {
	t.Helper()
	r := fixture(t, kind)
	r.ID += "-measured"
	if r.Follows != "" {
		r.Follows += "-measured"
	}
	m := &measuring{t: t, r: r, rule: r.Run.Rule, at: r.Run.Finished, worse: kind == runner.AsFound}
	m.sensitivity()
	m.edge()
	m.looks()
	m.timebase()
	m.r.Run.PlannedTasks = len(m.r.Run.Outcomes)
	m.r.Run.Finished = m.at
	m.r.Created = m.at.Add(time.Minute)
	return m.r
}

type measuring struct {
	t     testing.TB
	r     record.Record
	rule  decision.Rule
	at    time.Time
	worse bool
}

func (m *measuring) add(o runner.Outcome, took time.Duration) {
	o.Started = m.at
	m.at = m.at.Add(took)
	o.Finished = m.at
	m.r.Run.Outcomes = append(m.r.Run.Outcomes, o)
	for _, x := range o.Rows {
		if x.Verdict.Bad() {
			m.r.Run.Statement = runner.Outside
		}
	}
}

func (m *measuring) row(what, unit string, found, limit string, side runner.Side, b uncertainty.Budget) runner.Row {
	x := runner.Row{What: what, Unit: unit, Side: side, Budget: b}
	value := exact(m.t, found)
	x.Found = &value
	if limit != "" {
		most := exact(m.t, limit)
		x.Limit = &most
	}
	if len(b) > 0 {
		u, err := b.Combine()
		require.NoError(m.t, err)
		x.Uncertainty = &u
	}
	x.Judge(m.rule)
	if x.Limit == nil {
		x.Side = ""
	}
	return x
}

// sensitivity has a task a frequency, each with its search.
func (m *measuring) sensitivity() {
	levels := uncertainty.Budget{uncertainty.Line("level of the source", 0.3, uncertainty.Normal, 0, "certificate"),
		uncertainty.Line("loss of the path", 0.1, uncertainty.Rectangular, 0, "bench file"), uncertainty.Line("mismatch", 0.21, uncertainty.UShaped, 0, "VSWR of both ends"),
		uncertainty.Line("spread of three searches", 0.12, uncertainty.Normal, 2, "readings")}
	at := []string{"40 MHz", "100 MHz", "250 MHz", "500 MHz", "1 GHz", "1.2 GHz", "1.4 GHz", "1.6 GHz"}
	found := []string{"-31.24", "-33.02", "-32.5", "-30.9", "-27.8", "-26.43", "-24.1", "-21.02"}
	if m.worse {
		found = []string{"-31.2", "-32.9", "-32.4", "-30.1", "-25.31", "-19.84", "-16.7", ""}
	}
	var template runner.PointResult
	for _, p := range m.r.Run.Points {
		if p.Point.Input == "B" && p.Verdict.Word == decision.Pass {
			template = p
		}
	}
	for k, text := range at {
		f := quantity.MustParse[quantity.Hertz](text)
		limit := "-25"
		if k > 4 {
			limit = "-20"
		}
		o := runner.Outcome{Task: procedures.Task{ID: "B-sensitivity-00" + string(rune('1'+k)), Kind: "sensitivity", Measure: "sensitivity B", Input: "B"}, Standards: []string{"MW", "house standard"}}
		if found[k] == "" {
			x := runner.NotJudgedRow("least level that counts", decision.InterlockRefused, "counts at no level up to 7 dBm, the most that the input is specified for")
			x.At = &f
			o.Rows = []runner.Row{x}
			m.add(o, 40*time.Second)
			continue
		}
		x := m.row("least level that counts", "dBm", found[k], limit, runner.AtMost, levels)
		y := m.row("hysteresis", "dB", "0.25", "", "", nil)
		x.At, y.At = &f, &f
		o.Rows = []runner.Row{x, y}
		o.Notes = []string{"three searches downwards from 10 dB above the specification, each with 3 of 3 readings"}
		if k == 6 && m.worse {
			o.Notes = append(o.Notes, "an island of miscounts at \u221218 dBm to \u221217 dBm")
		}
		for n := range 4 {
			o.Shots = append(o.Shots, m.shot(template, f, -10-n*4, o.Task.ID, n, float64(n*4+10) <= -x.Found.Float()))
		}
		m.add(o, 3*time.Minute)
	}
}

// shot is a setting of a search: the template's point at another place.
func (m *measuring) shot(template runner.PointResult, f quantity.Frequency, dBm int, id string, n int, counts bool) runner.PointResult {
	p := template
	p.Notes, p.Monitor, p.Level, p.Symptom = nil, nil, nil, ""
	p.Point.ID, p.Point.Frequency = id+"."+string(rune('1'+n)), f
	p.Point.Levels.Input = quantity.DBmLevel(float64(dBm), 0)
	p.Setting.Asked, p.Setting.Reported, p.Setting.Level = f, f, p.Point.Levels.Input
	p.Readings = nil
	p.Reference = f.Exact()
	p.Mean, p.Error, p.Spread = p.Reference, quantity.Exact{}, quantity.Exact{}
	for range 3 {
		x := runner.Reading{Use: runner.Counted, Reading: drivers.Reading{Text: f.Plain(), Frequency: f, At: m.at}}
		if !counts {
			x.Reading = drivers.Reading{Text: "9.91E+37", Mark: drivers.NoSignal, At: m.at}
		}
		p.Readings = append(p.Readings, x)
	}
	if !counts {
		p.Judgement = procedures.Judgement{Limit: p.Limit, Reference: p.Reference, Verdict: decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}}
	}
	return p
}

func (m *measuring) edge() {
	f := "1612340000"
	if m.worse {
		f = "1274000000"
	}
	x := m.row("highest frequency that counts", "Hz", f, "1600000000", runner.AtLeast, uncertainty.Budget{uncertainty.Line("step of the search", 1e6, uncertainty.Rectangular, 0, "procedure")})
	x.Says = "counts up to " + map[bool]string{true: "1.274 GHz", false: "1.612 GHz"}[m.worse] + "; bisected in 9 steps to 0.1 % of the range"
	m.add(runner.Outcome{Task: procedures.Task{ID: "B-edge-001", Kind: "edge", Measure: "upper edge of B", Input: "B"}, Rows: []runner.Row{x}}, time.Minute)
}

func (m *measuring) looks() {
	verdict := decision.Verdict{Word: decision.Pass}
	bad := verdict
	if m.worse {
		bad = decision.Verdict{Word: decision.Fail}
	}
	words := map[bool]string{true: "segment d of digit 3 stays dark", false: "all light"}[m.worse]
	m.add(runner.Outcome{Task: procedures.Task{ID: "unit-self-test-001", Kind: "self-test", Measure: "self-test"}, Rows: []runner.Row{{What: "self-test", Verdict: verdict, Says: "reports 0: no fault"}}}, 10*time.Second)
	m.add(runner.Outcome{Task: procedures.Task{ID: "unit-observation-001", Kind: "observation", Measure: "front panel"}, Rows: []runner.Row{
		{What: "Do all segments of the display light up?", Verdict: bad, Says: words}, {What: "Do all keys work?", Verdict: verdict},
		{What: "Is the connector of input A firm and clean?", Verdict: decision.Verdict{Word: decision.NotJudged, Reason: decision.NoOperator}, Says: "nobody answered within 10 min"}}}, time.Minute)
}

func (m *measuring) timebase() {
	offset, x := 2.1e-8, stability.Parameter{}
	if m.worse {
		offset = 2.1e-7
	}
	var hours, values, u, fit []float64
	for k := range 100 {
		h := float64(k) * 0.24
		hours = append(hours, h)
		noise := 2e-10 * math.Sin(float64(k*k%97))
		values = append(values, offset+4e-9*math.Exp(-h/1.5)+noise)
		fit = append(fit, offset+4e-9*math.Exp(-h/1.5))
		u = append(u, 4e-10)
	}
	x.Value = offset
	var taus, adev, bars, mdev []float64
	for k := range 8 {
		tau := math.Pow(2, float64(k))
		taus, adev, mdev = append(taus, tau), append(adev, 3e-10/math.Sqrt(tau)+1e-11), append(mdev, 2e-10/tau+8e-12)
		bars = append(bars, adev[k]*0.05*float64(k+1))
	}
	b := uncertainty.Budget{uncertainty.Line("reference", 1e-11, uncertainty.Normal, 0, "certificate"), uncertainty.Line("scatter of the fit", 3e-11, uncertainty.Normal, 298, "readings")}
	limit, low := "0.0000001", exact(m.t, "-0.000000012")
	o := runner.Outcome{Task: procedures.Task{ID: "unit-timebase-001", Kind: "timebase", Measure: "timebase over a day"}, Standards: []string{"house standard"},
		Rows: []runner.Row{m.row("offset after warm-up", "1", quantity.ExactDecimal(offset).String(), limit, runner.Within, b),
			m.row("ageing", "1/d", "0.00000000012", "0.0000000014", runner.Within, b),
			{What: "recommended setting", Unit: "1", Found: &low, Says: "set low by this much, the error stays inside the specification longest"}},
		Curves: []runner.Curve{
			{Title: "Offset since power-on", X: runner.Axis{Name: "Time since power-on", Unit: "h"}, Y: runner.Axis{Name: "Relative offset", Unit: "1"},
				Lines: []runner.CurveLine{{Name: "found", X: hours, Y: values, U: u}, {Name: "fit, time constant 1.5 h", Fit: true, X: slices.Clone(hours), Y: fit}},
				Marks: []runner.CurveLevel{{Name: "limit", Y: 1e-7}, {Name: "limit", Y: -1e-7}}},
			{Title: "Short-term stability", X: runner.Axis{Name: "Averaging time", Unit: "s", Log: true}, Y: runner.Axis{Name: "Deviation", Unit: "1", Log: true},
				Lines: []runner.CurveLine{{Name: "ADEV", X: taus, Y: adev, U: bars}, {Name: "MDEV", X: taus, Y: mdev}}}}}
	m.add(o, 24*time.Hour)
}

// oneInput is the as-found run as it would stand had nothing but the other
// measurements of input B been planned; it ended before the last of them.
func oneInput(t testing.TB) record.Record {
	r := withOutcomes(t, runner.AsFound)
	r.ID = "EX-2026-118-one-input"
	r.Run.Points, r.Run.Planned = nil, 0
	r.Run.Outcomes = slices.DeleteFunc(slices.Clone(r.Run.Outcomes), func(o runner.Outcome) bool { return o.Task.Input != "B" })
	r.Run.Inputs = slices.DeleteFunc(slices.Clone(r.Run.Inputs), func(i runner.InputResult) bool { return i.Input.Name != "B" })
	r.Run.PlannedTasks = len(r.Run.Outcomes) + 1
	r.Run.Complete, r.Run.Ended = false, "interrupted by the operator"
	return r
}

// coursed is the as-left run as it would stand had it waited for the unit to warm
// up, been cut off once, and found nobody to connect input C.
func coursed(t testing.TB) record.Record {
	r := fixture(t, runner.AsLeft)
	r.ID, r.Follows = "EX-2026-118-coursed", ""
	began := r.Run.Started.Add(-90 * time.Minute)
	w := &runner.WarmUp{Started: began, Finished: r.Run.Started, Steady: true, OnFor: quantity.MustParse[quantity.Second]("100 min"), Least: quantity.MustParse[quantity.Second]("30 min"),
		Until: procedures.WarmUpUntil{Input: "B", Frequency: quantity.MustParse[quantity.Hertz]("1 GHz"), Gate: quantity.MustParse[quantity.Second]("1 s"), Every: quantity.MustParse[quantity.Second]("60 s"),
			Drift: quantity.MustParse[quantity.One]("0.1 ppm"), Per: quantity.MustParse[quantity.Second]("1 h"), Over: quantity.MustParse[quantity.Second]("20 min"), Longest: quantity.MustParse[quantity.Second]("2 h"), Otherwise: "warn"},
		Ended: "steady after 90 min on: drift 0.034 ppm, U = 0.021 ppm, in 1 h; at most 0.1 ppm is allowed, U included"}
	w.Point.Frequency, w.Point.Input = w.Until.Frequency, "B"
	for k := range 91 {
		minutes := float64(k)
		x := runner.WarmReading{On: 600 + 60*minutes, Offset: -3e-6*math.Exp(-minutes/18) + 2e-8*math.Sin(float64(k*k%17))}
		x.Text, x.At, x.Use = "1000000000", began.Add(time.Duration(k)*time.Minute), runner.Counted
		if k >= 20 {
			x.Drift = &runner.WarmDrift{Slope: 3e-6 / 18 / 60 * math.Exp(-(minutes-10)/18), U: 6e-12, Count: 21}
		}
		w.Readings = append(w.Readings, x)
	}
	r.Run.WarmUp = w
	cut := r.Run.Started.Add(3 * time.Minute)
	r.Run.Sessions = []runner.Session{{Began: began, Ended: cut, How: "cut off"}, {Began: cut.Add(7 * time.Hour), How: "finished"}}
	r.Run.Finished = r.Run.Finished.Add(7 * time.Hour)
	r.Created = r.Run.Finished
	r.Run.Points = slices.Clone(r.Run.Points)
	for k := range r.Run.Points {
		if p := &r.Run.Points[k]; p.Point.Input == "C" {
			p.Judgement = procedures.Judgement{Limit: p.Limit, Verdict: decision.Verdict{Word: decision.NotJudged, Reason: decision.NoOperator}}
			p.Readings, p.Symptom, p.Notes = nil, "", nil
		}
		r.Run.Only = append(r.Run.Only, r.Run.Points[k].Point.ID)
	}
	r.Run.Statement = runner.Incomplete
	return r
}

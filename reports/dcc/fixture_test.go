package dcc

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden files in testdata anew; read the change")

var began = time.Date(2026, 11, 25, 23, 30, 0, 0, time.UTC) // past midnight at the bench

func exactly(t testing.TB, text string) quantity.Exact {
	t.Helper()
	var x quantity.Exact
	require.NoError(t, x.UnmarshalText([]byte(text)), text)
	return x
}

func pointer[T any](x T) *T { return &x }

// u is an uncertainty as a record holds it; dof 0: infinitely many.
func u(expanded, k, dof float64) uncertainty.Result {
	return uncertainty.Result{Standard: expanded / k, CoverageFactor: k, Expanded: expanded, DegreesOfFreedom: dof}
}

// taken is one point of the fixture, in Hz.
type taken struct {
	id, nominal, reference, level string
	mean, limit                   string // mean "" for no count
	u                             uncertainty.Result
	verdict                       decision.Verdict
	probability                   float64
	symptom                       string
	notes                         []string
}

// foundPoints hold each kind of verdict: a mean without a finite decimal form, a
// reading at 18 GHz whose digits no float keeps together, no count, not judged
// with and without a value.
var foundPoints = []taken{
	{"A-001", "1000", "1000.00000002", "25 mV", "3000/3", "2.0002", u(0.8164965809277261, 2, 0), decision.Verdict{Word: decision.Pass}, 1, "", nil},
	{"A-002", "10 MHz", "10000000.0002", "25 mV", "10000009/3", "5", u(0.31, 4.526550760081986, 2), decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}, 0, "reads a third of the frequency", nil},
	{"A-003", "100 MHz", "100000000.002", "25 mV", "100000048.5", "51.000000001", u(4.2, 2, 0), decision.Verdict{Word: decision.ConditionalPass}, 0.885, "", []string{"readings scattered <more> than the counts allow & were read anew once"}},
	{"C-001", "18 GHz", "18000000000.36", "-25 dBm", "18000000001.000000000001", "5905.000000000361", u(66.7, 2.05, 47.25), decision.Verdict{Word: decision.Pass}, 1, "", nil},
	{"C-002", "12.4 GHz", "12400000000.248", "-25.50 dBm", "", "4100", uncertainty.Result{}, decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}, 0, "no reading at this level; counts 6 dB above", nil},
	{"C-003", "14 GHz", "14000000000.28", "-25 dBm", "", "4620", uncertainty.Result{}, decision.Verdict{Word: decision.NotJudged, Reason: decision.SourceNotLocked}, 0, "", nil},
	{"C-004", "16 GHz", "16000000000.32", "-25 dBm", "16000000002", "3", u(9, 2, 0), decision.Verdict{Word: decision.NotJudged, Reason: decision.UncertaintyTooLarge}, 0.4, "", nil},
}

func (x taken) point(t testing.TB, k int) runner.PointResult {
	p := procedures.Point{ID: x.id, Input: x.id[:1], Frequency: quantity.MustParse[quantity.Hertz](hz(x.nominal)), Path: "way to " + x.id[:1], Source: "MW", LevelU: 1.25}
	l := quantity.MustLevel(x.level)
	p.Levels = procedures.Levels{Source: quantity.MustLevel("-20 dBm"), Connector: l, Input: l}
	p.Limit = accuracy.Limit{Resolution: exactly(t, "1"), Total: exactly(t, x.limit)}
	r := runner.PointResult{Point: p, Setting: runner.Setting{Locked: "yes"}, Gate: quantity.MustParse[quantity.Second]("100 ms"), Symptom: x.symptom, Notes: x.notes,
		Standards: []string{"MW", "house standard"}, Started: began.Add(time.Duration(k) * time.Minute), Finished: began.Add(time.Duration(k)*time.Minute + 20*time.Second)}
	r.Reference, r.Limit, r.Verdict = exactly(t, x.reference), p.Limit, x.verdict
	if x.mean == "" {
		return r
	}
	r.Counted, r.Mean = 3, exactly(t, x.mean)
	r.Error = r.Mean.Sub(r.Reference)
	r.Reported, r.Decision = x.u, x.u
	r.Conformity = &x.probability
	r.GuardBand = exactly(t, "0.25")
	return r
}

// hz lets a nominal be written as a bare number.
func hz(s string) string {
	if s[len(s)-1] != 'z' {
		return s + " Hz"
	}
	return s
}

func input(name, from, to string) runner.InputResult {
	return runner.InputResult{Input: procedures.Input{Name: name, Range: [2]quantity.Frequency{quantity.MustParse[quantity.Hertz](from), quantity.MustParse[quantity.Hertz](to)}},
		Coverage: procedures.Coverage{Share: 0.9277}, ReferenceCheck: "own, as the unit stated before and after", HeldCheck: "lets go"}
}

// foundRecord is an invented as-found run with a verdict of each kind.
func foundRecord(t testing.TB) record.Record {
	temperature, humidity, mains := quantity.MustParse[quantity.Celsius]("23.1 °C"), quantity.MustParse[quantity.One]("44 %"), quantity.MustParse[quantity.Volt]("231 V")
	day := func(s string) procedures.Date {
		var d procedures.Date
		require.NoError(t, d.UnmarshalText([]byte(s)))
		return d
	}
	r := record.Record{Schema: record.Schema, ID: "EX-2026-118-as-found", Created: began.Add(time.Hour), Zone: record.Zone{Name: "CET", Offset: "+01:00"}, Invented: true,
		Program: record.Program{Name: "bandproof", Version: "0.0.0-test", Go: "go1.26"}, Maker: "Invented Instruments", Model: "TC3",
		Laboratory: procedures.Laboratory{Name: "Example Bench (invented)", Address: []string{"1 Example Yard", "Exampletown"}, Contact: "+00 123 456, bench@example.org", Country: "ZZ"},
		Job: procedures.Job{Number: "2026-118 (invented)", Customer: "Example Customer (invented)", Contact: "2 Example Street, Exampletown, owner@example.org", Asset: "EX-0815", Serial: "TC3-0042",
			Technician: "A. Example (invented)", Received: day("2026-11-20"), Condition: "complete, clean", Temperature: &temperature, Humidity: &humidity, Mains: &mains},
		Procedure: record.Source{File: "procedure.toml", Name: "TC3, all bands", Revision: "2", SHA256: "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"},
		Standards: []record.Standard{
			{Name: "house standard", Role: "reference", Stated: "offset 2e-11, U = 2e-12 (k = 2)", Standard: procedures.Standard{Maker: "Invented Instruments", Model: "Demo Rubidium", Serial: "RB-0007", Certificate: "EX-0113", Calibrated: day("2026-03-03"), Due: day("2027-03-03")}},
			{Name: "MW", Role: "source", Stated: "locked to house standard", Overdue: true, Standard: procedures.Standard{Model: "Demo Source", Certificate: "EX-0115", Calibrated: day("2025-03-06"), Due: day("2026-03-06")}}}}
	r.Run = runner.Result{ID: r.ID, Kind: runner.AsFound, Started: began, Finished: began.Add(50 * time.Minute), Complete: true, Planned: len(foundPoints), Statement: runner.Outside,
		Unit:     drivers.Identity{Maker: "INVENTED", Model: "TC3", Serial: "TC3-0042", Firmware: "2.1", Stated: true},
		Topology: map[string]procedures.Topology{"MW": {Says: "Unit on its own timebase, source locked to house standard: timebase tested."}},
		Rule:     decision.Rule{Name: decision.Guarded}, Timebase: "0.3 ppm", OnFor: quantity.MustParse[quantity.Second]("2 h"),
		Inputs:  []runner.InputResult{input("A", "10 Hz", "120 MHz"), input("C", "1.4 GHz", "22 GHz")},
		Ambient: []runner.Ambient{{At: began, When: "start", Thermometer: "room", Temperature: &temperature}}, Warnings: []string{"source MW is past its due date"}}
	r.Run.Inputs[1].NotShown = []procedures.NotShown{{Input: "C", From: quantity.MustParse[quantity.Hertz]("18 GHz"), To: quantity.MustParse[quantity.Hertz]("22 GHz"), Reason: "beyond the range of source MW (up to 18 GHz)"}}
	for k, x := range foundPoints {
		r.Run.Points = append(r.Run.Points, x.point(t, k))
	}
	second := foundPoints[3].point(t, 9)
	second.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}
	r.Run.Points[3].Other = &second
	r.Run.Outcomes, r.Run.PlannedTasks = outcomes(t), 3
	return r
}

// outcomes are findings in every unit that needs computing, and a curve.
func outcomes(t testing.TB) []runner.Outcome {
	f := quantity.MustParse[quantity.Hertz]("1 GHz")
	row := func(what, unit, found, limit string, side runner.Side, u *uncertainty.Result) runner.Row {
		x := runner.Row{What: what, Unit: unit, Found: pointer(exactly(t, found)), Limit: pointer(exactly(t, limit)), Side: side, Uncertainty: u}
		x.Judge(decision.Rule{Name: decision.Simple})
		return x
	}
	sensitivity := row("least level that counts", "dBm", "-27.25", "-20", runner.AtMost, pointer(u(0.5, 2, 0)))
	sensitivity.At = &f
	return []runner.Outcome{
		{Task: procedures.Task{ID: "C-sensitivity-001", Kind: "sensitivity", Measure: "sensitivity", Input: "C"}, Standards: []string{"MW"}, Finished: began.Add(30 * time.Minute), Notes: []string{"level set by the source"},
			Rows: []runner.Row{sensitivity}, Curves: []runner.Curve{{Title: "Sensitivity", X: runner.Axis{Name: "frequency", Unit: "Hz"}, Y: runner.Axis{Name: "least level", Unit: "dBm"}, Lines: []runner.CurveLine{{Name: "found", X: []float64{1e9}, Y: []float64{-27.25}, U: []float64{0.5}}}}}},
		{Task: procedures.Task{ID: "unit-timebase-001", Kind: "timebase", Measure: "timebase over a day"}, Standards: []string{"house standard"}, Finished: began.Add(40 * time.Minute),
			Rows: []runner.Row{row("offset after warm-up", "ppm", "0.021", "0.1", runner.Within, pointer(u(0.00005, 2, 0))), row("ageing", "1/d", "0.00000000012", "0.0000000014", runner.Within, pointer(u(2e-11, 2.1, 30))),
				{What: "recommended setting", Unit: "1", Found: pointer(exactly(t, "-0.000000012")), Says: "set low by this much"}},
			Curves: []runner.Curve{{Title: "Short-term stability", X: runner.Axis{Name: "Averaging time", Unit: "s", Log: true}, Y: runner.Axis{Name: "ADEV", Unit: "1", Log: true},
				Lines: []runner.CurveLine{{Name: "found", X: []float64{1, 2, 4}, Y: []float64{3e-10, 2.1e-10, 1.5e-10}, U: []float64{1e-11, 1e-11, 2e-11}}, {Name: "fit", Fit: true, X: []float64{1, 4}, Y: []float64{3e-10, 1.5e-10}}}}}},
		{Task: procedures.Task{ID: "unit-observation-001", Kind: "observation", Measure: "front panel"}, Finished: began.Add(45 * time.Minute), Rows: []runner.Row{
			{What: "Do all segments of the display light up?", Verdict: decision.Verdict{Word: decision.Fail, Reason: decision.NotAsExpected}, Says: "segment d of digit 3 stays dark"},
			{What: "Is the connector of input A firm?", Verdict: decision.Verdict{Word: decision.NotJudged, Reason: decision.NoOperator}}}},
	}
}

// leftRecord is the unit as released, a day later; between has been repaired and
// not yet adjusted; dead gives no readings; corrected takes the place of leftRecord.
func leftRecord(t testing.TB) record.Record {
	r := foundRecord(t)
	r.ID, r.Follows, r.Run.Kind = "EX-2026-118-as-left", "EX-2026-118-as-found", runner.AsLeft
	r.Created = r.Created.AddDate(0, 0, 1)
	r.Run.Started, r.Run.Finished = r.Run.Started.AddDate(0, 0, 1), r.Run.Finished.AddDate(0, 0, 1)
	r.Job.Work = "Second amplifier of input C replaced; timebase adjusted."
	r.Run.Points, r.Run.Planned, r.Run.Outcomes, r.Run.PlannedTasks, r.Run.Warnings = r.Run.Points[:1:1], 1, nil, 0, nil
	r.Run.Inputs[0].Coverage.Complete = true
	r.Run.Statement = runner.WithinShown
	r.Job.Limited = []procedures.Limited{{What: "input C above 18 GHz", Why: "no source", Agreed: "Example Customer, by mail of 2026-11-21"}}
	return r
}

func betweenRecord(t testing.TB) record.Record {
	r := leftRecord(t)
	r.ID, r.Run.Kind = "EX-2026-118-after-repair", runner.AfterRepair
	return r
}

func deadRecord(t testing.TB) record.Record {
	r := foundRecord(t)
	r.Run.Points, r.Run.Outcomes = r.Run.Points[4:5], nil
	r.Run.Statement, r.Run.Symptom = runner.NotObtainable, "inoperative: display dark, no reply"
	return r
}

func correctedRecord(t testing.TB) record.Record {
	r := leftRecord(t)
	r.ID = "EX-2026-118-corrected"
	r.Corrects = &record.Correction{ID: "EX-2026-118-as-left", Reason: "name of the customer misspelt", Who: "A. Example (invented)",
		Changes: []record.Change{{Path: "/job/customer", Old: "Exmaple", New: "Example Customer (invented)"}}}
	r.Job.Conformity = "no"
	return r
}

// options are those of the tests.
func options() Options {
	return Options{PDF: []byte("%PDF-1.7 stands for a data sheet"), FileName: "as-left.pdf", Hashes: map[string]string{
		"EX-2026-118-as-found": "aa00000000000000000000000000000000000000000000000000000000000001", "EX-2026-118-as-left": "aa00000000000000000000000000000000000000000000000000000000000002"}}
}

func certified(t testing.TB, o Options, records ...record.Record) []byte {
	t.Helper()
	c, err := New(o, records...)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, c.Write(t.Context(), &b))
	return b.Bytes()
}

// cases are the certificates that the tests check one and all.
func cases(t testing.TB) map[string][]record.Record {
	return map[string][]record.Record{
		"as-found":                {foundRecord(t)},
		"as-found and as-left":    {leftRecord(t), foundRecord(t)},
		"three runs":              {leftRecord(t), foundRecord(t), betweenRecord(t)},
		"not obtainable":          {deadRecord(t)},
		"corrected, no statement": {correctedRecord(t)},
		"empty":                   {{Run: runner.Result{Kind: runner.AsLeft}, Laboratory: procedures.Laboratory{Country: "ZZ"}}},
		"every text awkward":      {awkwardRecord(t)},
	}
}

func TestGolden(t *testing.T) {
	version := record.Version
	record.Version = "0.0.0-test"
	t.Cleanup(func() { record.Version = version })
	for name, records := range map[string][]record.Record{"as-found-as-left.xml": {foundRecord(t), leftRecord(t)}, "not-obtainable.xml": {deadRecord(t)}, "corrected.xml": {correctedRecord(t)}} {
		got := certified(t, options(), records...)
		require.Equal(t, string(got), string(certified(t, options(), records...)), "written twice, the same bytes")
		file := filepath.Join("testdata", name)
		if *update {
			require.NoError(t, os.WriteFile(file, got, 0o644))
		}
		want, err := os.ReadFile(file)
		require.NoError(t, err)
		require.Equal(t, string(want), string(got), "%s; -update writes it anew: read the change", file)
	}
}

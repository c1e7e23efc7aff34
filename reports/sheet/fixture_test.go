package sheet

import (
	"encoding/json"
	"flag"
	"fmt"
	"hash/fnv"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the records and golden files in testdata anew; read the change")

// fault is what a unit or bench does at one point of the fixture.
type fault struct {
	verdict decision.Reason // of the bench or unit; "" to let the rule judge
	bench   bool
	ppm     float64 // added to the reading
	ofLimit float64 // sets the error to this many limits
	scatter float64 // Hz between readings
	symptom string
	tries   int
	notes   []string
	uses    []runner.Use // of readings beside those that count
	by      string       // who set the source and read the unit, the first entry twice, the second anew
}

// asFoundFaults holds a failure of each kind.
var asFoundFaults = map[string]fault{
	"A-013": {ofLimit: 0.94, scatter: 4}, // conditional pass
	"A-014": {ofLimit: 1.05, scatter: 4}, // conditional fail
	"A-002": {uses: []runner.Use{runner.Lost}, notes: []string{"1 readings were never answered and were taken anew"}},
	"A-003": {uses: []runner.Use{runner.FirstLook, runner.FirstLook, runner.FirstLook}, notes: []string{"readings scattered more than the counts allow and were read anew once"}},
	"A-004": {uses: []runner.Use{runner.RFOffLook, runner.RFOffLook}},
	"B-001": {verdict: decision.LeftOut, bench: true},
	"B-002": {verdict: decision.LeftOut, bench: true},
	"B-003": {verdict: decision.LeftOut, bench: true},
	"B-006": {ppm: 1.4},
	"B-008": {ppm: -500000, symptom: "reads half the frequency"},
	"B-009": {verdict: decision.NoCount, symptom: "no reading at this level; counts 6 dB above", uses: []runner.Use{runner.Proof, runner.Proof}, notes: []string{"path proven: point B-007, repeated, reads 320.000064 MHz"}},
	"B-010": {verdict: decision.Unstable, symptom: "readings scatter over 3.1 MHz"},
	"C-004": {tries: 3, notes: []string{"source was not good after 2 of 3 settings"}},
	"C-005": {verdict: decision.SourceNotLocked, bench: true, tries: 6, notes: []string{"source was not good after 6 of 6 settings"}},
	"C-007": {verdict: decision.GateNotInForce, bench: true},
	"C-003": {by: "A. Example (invented)"},
	"C-012": {ppm: 25},
	"C-013": {ppm: -3100, symptom: "off by a multiple of the intermediate frequency"},
}

// builder makes a record the way a run would, from the plan of the fixture's
// procedure and bench, with readings that depend on point and ordinal only.
type builder struct {
	t        testing.TB
	plan     *procedures.Plan
	p        *procedures.Procedure
	b        *procedures.Bench
	kind     runner.Kind
	timebase float64 // relative error of the unit's timebase
	faults   map[string]fault
	now      time.Time
}

func build(t testing.TB, kind runner.Kind, timebase float64, faults map[string]fault, start time.Time) record.Record {
	t.Helper()
	read := func(name string) []byte {
		text, err := os.ReadFile(filepath.Join("testdata", name))
		require.NoError(t, err)
		return text
	}
	p, err := procedures.LoadProcedure("procedure.toml", read("procedure.toml"))
	require.NoError(t, err)
	b, err := procedures.LoadBench("bench.toml", read("bench.toml"))
	require.NoError(t, err)
	plan, err := procedures.NewPlan(p, b, procedures.Options{Now: start})
	require.NoError(t, err)
	f := &builder{t: t, plan: plan, p: p, b: b, kind: kind, timebase: timebase, faults: faults, now: start}
	return f.record()
}

func (f *builder) record() record.Record {
	start := f.now
	r := record.Record{
		Schema: record.Schema, ID: "EX-2026-118-" + string(f.kind), Program: record.Program{Name: "bandproof", Version: "0.0.0-test", Go: "go1.26"},
		Laboratory: f.b.Laboratory, Maker: f.p.Unit.Maker, Model: f.p.Unit.Model, Invented: true,
		Procedure: record.Source{File: "procedure.toml", Name: f.p.Name, Revision: f.p.Revision, SHA256: "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"},
		Bench:     record.Source{File: "bench.toml", Name: f.b.Name, SHA256: "fedcba9876543210fedcba9876543210fedcba9876543210fedcba9876543210"},
		Job: procedures.Job{Schema: procedures.JobSchema, Number: "2026-118 (invented)", Customer: "Example Customer (invented)", Contact: "2 Example Street, Exampletown",
			Asset: "EX-0815", Serial: "TC3-0042", Technician: "A. Example (invented)", Received: procedures.Date{Time: time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC)},
			Condition: "complete, clean; owner reports missing readings on input B", OnFor: quantity.Of[quantity.Second](7200, 0)},
		Cautions: append([]string{}, record.UsualCautions()...),
	}
	temperature, humidity, mains := quantity.Of[quantity.Celsius](231, -1), quantity.Of[quantity.One](44, -2), quantity.Of[quantity.Volt](231, 0)
	r.Job.Temperature, r.Job.Humidity, r.Job.Mains = &temperature, &humidity, &mains
	if f.kind != runner.AsFound {
		r.Follows = "EX-2026-118-as-found"
		r.Job.Work = "Second amplifier of input B replaced; timebase adjusted."
		r.Job.Adjusted = procedures.Date{Time: start.AddDate(0, 0, -1)}
	}
	for _, s := range f.b.Sources {
		r.Standards = append(r.Standards, record.Standard{Name: s.Name, Role: "source", Standard: s.Standard, Stated: "level ±" + s.LevelUncertainty.String(), Overdue: s.Due.Before(start)})
	}
	for _, s := range f.b.References {
		r.Standards = append(r.Standards, record.Standard{Name: s.Name, Role: "reference", Standard: s.Standard, Stated: "offset 2e-12, U = 2e-11 (k = 2), drift 2e-13 a day"})
	}
	r.Run = f.run()
	r.Created = r.Run.Finished.Add(time.Minute)
	return r
}

func (f *builder) run() runner.Result {
	r := runner.Result{ID: "run-" + string(f.kind), Kind: f.kind, Started: f.now, Complete: true, Topology: f.plan.Topology, Rule: f.plan.Rule,
		Unit:     drivers.Identity{Maker: "INVENTED", Model: f.p.Unit.Model, Serial: "TC3-0042", Firmware: "2.1", Raw: "INVENTED,TC3,TC3-0042,2.1", Stated: true},
		Timebase: f.plan.TimebaseHow, OnFor: quantity.Of[quantity.Second](7300, 0), Planned: len(f.plan.Points), Warnings: f.plan.Warnings,
		Entries:   []runner.Entry{{At: f.now, Asked: "Connect path MW to B: source MW to input B. Done?", Answer: "yes", Who: "A. Example (invented)"}},
		Events:    []runner.Event{{At: f.now.Add(2 * time.Minute), Text: "link to the unit lost for 4 s; device cleared, reconnected"}},
		Statement: runner.WithinShown}
	if f.kind == runner.AsFound {
		const w = "RF of source MW could not be switched off, do it by hand: no reply within 2 s"
		r.Warnings = append(slices.Clone(r.Warnings), w)
		r.Events = append(r.Events, runner.Event{At: f.now.Add(3 * time.Minute), Text: "warning: " + w})
	}
	for _, p := range f.plan.Points {
		r.Points = append(r.Points, f.point(p))
	}
	for _, in := range f.p.Inputs {
		var shown []quantity.Frequency
		for _, p := range r.Points {
			if p.Point.Input == in.Name && p.Judged() {
				shown = append(shown, p.Point.Frequency)
			}
			if p.Verdict.Bad() {
				r.Statement = runner.Outside
			}
		}
		x := runner.InputResult{Input: in, Coverage: in.Coverage(shown), ReferenceCheck: "own, as the unit stated before and after", HeldCheck: "lets go: no measurement"}
		for _, n := range f.plan.Inputs {
			if n.Input == in.Name {
				x.NotShown = n.NotShown
			}
		}
		r.Inputs = append(r.Inputs, x)
	}
	r.Finished = f.now
	return r
}

func (f *builder) point(p procedures.Point) (r runner.PointResult) {
	x := f.faults[p.ID]
	source, _ := f.b.Source(p.Source)
	started := f.now
	f.now = f.now.Add(time.Duration(p.Seconds*1000) * time.Millisecond)
	reference := p.Frequency.Exact().Mul(f.plan.Topology[p.Source].Factor)
	r = runner.PointResult{Point: p, Gate: p.Gate, Symptom: x.symptom, Notes: x.notes,
		Standards: []string{p.Source, "house standard"}, Started: started, Finished: f.now,
		Setting: runner.Setting{Asked: p.Frequency, Reported: p.Frequency, Level: p.Levels.Source, Locked: "yes", Tries: max(x.tries, 1), Refused: max(x.tries-1, 0)}}
	r.Reference, r.Limit, r.LimitPPM, r.TUR = reference, p.Limit, p.LimitPPM, p.TUR
	bench := f.plan.BenchBudget(source, p.Frequency)
	r.Bench = f.combine(bench)
	defer func() {
		for n, use := range x.uses {
			r.Readings = append(r.Readings, runner.Reading{Use: use, Reading: f.reading(p, x, reference, 10+n)})
		}
	}()
	if x.verdict == "" {
		defer func() { enteredBy(&r, x.by) }()
		r.Readings = append([]runner.Reading{{Use: runner.Discarded, Reading: f.reading(p, x, reference, 0)}}, f.counted(p, x, reference)...)
		f.evaluate(&r, bench, x)
		return r
	}
	if x.bench {
		r.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: x.verdict}
		if x.tries > 1 {
			r.Setting.Locked, r.Setting.Refused = "no", x.tries
		}
		return r
	}
	r.Verdict = decision.Verdict{Word: decision.Fail, Reason: x.verdict}
	r.Readings = []runner.Reading{{Use: runner.Counted, Reading: drivers.Reading{Text: "9.91E+37", Mark: drivers.NoSignal, At: started}}}
	return r
}

// enteredBy makes the readings of a point those that a person typed.
func enteredBy(r *runner.PointResult, who string) {
	if who == "" {
		return
	}
	r.Setting.By = who
	for k := range r.Readings {
		x := &r.Readings[k]
		x.By = who
		switch k {
		case 1:
			x.Twice, x.Questioned = true, []drivers.Questioned{{Text: x.Text, Why: "fewer digits than the gate gives"}}
		case 2:
			x.Questioned = []drivers.Questioned{{Text: "1", Why: "look at decimal point and unit"}}
		}
	}
}

func (f *builder) counted(p procedures.Point, x fault, reference quantity.Exact) []runner.Reading {
	var list []runner.Reading
	for n := 1; n <= p.Readings; n++ {
		list = append(list, runner.Reading{Use: runner.Counted, Reading: f.reading(p, x, reference, n)})
	}
	return list
}

// reading is the reference value with timebase and fault, in whole counts.
func (f *builder) reading(p procedures.Point, x fault, reference quantity.Exact, n int) drivers.Reading {
	h := fnv.New32a()
	fmt.Fprint(h, p.ID, n)
	e := reference.Float() * (f.timebase + x.ppm*1e-6)
	if x.ofLimit != 0 {
		e = p.Limit.Total.Float()*x.ofLimit + []float64{-x.scatter, 0, x.scatter}[n%3]
	}
	q := p.Limit.Resolution
	counts := reference.Add(quantity.ExactFloat(e)).Quo(q)
	whole := quantity.ExactOf(new(big.Rat).SetInt64(int64(math.Round(counts.Float() + float64(h.Sum32()%1000)/2500 - 0.2))))
	places := 0
	if q.Cmp(quantity.ExactInt(1)) < 0 {
		places = 1
	}
	value := quantity.FromRat[quantity.Hertz](whole.Mul(q).Rat(), places)
	if x.ofLimit != 0 {
		value = quantity.FromRat[quantity.Hertz](reference.Add(quantity.ExactFloat(e)).Rat(), 3)
	}
	return drivers.Reading{Text: value.Plain(), Frequency: value, At: f.now}
}

func (f *builder) evaluate(r *runner.PointResult, bench uncertainty.Budget, x fault) {
	var errors []quantity.Exact
	var sum, low, high quantity.Exact
	for _, y := range r.Readings {
		if y.Use != runner.Counted {
			continue
		}
		e := y.Frequency.Exact().Sub(r.Reference)
		if len(errors) == 0 || e.Cmp(low) < 0 {
			low = e
		}
		if len(errors) == 0 || e.Cmp(high) > 0 {
			high = e
		}
		errors, sum = append(errors, e), sum.Add(e)
	}
	n := int64(len(errors))
	r.Counted = int(n)
	r.Error = sum.Quo(quantity.ExactInt(n))
	r.Mean, r.Spread = r.Error.Add(r.Reference), high.Sub(low)
	r.ErrorPPM = r.Error.Float() / r.Reference.Float() * 1e6
	own := append(uncertainty.Budget{}, bench...)
	if x.scatter > 0 {
		own = append(own, uncertainty.Line("repeatability", x.scatter/math.Sqrt(float64(n)), uncertainty.Normal, float64(n-1), "readings"))
	}
	r.Decision = f.combine(own)
	r.ReportedBudget = append(own, uncertainty.Line("resolution of the unit", r.Limit.Resolution.Float(), uncertainty.Triangular, 0, "one count"))
	r.Reported = f.combine(r.ReportedBudget)
	r.Verdict, r.GuardBand = f.plan.Rule.Judge(decision.Evidence{Errors: errors, Limit: r.Limit.Total, BenchU: r.Bench, DecisionU: r.Decision})
	r.GuardBand = parse(r.GuardBand.Fixed(12)) // like floats
	if tur, ok := decision.TUR(r.Limit.Total, r.Reported.Expanded); ok {
		r.TURWithUnit = &tur
	}
	p := decision.Conformity(r.Error.Float(), r.Limit.Total.Float(), r.Decision.Standard, r.Decision.DegreesOfFreedom)
	r.Conformity = &p
}

func (f *builder) combine(b uncertainty.Budget) uncertainty.Result {
	r, err := b.Combine()
	require.NoError(f.t, err)
	return r
}

// fixture reads a frozen record; -update makes it anew.
func fixture(t testing.TB, kind runner.Kind) record.Record {
	t.Helper()
	file := filepath.Join("testdata", string(kind)+".json")
	if *update {
		require.NoError(t, os.WriteFile(file, made(t, kind), 0o644))
	}
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	var r record.Record
	require.NoError(t, json.Unmarshal(text, &r))
	return r
}

// made is the record of a fixture as the builder makes it now.
func made(t testing.TB, kind runner.Kind) []byte {
	t.Helper()
	start := time.Date(2026, 11, 24, 9, 0, 0, 0, time.UTC)
	r := build(t, kind, 0.21e-6, asFoundFaults, start)
	if kind == runner.AsLeft {
		r = build(t, kind, 0.02e-6, map[string]fault{"A-014": {scatter: 2, ofLimit: 0.1}}, start.AddDate(0, 0, 2))
	}
	text, err := json.MarshalIndent(r, "", " ")
	require.NoError(t, err)
	return append(floats.ReplaceAllFunc(text, func(x []byte) []byte {
		part := floats.FindSubmatch(x)
		f, err := strconv.ParseFloat(string(part[2]), 64)
		require.NoError(t, err)
		return slices.Concat(part[1], strconv.AppendFloat(nil, f, 'g', 12, 64), part[3])
	}), '\n')
}

// floats are numbers with a fraction or an exponent, one to a line. They are
// rounded to 12 digits, so that records don't hang on the last bit, which
// differs between processors and with the order of a sum.
var floats = regexp.MustCompile(`(?m)(": )(-?[0-9]+(?:\.[0-9]+(?:e[-+][0-9]+)?|e[-+][0-9]+))(,?)$`)

// Records in testdata that the builder would not make now would let -update
// change them, and the golden files with them, in passing.
func TestFixturesAreCurrent(t *testing.T) {
	for _, kind := range []runner.Kind{runner.AsFound, runner.AsLeft} {
		_ = fixture(t, kind) // made anew with -update
		have, err := os.ReadFile(filepath.Join("testdata", string(kind)+".json"))
		require.NoError(t, err)
		require.Equal(t, string(have), string(made(t, kind)), "testdata/%s.json is not what the builder makes now; run with -update and read the change", kind)
	}
}

package record_test

import (
	"math/big"
	"strings"
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
	"pgregory.net/rapid"
)

func full() record.Record {
	tur, p := 12.5, 0.99
	at := time.Date(2026, 11, 25, 8, 0, 0, 123456789, time.UTC)
	temperature := quantity.MustParse[quantity.Celsius]("23.1 °C")
	gap, _ := quantity.ParseInterval("1 octave")
	limit := accuracy.Limit{Resolution: quantity.ExactInt(32), Total: quantity.ExactOf(big.NewRat(100, 3)), Terms: []accuracy.Term{{Name: "counts", Hz: quantity.ExactInt(32), How: "1 × 32 Hz"}, {Name: "timebase", Hz: quantity.ExactOf(big.NewRat(4, 3)), How: "stated"}}}
	mean := quantity.ExactInt(39999989)
	return record.Record{Schema: record.Schema, ID: "x", Follows: "y", Created: at, Program: record.Program{Name: "bandproof"},
		Job:       procedures.Job{Schema: procedures.JobSchema, Customer: "<b>\u202eevil\u0007</b>", Temperature: &temperature},
		Procedure: record.NewSource("p.toml", "P", "1", []byte("text\n")), Bench: record.NewSource("b.toml", "B", "", []byte("bench\n")), Cautions: record.UsualCautions(),
		Standards: []record.Standard{{Name: "R", Role: "reference", Standard: procedures.Standard{Certificate: "C-1"}, Stated: "U", Overdue: true}},
		Run: runner.Result{ID: "x", Kind: runner.AsLeft, Started: at, Sources: map[string]drivers.Identity{"G": {Maker: "M", Stated: true}},
			Topology: map[string]procedures.Topology{"G": {Name: "independent", Factor: quantity.ExactOf(big.NewRat(1000000001, 1000000000))}},
			Inputs:   []runner.InputResult{{Input: procedures.Input{Name: "B", Damage: quantity.MustLevel("20 dBm"), MaxGap: gap, Accuracy: accuracy.Spec{Figures: accuracy.Figures{Counting: accuracy.Counting{Kind: accuracy.Direct}}}}, Coverage: procedures.Coverage{Share: 0.5}}},
			Points: []runner.PointResult{{Point: procedures.Point{ID: "B-001", Input: "B", Frequency: quantity.MustParse[quantity.Hertz]("40 MHz"),
				Levels: procedures.Levels{Source: quantity.MustLevel("-18.8 dBm"), Input: quantity.MustLevel("25 mV")}, TUR: &tur},
				Readings: []runner.Reading{{Reading: drivers.Reading{Text: "39999989.0", Frequency: quantity.MustParse[quantity.Hertz]("39999989.0 Hz"), At: at}, Use: runner.Counted},
					{Reading: drivers.Reading{Text: "9.91E37", Mark: drivers.NoSignal, At: at}, Use: runner.Discarded}},
				Judgement: procedures.Judgement{Counted: 1, Mean: mean, Reference: mean.Add(quantity.ExactOf(big.NewRat(1, 3))), Limit: limit, Error: quantity.ExactOf(big.NewRat(-1, 3)), Reported: uncertainty.Result{Expanded: 1.5, CoverageFactor: 2}, Conformity: &p,
					Verdict: decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}}, Notes: []string{"n"}}},
			Outcomes: []runner.Outcome{outcome()}, PlannedTasks: 1, Rule: decision.Rule{Name: decision.Guarded},
			Statement: runner.Outside}, Invented: true}
}

func outcome() runner.Outcome {
	found, limit := quantity.ExactOf(big.NewRat(-61, 3)), quantity.ExactInt(-20)
	at := quantity.MustParse[quantity.Hertz]("100 MHz")
	x := runner.Row{What: "least level", At: &at, Unit: "dBm", Found: &found, Limit: &limit, Side: runner.AtMost, Uncertainty: &uncertainty.Result{Expanded: 0.3, CoverageFactor: 2}}
	x.Judge(decision.Rule{Name: decision.Guarded})
	return runner.Outcome{Task: procedures.Task{ID: "B-sensitivity-001", Kind: "sensitivity", Measure: "sensitivity B", Input: "B"}, Rows: []runner.Row{x, {What: "lamp", Verdict: decision.Verdict{Word: decision.Pass}}},
		Curves: []runner.Curve{{Title: "course", Lines: []runner.CurveLine{{Name: "a", X: []float64{1, 2}, Y: []float64{3, 4}, U: []float64{1, 1}}}}}}
}

// What Encode writes, Decode reads back and Encode writes again, byte for byte.
func TestRoundTrip(t *testing.T) {
	text, err := full().Encode()
	require.NoError(t, err)
	r, err := record.Decode(text)
	require.NoError(t, err)
	again, err := r.Encode()
	require.NoError(t, err)
	require.Equal(t, string(text), string(again))
	require.Equal(t, "25 mV", r.Run.Points[0].Point.Levels.Input.String())
	require.Equal(t, "39999989.0", r.Run.Points[0].Readings[0].Frequency.Plain())
	require.Equal(t, "100/3", r.Run.Points[0].Limit.Total.String())
	// Every exact quantity is a string, so that no reader rounds it.
	for _, want := range []string{`"error_hz":"-1/3"`, `"limit_hz":"100/3"`, `"frequency":"40 MHz"`, `"text":"39999989.0"`} {
		require.Contains(t, string(text), want)
	}
}

func TestDecodeRefuses(t *testing.T) {
	good, err := full().Encode()
	require.NoError(t, err)
	for name, text := range map[string]string{
		"nothing":       "",
		"half a record": string(good[:len(good)/2]),
		"other schema":  strings.Replace(string(good), "bandproof record 2", "bandproof record 9", 1),
		"unknown field": strings.Replace(string(good), `"invented"`, `"invent"`, 1),
		"no unit":       strings.Replace(string(good), `"40 MHz"`, `"40"`, 1),
		"a list":        "[]",
	} {
		_, err := record.Decode([]byte(text))
		require.Error(t, err, name)
	}
}

// No damage of a byte makes Decode panic or give what can't be written again.
func TestDecodeOfDamagedBytes(t *testing.T) {
	good, err := full().Encode()
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		damaged := append([]byte{}, good...)
		damaged[rapid.IntRange(0, len(good)-1).Draw(t, "at")] = rapid.Byte().Draw(t, "byte")
		if r, err := record.Decode(damaged); err == nil {
			if _, err := r.Encode(); err != nil {
				t.Fatal(err)
			}
		}
	})
}

// Damage that leaves the form right is found by what follows from the rest.
func TestDecodeFindsWhatDoesNotFollow(t *testing.T) {
	for name, c := range map[string]struct {
		damage func(*record.Record)
		want   string
	}{
		"verdict":       {func(r *record.Record) { r.Run.Points[0].Verdict.Word = "PASSED!" }, "no word of a verdict"},
		"readings gone": {func(r *record.Record) { r.Run.Points[0].Readings = nil }, "readings count, but only 0 are there"},
		"error edited":  {func(r *record.Record) { r.Run.Points[0].Error = quantity.Exact{} }, "not mean less reference"},
		"mean edited":   {func(r *record.Record) { r.Run.Points[0].Mean = quantity.ExactInt(1) }, "not that of its readings"},
		"reading edited": {func(r *record.Record) {
			r.Run.Points[0].Readings[0].Frequency = quantity.MustParse[quantity.Hertz]("40 MHz")
		}, "not that of its readings"},
		"limit edited":     {func(r *record.Record) { r.Run.Points[0].Limit.Total = quantity.ExactInt(1000) }, "not the sum of its terms"},
		"procedure edited": {func(r *record.Record) { r.Procedure.Text += " " }, "does not match its hash"},
		"point gone":       {func(r *record.Record) { r.Run.Complete, r.Run.Planned = true, 2 }, "has 1 of 2 points"},
		"point twice":      {func(r *record.Record) { r.Run.Points = append(r.Run.Points, r.Run.Points[0]) }, "stands twice"},
		"fewer readings than planned": {func(r *record.Record) {
			r.Run.Points[0].Verdict.Word, r.Run.Points[0].Point.Readings = decision.Pass, 9
		}, "planned readings, and nothing says why"},
		"stopped early without a plan": {func(r *record.Record) { r.Run.Points[0].StoppedEarly = "2 of 9 readings" }, "no early stop is planned"},
		"stopped too early": {func(r *record.Record) {
			r.Run.Points[0].Verdict.Word = decision.Pass
			r.Run.Points[0].StoppedEarly, r.Run.Points[0].Point.EarlyStop = "2 of 9 readings", &procedures.StopRule{Least: 8, Confirm: 2, Confidence: 0.99}
		}, "fewer than the 8 that an early stop needs"},
		"kind": {func(r *record.Record) { r.Run.Kind = "as-wished" }, "unknown kind"},
		"other look edited": {func(r *record.Record) {
			look := r.Run.Points[0]
			look.Point.Source, look.Error = "MW", quantity.Exact{}
			r.Run.Points[0].Other = &look
		}, "source MW: error 0 Hz is not mean less reference"},
		"fail made a pass": {func(r *record.Record) {
			p := &r.Run.Points[0]
			p.Verdict = decision.Verdict{Word: decision.Pass}
			p.Reference = p.Mean.Sub(quantity.ExactInt(99))
			p.Error = quantity.ExactInt(99)
		}, "beyond its limit"},
		"task gone":        {func(r *record.Record) { r.Run.Complete, r.Run.Planned, r.Run.Outcomes = true, 1, nil }, "has 0 of 1 tasks"},
		"task twice":       {func(r *record.Record) { r.Run.Outcomes = append(r.Run.Outcomes, outcome()) }, "B-sensitivity-001 stands twice"},
		"no finding":       {func(r *record.Record) { r.Run.Outcomes[0].Rows = nil }, "has no finding"},
		"found edited":     {row(func(x *runner.Row) { *x.Found = quantity.ExactInt(-25) }), "margin is not limit less what was found"},
		"limit of a row":   {row(func(x *runner.Row) { *x.Limit = quantity.ExactInt(-30) }), "margin is not limit less what was found"},
		"margin gone":      {row(func(x *runner.Row) { x.Margin = nil }), "margin is not limit less what was found"},
		"found gone":       {row(func(x *runner.Row) { x.Found = nil }), "passes a limit without a number"},
		"side":             {row(func(x *runner.Row) { x.Side = "beside" }), "which is none"},
		"row of no word":   {row(func(x *runner.Row) { x.Verdict.Word = "fine" }), "no word of a verdict"},
		"pass made a fail": {row(func(x *runner.Row) { x.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit} }), "on the good side of it"},
		"pass within w":    {row(func(x *runner.Row) { *x.GuardBand = quantity.ExactInt(1) }), "with a margin of 1/3 and a guard band of 1"},
		"negative U":       {row(func(x *runner.Row) { x.Uncertainty.Expanded = -1 }), "no number from zero up"},
		"curve cut":        {func(r *record.Record) { l := &r.Run.Outcomes[0].Curves[0].Lines[0]; l.Y = l.Y[:1] }, "course, a: has 2 places for 1 values"},
		"added run made whole": {func(r *record.Record) {
			r.Run.Only, r.Run.Statement = []string{"B-001"}, runner.WithinAll
		}, "only single points were taken"},
		"fail made good": {func(r *record.Record) { r.Run.Statement = runner.WithinShown }, "not everything has passed"},
	} {
		r := full()
		c.damage(&r)
		text, err := r.Encode()
		require.NoError(t, err, name)
		_, err = record.Decode(text)
		require.ErrorContains(t, err, c.want, name)
	}
}

// row damages the first finding.
func row(how func(*runner.Row)) func(*record.Record) {
	return func(r *record.Record) { how(&r.Run.Outcomes[0].Rows[0]) }
}

func TestStandardsOfARun(t *testing.T) {
	now := time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)
	due := func(text string) (d procedures.Date) { _ = d.UnmarshalText([]byte(text)); return d }
	b := &procedures.Bench{
		References: []procedures.Reference{{Name: "R1", Standard: procedures.Standard{Due: due("2026-11-24")}}, {Name: "R2"}},
		Sources:    []procedures.Source{{Name: "G1", Reference: "R1", Standard: procedures.Standard{Due: due("2026-11-25")}}, {Name: "G2"}},
	}
	r := record.New(record.Parts{Now: now, Procedure: &procedures.Procedure{}, Bench: b,
		Run: runner.Result{Points: []runner.PointResult{{Standards: []string{"G1"}}}, Outcomes: []runner.Outcome{{Standards: []string{"R1"}}}, Unit: drivers.Identity{Serial: "S", Stated: true}}})
	require.Len(t, r.Standards, 2)
	require.Equal(t, "S", r.Job.Serial)
	require.Equal(t, []bool{true, false}, []bool{r.Standards[0].Overdue, r.Standards[1].Overdue}, "due today is not overdue")
}

package runner_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// half is a kind of measurement for these tests: at each frequency the readings
// must be at least half of it.
type half struct{}

type halfKeys struct {
	Frequencies []quantity.Frequency `toml:"frequencies"`
	Gate        quantity.Duration    `toml:"gate"`
}

func (half) Kind() string          { return "half" }
func (half) Keys() procedures.Keys { return &halfKeys{} }

func (k *halfKeys) Check(p *procedures.Procedure, m procedures.Measure) (wrong []procedures.Wrong) {
	for n, f := range k.Frequencies {
		if f.Sign() <= 0 {
			wrong = append(wrong, procedures.Wrong{Key: fmt.Sprintf("frequencies[%d]", n), Text: "is not above zero"})
		}
	}
	return wrong
}

func (k *halfKeys) Plan(d *procedures.Draft, m procedures.Measure) error {
	i, _ := d.Procedure().Input(m.Input)
	for _, f := range k.Frequencies {
		p, why := d.Point(i, procedures.Want{Frequency: f, Gate: k.Gate})
		if why != "" {
			d.NotShown(m, i, f, f, why)
			continue
		}
		d.Add(m, procedures.Task{Points: []procedures.Point{p}, Seconds: p.Seconds})
	}
	return nil
}

func (half) Take(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	shot, err := s.Shot(ctx, t.Points[0])
	if err != nil {
		return runner.Outcome{}, err
	}
	limit := shot.Reference.Quo(quantity.ExactInt(2))
	row := runner.Row{What: "mean reading", At: &t.Points[0].Frequency, Unit: "Hz", Limit: &limit, Side: runner.AtLeast}
	if shot.Proper() {
		row.Found = &shot.Mean
		row.Judge(s.Procedure().Decision)
	} else {
		row.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: shot.Verdict.Reason}
	}
	return runner.Outcome{Rows: []runner.Row{row}, Shots: []runner.PointResult{shot}, Standards: s.Standards(t.Points...)}, s.Keep(ctx, "done")
}

const halves = `
[[measure]]
kind = "half"
name = "B, half of it"
input = "B"
frequencies = ["100 MHz", "1.2 GHz", "20 GHz"]
gate = "1 s"
`

// A kind of measurement is planned, taken after the points of its path, kept in
// journal and result, and counts for the statement.
func TestAnotherKindOfMeasurement(t *testing.T) {
	r := newRig(t, options{Append: halves, Kinds: []runner.MeasureKind{half{}}})
	require.Len(t, r.Setup.Plan.Tasks, 2)
	require.Equal(t, "B-half-002", r.Setup.Plan.Tasks[1].ID)
	require.Equal(t, "MW to B", r.Setup.Plan.Tasks[1].Path)
	got := r.Run()
	require.True(t, got.Complete)
	require.Len(t, got.Outcomes, 2)
	require.Equal(t, got.Outcomes, r.Journal.Outcomes)
	require.Equal(t, []string{`B-half-001 "done"`, `B-half-002 "done"`}, r.Journal.Steps)
	for _, o := range got.Outcomes {
		require.Equal(t, decision.Pass, o.Rows[0].Verdict.Word)
		require.Len(t, o.Shots[0].Readings, 4)
		require.Equal(t, []string{"MW", "house standard"}, o.Standards)
	}
	require.Equal(t, &runner.Others{Passed: 2}, got.Tally().Others)
	require.Contains(t, got.Inputs[1].NotShown[0].Reason, "no sensitivity is specified")
	require.Len(t, r.Operator.Moves, 2, "the cable is moved once for points and tasks")
}

// What nobody could connect is not judged, and leaves the run open.
func TestTasksWithoutAnOperator(t *testing.T) {
	r := newRig(t, options{Append: halves, Kinds: []runner.MeasureKind{half{}}})
	r.Operator.Away = true
	got := r.Run()
	require.Equal(t, runner.Incomplete, got.Statement)
	for _, o := range got.Outcomes {
		require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.NoOperator}, o.Rows[0].Verdict)
	}
	require.Equal(t, &runner.Others{NotJudged: 2}, got.Tally().Others)
}

// A unit that counts nothing fails the task, and with it the statement.
func TestTaskThatFails(t *testing.T) {
	r := newRig(t, options{Append: halves, Kinds: []runner.MeasureKind{half{}}, Faults: []string{"dead-above:input=B,from=1 GHz"}})
	got := r.Run()
	require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.NoCount}, got.Outcomes[1].Rows[0].Verdict)
	require.Equal(t, runner.Outside, got.Statement)
}

// A reference that changes while a path is connected voids what other kinds of
// measurement found there too, whatever they found.
func TestReferenceThatChangesVoidsOtherMeasurements(t *testing.T) {
	r := newRig(t, options{Append: halves, Kinds: []runner.MeasureKind{half{}}})
	r.Setup.Watcher = measured(func(o runner.Outcome) {
		if o.Task.ID == "B-half-001" {
			runnertest.Ask(t, r.Bench, "counter", "SENS:ROSC:SOUR EXT;SOUR?")
		}
	})
	got := r.Run()
	for k, o := range got.Outcomes {
		require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.ReferenceChanged}, o.Rows[0].Verdict)
		require.Contains(t, o.Rows[0].Says, "was pass before it was voided")
		require.Equal(t, o, r.Journal.Outcomes[2+k], "journaled again as it stands")
	}
	require.Equal(t, runner.Incomplete, got.Statement)
	require.True(t, r.Journal.Said("6 points and 2 other measurements are void"))
}

// measured is a Watcher of outcomes.
type measured func(runner.Outcome)

func (measured) Progress(int, int, time.Duration, runner.PointResult) {}
func (f measured) Measured(o runner.Outcome)                          { f(o) }
func (measured) Says(string)                                          {}

func TestMeasureTablesAreChecked(t *testing.T) {
	text := `schema = "bandproof procedure 1"
[[measure]]
kind = "half"
input = "Q"
frequencies = ["0 Hz"]
[[measure]]
kind = "quarter"
[[measure]]
kind = "half"
frequencies = ["0 Hz"]
gate = "1 s"
colour = "red"
[[measure]]
kind = "half"
frequencies = ["0 Hz"]
gate = "1 s"
`
	_, err := procedures.LoadProcedure("p.toml", []byte(text), half{})
	for _, want := range []string{
		`p.toml:2: measure[1].gate: is missing; it must be given`,
		`p.toml:4: measure[1].input: is "Q", which is not an input of the unit`,
		`p.toml:7: measure[2].kind: is "quarter"; expected one of half`,
		`p.toml:12: measure[3].colour: is not a key here`,
		`p.toml:15: measure[4].frequencies[1]: is not above zero`,
	} {
		require.ErrorContains(t, err, want)
	}
}

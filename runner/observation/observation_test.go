package observation_test

import (
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/runner"
	"bandproof/runner/observation"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

const table = `
[[measure]]
kind = "observation"
name = "outside"
asks = [
  { question = "Do all segments of the display light?" },
  { question = "Is the overload lamp of input B lit?", expected = "no", remark = true },
  { question = "Is the cabinet free of scratches?", judged = false },
]
`

var (
	pass = decision.Verdict{Word: decision.Pass}
	fail = decision.Verdict{Word: decision.Fail, Reason: decision.NotAsExpected}
	away = decision.Verdict{Word: decision.NotJudged, Reason: decision.NoOperator}
)

const (
	segments  = "Do all segments of the display light?"
	lamp      = "Is the overload lamp of input B lit?"
	scratches = "Is the cabinet free of scratches?"
)

func TestObservations(t *testing.T) {
	for _, row := range []struct {
		name      string
		answers   []bool
		texts     []string
		want      []runner.Row
		statement runner.Statement
	}{
		{"as expected", []bool{true, false, true}, []string{"dark"},
			[]runner.Row{{What: segments, Says: "yes", Verdict: pass}, {What: lamp, Says: "no: dark", Verdict: pass}, {What: scratches, Says: "yes"}}, runner.WithinAll},
		{"not so", []bool{false, true, false}, []string{"digit 3, segment g", "", "lid"},
			[]runner.Row{{What: segments, Says: "no: digit 3, segment g", Verdict: fail}, {What: lamp, Says: "yes", Verdict: fail}, {What: scratches, Says: "no: lid"}}, runner.Outside},
		{"gone after the first", []bool{true}, nil,
			[]runner.Row{{What: segments, Says: "yes", Verdict: pass}, {What: lamp, Verdict: away}, {What: scratches, Says: "not answered: no operator"}}, runner.Incomplete},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := runnertest.New(t, runnertest.Options{Append: table, Kinds: []runner.MeasureKind{observation.Kind{}}})
			r.Operator.Answers, r.Operator.Texts = row.answers, row.texts
			got := r.Run()
			require.Equal(t, row.want, got.Outcomes[0].Rows)
			require.Equal(t, row.statement, got.Statement)
			require.Equal(t, segments, r.Operator.Asked[0])
			require.Empty(t, got.Outcomes[0].Task.Path, "asked before any cable is moved")
			require.Equal(t, segments, got.Entries[0].Asked)
		})
	}
}

// shy is an operator who can't be asked for a text.
type shy struct{ runner.Operator }

func TestOperatorWithoutText(t *testing.T) {
	r := runnertest.New(t, runnertest.Options{Append: table, Kinds: []runner.MeasureKind{observation.Kind{}}})
	r.Operator.Answers = []bool{false, false, false}
	r.Setup.Operator = shy{r.Operator}
	require.Equal(t, "no", r.Run().Outcomes[0].Rows[0].Says)
}

func TestKeys(t *testing.T) {
	text := `schema = "bandproof procedure 1"
[[measure]]
kind = "observation"
asks = []
[[measure]]
kind = "observation"
asks = [
  { question = " " },
  { question = "Does it hum?", expected = "maybe" },
]
`
	_, err := procedures.LoadProcedure("p.toml", []byte(text), observation.Kind{})
	for _, want := range []string{
		"p.toml:4: measure[1].asks: has no question; give at least one",
		"p.toml:8: measure[2].asks[1].question: is empty; ask what yes or no answers",
		`p.toml:9: measure[2].asks[2].expected: is "maybe"; expected yes or no`,
	} {
		require.ErrorContains(t, err, want)
	}
}

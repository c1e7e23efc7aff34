package main

import (
	"bytes"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

func exactOf(t *testing.T, s string) *quantity.Exact {
	t.Helper()
	var x quantity.Exact
	require.NoError(t, x.UnmarshalText([]byte(s)))
	return &x
}

// A finding is told in one line, with its number and limit.
func TestFindingsInOneLine(t *testing.T) {
	at := quantity.MustParse[quantity.Hertz]("1.2 GHz")
	o := runner.Outcome{Task: procedures.Task{ID: "B-sensitivity-001", Kind: "sensitivity", Measure: "sensitivity B"}}
	for want, x := range map[string]runner.Row{
		"sensitivity B: least level at 1.2 GHz: fail: error outside the limit (-19.84 dBm, limit at most -20 dBm): 3 searches": {What: "least level", At: &at, Unit: "dBm",
			Found: exactOf(t, "-19.84"), Limit: exactOf(t, "-20"), Side: runner.AtMost, Verdict: decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}, Says: "3 searches"},
		"sensitivity B: offset: pass (-1.234e-10, limit ±1e-09)":         {What: "offset", Unit: "1", Found: exactOf(t, "-0.0000000001234"), Limit: exactOf(t, "0.000000001"), Side: runner.Within, Verdict: decision.Verdict{Word: decision.Pass}},
		"sensitivity B: edge (1 274 000 000 Hz): counts up to 1.274 GHz": {What: "edge", Unit: "Hz", Found: exactOf(t, "1274000000"), Says: "counts up to 1.274 GHz"},
		"sensitivity B: not judged: no operator: nobody answered":        runner.NotJudgedRow("sensitivity B", decision.NoOperator, "nobody answered"),
	} {
		require.Equal(t, want, rowLine(o, x))
	}
}

// Without a terminal each task is counted once, with all its findings.
func TestTasksAreCounted(t *testing.T) {
	var said bytes.Buffer
	term := newTerminal(strings.NewReader(""), &bytes.Buffer{}, &said)
	end := term.begin(4, 2)
	term.Measured(runner.Outcome{Task: procedures.Task{Measure: "panel"}, Rows: []runner.Row{{What: "lamp"}, {What: "keys"}}})
	term.Measured(runner.Outcome{Task: procedures.Task{Measure: "self-test"}, Rows: []runner.Row{{What: "self-test"}}})
	end()
	require.Equal(t, "  1/2  panel: lamp\npanel: keys\n  2/2  self-test\n", said.String())
	require.Equal(t, steps{measured: 2, tasks: 2}, term.steps)
}

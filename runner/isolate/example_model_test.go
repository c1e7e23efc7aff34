package isolate

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

var fenced = regexp.MustCompile("(?s)```toml\n(.*?)```")

// The worked example of README.md: its pieces stand in the file, the file loads
// without a gap, and what README says of it comes out.
func TestWorkedExample(t *testing.T) {
	page, err := os.ReadFile("README.md")
	require.NoError(t, err)
	text, err := os.ReadFile("testdata/example.toml")
	require.NoError(t, err)
	pieces := fenced.FindAllStringSubmatch(string(page), -1)
	require.GreaterOrEqual(t, len(pieces), 6)
	for _, p := range pieces {
		piece := strings.ReplaceAll(strings.TrimLeft(p[1], " "), "\n   ", "\n")
		require.Contains(t, string(text), strings.TrimRight(piece, " "))
	}
	n, err := Load("example.toml", text)
	require.NoError(t, err)
	check := n.Check()
	require.Empty(t, check.Unreachable)
	require.Empty(t, check.Hidden)

	r := runner.Result{Complete: true}
	for k, x := range []string{"A 1 kHz", "A 10 MHz", "A 100 MHz", "B 50 MHz", "B 200 MHz", "B 1 GHz"} {
		var p runner.PointResult
		p.Verdict = decision.Verdict{Word: decision.Pass}
		if p.Point = (procedures.Point{ID: fmt.Sprint(x[:1], "-", k), Input: x[:1], Frequency: quantity.MustParse[quantity.Hertz](x[2:])}); x[:1] == "B" {
			p.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}
		}
		r.Points = append(r.Points, p)
	}
	report, err := NewCase(n, r, nil).Report(t.Context(), Subject{Unit: "Example Works Example Counter 2F"}, nil)
	require.NoError(t, err)
	require.Empty(t, report.Doubts)
	require.Empty(t, report.Model.Outside)
	require.Contains(t, report.Model.Assumptions[1], "but for the 1 rate the model states")
	var suspects []string
	for _, s := range report.Model.Suspects[:4] {
		suspects = append(suspects, s.Stage)
	}
	require.Contains(t, string(page), "    "+strings.Join(suspects, ", ")+"\n")
	next := report.Model.Next
	require.Contains(t, string(page), fmt.Sprintf("first look is at %s, between amplifier and divider", next.TestPoint))
	require.InDelta(t, 25, next.Minutes, 0.01)
}

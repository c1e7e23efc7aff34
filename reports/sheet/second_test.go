package sheet

import (
	"encoding/csv"
	"strings"
	"testing"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Both looks at a point stand on the sheet and in the CSV file, each with its
// own verdict.
func TestSecondLooks(t *testing.T) {
	r := fixture(t, runner.AsFound)
	p := &r.Run.Points[2]
	look := *p
	look.Point.Source, look.Point.Path = "MW", "MW to A"
	look.Mean, look.Error = look.Mean.Add(quantity.ExactInt(1)), look.Error.Add(quantity.ExactInt(1))
	look.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}
	alone := p.Verdict
	p.Alone, p.Other = &alone, &look
	p.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.SourcesDisagree}
	s := sheetOf(t, r)

	text := dump(&document{words: english(t), Blocks: s.otherLooks()})
	assert.Contains(t, text, "Points taken with two sources")
	assert.Contains(t, text, "LF, LF to A")
	assert.Contains(t, text, "MW, MW to A")
	assert.Contains(t, text, "fail: error outside the limit")
	assert.Contains(t, text, "not judged: sources disagree")
	assert.Contains(t, strings.Join(strings.Fields(strings.Join(pdftotext(t, pdfOf(t, s)), " ")), " "), "Points taken with two sources")

	var b strings.Builder
	require.NoError(t, s.CSV(&b))
	rows, err := csv.NewReader(strings.NewReader(b.String())).ReadAll()
	require.NoError(t, err)
	at := map[string]string{}
	for k, name := range rows[0] {
		at[name] = rows[3][k]
	}
	assert.Equal(t, "LF", at["source"])
	assert.Equal(t, "pass", at["verdict_alone"])
	assert.Equal(t, "sources disagree", at["reason"])
	assert.Equal(t, "MW", at["other_source"])
	assert.Equal(t, "fail: error outside the limit", at["other_verdict"])
	assert.Equal(t, look.Error.String(), at["other_error_hz"])
	assert.Equal(t, at["readings"], at["other_readings"])

	assert.Nil(t, sheetOf(t, fixture(t, runner.AsLeft)).otherLooks())
}

// A change within the run stands on the first page, in words, and with the point
// in the CSV file.
func TestChangedWithinTheRun(t *testing.T) {
	r := fixture(t, runner.AsFound)
	p := r.Run.Points[2]
	c := runner.Change{Input: "A", Path: p.Point.Path, Point: p.Point.ID, Why: "as closing check", Before: r.Run.Points[4].Point.ID, EarlierAt: p.Finished, LastGoodAt: r.Run.Points[4].Finished,
		LaterAt: r.Run.Finished, Earlier: p.Verdict, Later: decision.Verdict{Word: decision.NotJudged, Reason: decision.PathNotProven}}
	r.Run.Changes = []runner.Change{c}
	r.Run.Warnings = append(r.Run.Warnings, c.String())
	r.Run.Events = append(r.Run.Events, runner.Event{At: r.Run.Finished, Text: "warning: " + c.String()})
	s := sheetOf(t, r)
	assert.NotContains(t, strings.Join(s.trust().Lines, "\n"), "changed", "it has a box of its own")
	assert.Contains(t, strings.Join(s.warnings(), "\n"), c.String())
	page := strings.Join(strings.Fields(pdftotext(t, pdfOf(t, s))[0]), " ")
	assert.Contains(t, page, "As found: changed within the run")
	assert.Contains(t, page, "whether the unit or its signal was lost is not proven")
	assert.Contains(t, page, "What passed did so before the unit changed within the run")
	var b strings.Builder
	require.NoError(t, s.CSV(&b))
	rows, err := csv.NewReader(strings.NewReader(b.String())).ReadAll()
	require.NoError(t, err)
	changed := csvAt("changed_to")
	assert.Equal(t, "changed_to", rows[0][changed])
	assert.Equal(t, "not judged: path not proven", rows[3][changed])
	assert.Empty(t, rows[4][changed])
}

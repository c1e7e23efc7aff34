package sheet

import (
	"encoding/csv"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A sheet without statement of conformity judges nothing in any format, keeps
// each result with its uncertainty, and says why something has no value; the
// record stays as it is (ISO/IEC 17025:2017 7.8.6: a statement only where one is
// asked for).
func TestBareSheetJudgesNothing(t *testing.T) {
	found, left := withOutcomes(t, runner.AsFound), withOutcomes(t, runner.AsLeft)
	judged := textOf(t, sheetOf(t, found, left))
	left.Job.Conformity = "no"
	before, err := left.Encode()
	require.NoError(t, err)
	for _, records := range [][]record.Record{{found, left}, {left}} {
		s := sheetOf(t, records...)
		for name, text := range map[string]string{"text": textOf(t, s), "dump": dump(s.build()), "pdf": strings.Join(pdftotext(t, pdfOf(t, s)), "")} {
			for _, word := range []string{"within tolerance", "outside tolerance", "fail", "conditional", "limit", "■", "▲", "guard band", "TUR", "not judged", "erdict"} {
				if name == "text" && word != "limit" && word != "erdict" {
					require.Contains(t, judged, word, "the other kind of sheet has it")
				}
				for _, line := range strings.Split(text, "\n") {
					if strings.Contains(line, "failure of its own") || strings.Contains(line, "within the limit all the same") || strings.Contains(line, "2026-03-05 ■") || strings.Contains(line, "the limit allows the") {
						continue // what a setting is, what a second look is for, a standard overdue, an unknown date of adjustment
					}
					assert.NotContains(t, line, word, name)
				}
			}
			require.Contains(t, text, "No statement of conformity", name)
			if len(records) > 1 {
				require.Contains(t, text, "no count", name)
			}
			require.Contains(t, text, "U (k", name)
		}
		rows, err := csv.NewReader(strings.NewReader(csvOf(t, s))).ReadAll()
		require.NoError(t, err)
		for _, row := range rows[1:] {
			for _, name := range judgedColumns {
				require.Empty(t, row[csvAt(name)], name)
			}
		}
	}
	after, err := left.Encode()
	require.NoError(t, err)
	require.Equal(t, string(before), string(after), "the record keeps verdicts and limits")
}

// A unit that is not released, a limited scope and a due date stand on the first
// page; a due date that nobody agreed to stands nowhere (ISO/IEC 17025:2017
// 7.8.4.3).
func TestScopeReleaseAndDueDate(t *testing.T) {
	job, err := procedures.LoadJob("job.toml", []byte("schema = \"bandproof job 1\"\ndue = \"2027-11-26\"\ndue_agreed = \"Ms Example\"\n[[limited]]\nwhat = \"input C above 3 GHz\"\nwhy = \"not used\"\nagreed = \"Ms Example, 2026-11-20\""))
	require.NoError(t, err)
	first := func(change func(*record.Record)) string {
		r := fixture(t, runner.AsFound)
		change(&r)
		return strings.Join(strings.Fields(pdftotext(t, pdfOf(t, sheetOf(t, r)))[0]), " ")
	}
	page := first(func(r *record.Record) {
		r.Job.Due, r.Job.DueAgreed, r.Job.Limited = job.Due, job.DueAgreed, job.Limited
	})
	require.Contains(t, page, "Limited scope: not part of this calibration")
	require.Contains(t, page, "input C above 3 GHz: not used (agreed: Ms Example, 2026-11-20)")
	require.Contains(t, page, "2027-11-26, as agreed with")
	require.NotContains(t, first(func(r *record.Record) { r.Job.Due = job.Due }), "2027-11-26")
	page = first(func(r *record.Record) { r.Job.NotReleased = "transformer beyond repair" })
	require.Contains(t, page, "Not released")
	require.Contains(t, page, "The unit is not released as calibrated: transformer beyond repair. This sheet reports how it was received, and nothing else.")
	require.Contains(t, first(func(r *record.Record) { r.Job.Unaltered = true }), "the as-found results are the as-left results as well")
}

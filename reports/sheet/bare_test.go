package sheet

import (
	"encoding/csv"
	"strings"
	"testing"

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
					if strings.Contains(line, "failure of its own") || strings.Contains(line, "within the limit all the same") || strings.Contains(line, "2026-03-05 ■") {
						continue // what a setting is, what a second look is for, a standard overdue
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

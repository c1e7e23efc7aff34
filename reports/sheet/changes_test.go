package sheet

import (
	"strings"
	"testing"

	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// Each point with a value in both runs has its change, and the sign exactly where
// that is larger than the root of the sum of the squares of both U (JCGM
// 100:2008 5.1.2, independent inputs).
func TestChangesFromFoundToLeft(t *testing.T) {
	found, left := fixture(t, runner.AsFound), fixture(t, runner.AsLeft)
	s := sheetOf(t, left, found)
	rows := map[string][]cell{}
	for _, b := range s.build().Blocks {
		if x, ok := b.(*table); ok && strings.Contains(x.Title, "changes from as found to as left") {
			for _, row := range x.Rows {
				rows[row[0].Text] = row
			}
		}
	}
	both, moved := 0, 0
	for _, p := range found.Run.Points {
		for _, q := range left.Run.Points {
			if p.Point.ID != q.Point.ID || p.Counted == 0 || q.Counted == 0 {
				continue
			}
			both++
			row := rows[p.Point.ID]
			require.NotNil(t, row, p.Point.ID)
			change := q.Error.Float() - p.Error.Float()
			u := p.Reported.Expanded*p.Reported.Expanded + q.Reported.Expanded*q.Reported.Expanded
			require.Equal(t, change*change > u, row[2].Text == changedSign, "%s: %g, U² %g", p.Point.ID, change, u)
			if row[2].Text != "" {
				moved++
			}
		}
	}
	require.Len(t, rows, both)
	require.Greater(t, both, moved)
	require.Positive(t, moved)
	for _, one := range []*Sheet{sheetOf(t, found), sheetOf(t, left), sheetOf(t, found, afterRepair(t))} {
		require.NotContains(t, dump(one.build()), "changes from as found to as left")
	}
}

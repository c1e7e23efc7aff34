package sheet

import (
	"bytes"
	"strings"
	"testing"

	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// What was amended, replaced or withdrawn is told first, and what must not be
// relied on is told on each page (ISO/IEC 17025:2017 7.8.8).
func TestAmendedReplacedAndWithdrawn(t *testing.T) {
	old := fixture(t, runner.AsLeft)
	amended := old
	amended.ID = "new"
	amended.Corrects = &record.Correction{ID: old.ID, Reason: "misspelt", Who: "A. B.", Changes: []record.Change{{Path: "/job/customer", Old: "Old Name", New: "New Name"}, {Path: "/job/limited/0/why", New: "asked"}}}
	withdrawn := old
	withdrawn.ID = "gone"
	withdrawn.Corrects = &record.Correction{ID: old.ID, Reason: "wrong cable", Who: "A. B.", Withdrawn: true}
	for name, c := range map[string]struct {
		r      record.Record
		by     map[string]record.Record
		banner string
		alert  bool
		says   []string
		csv    string
	}{
		"amended": {amended, nil, "", false, []string{"amended record; it takes the place of record " + old.ID, "by A. B.; reason: misspelt",
			`Customer: "Old Name" became "New Name"`, `limited/0/why: "not stated" became "asked"`, "All that was measured is as it was."}, "in place of " + old.ID},
		"replaced":   {old, map[string]record.Record{old.ID: amended}, "REPLACED: ", true, []string{"replaced by record new", "reason: misspelt", "New Name"}, "replaced by new"},
		"withdrawn":  {withdrawn, nil, "WITHDRAWN: ", true, []string{"withdrawn; this record takes the place of record " + old.ID, "must not be relied on", "wrong cable"}, "withdrawn; in place of " + old.ID},
		"taken back": {old, map[string]record.Record{old.ID: withdrawn}, "WITHDRAWN: ", true, []string{"withdrawn by record gone", "wrong cable"}, "withdrawn by gone"},
	} {
		s, err := New(c.r)
		require.NoError(t, err, name)
		s = s.Replaced(c.by)
		d := s.build()
		require.Equal(t, c.banner != "", strings.Contains(d.Invented, c.banner) && strings.Contains(d.Invented, "must not be relied on") || strings.Contains(d.Invented, "stands in a newer record"), name)
		n, ok := d.Blocks[0].(*notice)
		require.True(t, ok, name)
		require.Equal(t, c.alert, n.Alert, name)
		for _, want := range c.says {
			require.Contains(t, n.Title+"\n"+strings.Join(n.Lines, "\n"), want, name)
		}
		var text, page bytes.Buffer
		require.NoError(t, s.Text(&text), name)
		require.Contains(t, text.String(), c.banner, name)
		require.NoError(t, s.HTML(&page), name)
		require.Contains(t, page.String(), c.banner, name)
		for _, row := range strict(t, csvOf(t, s))[1:] {
			require.Equal(t, c.csv, strings.TrimPrefix(row[csvAt("standing")], "invented; "), name)
		}
	}
	s, err := New(old)
	require.NoError(t, err)
	require.Empty(t, s.standing())
}

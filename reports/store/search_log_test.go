package store_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"bandproof/reports/store"
	"bandproof/runner"
	"bandproof/runner/isolate"
	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// someEntries are a look and its revocation, of a record.
func someEntries(record string) []isolate.Entry {
	at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	margin := 6.5
	seen := isolate.Observation{ID: "TP7", TestPoint: "TP7", Input: "B", Frequency: 1.28e9, Kind: symptom.None, Margin: &margin, Powered: 1800, Says: "TP7: nothing"}
	return []isolate.Entry{
		{ID: record + "-1", Record: record, Kind: isolate.Looked, At: at, Who: "A. Example", Text: "TP7: nothing", Seen: &seen},
		{ID: record + "-2", Record: record, Kind: isolate.Prepared, At: at.Add(time.Second), Text: "input board out"},
		{ID: record + "-3", Record: record, Kind: isolate.Revoked, At: at.Add(time.Minute), Text: "1: TP7: nothing", Revokes: record + "-1"},
		{ID: record + "-4", Record: record, Kind: isolate.Closed, At: at.Add(time.Hour), Text: "B limiter: shorted"},
	}
}

// Entries come back as they were kept, those of each record apart, and stand in
// the bench log.
func entries(t *testing.T, place empty) {
	s := open(t, place(t))
	for _, record := range []string{"one", "two"} {
		for _, e := range someEntries(record) {
			require.NoError(t, s.KeepEntry(t.Context(), "S-"+record, "sum", e))
		}
	}
	got, err := s.Entries(t.Context(), "two")
	require.NoError(t, err)
	require.Equal(t, someEntries("two"), got)
	got, err = s.Entries(t.Context(), "three")
	require.NoError(t, err)
	require.Empty(t, got)

	log, err := s.BenchLog(t.Context(), "S-one")
	require.NoError(t, err)
	require.Len(t, log, 4)
	look := log[3]
	require.Equal(t, "look", look.What)
	require.Equal(t, "one", look.Record)
	require.Equal(t, "A. Example", look.Who)
	require.Equal(t, "TP7: nothing", look.Text)
	require.Equal(t, "B", look.Input)
	require.Equal(t, "1.28 GHz", look.Frequency.String())
	require.Equal(t, look.Began, look.Ended)
	require.Empty(t, look.AsFound)

	// They are no adjustments, and make nothing due.
	add(t, s, some("one", "S-one", runner.AsFound, time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)))
	list, err := s.Adjustments(t.Context(), "S-one", "sum", time.Time{}, time.Now())
	require.NoError(t, err)
	require.Empty(t, list)
	rows, err := s.List(t.Context(), store.Query{})
	require.NoError(t, err)
	require.False(t, rows[0].Due)
}

func TestEntriesInAFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a.jsonl")
	got, err := store.ReadEntries(file, "one")
	require.NoError(t, err)
	require.Empty(t, got)
	for k, e := range someEntries("one") {
		require.NoError(t, store.AppendEntry(file, e))
		got, err = store.ReadEntries(file, "one")
		require.NoError(t, err)
		require.Equal(t, someEntries("one")[:k+1], got)
	}
	_, err = store.ReadEntries(file, "two")
	require.ErrorContains(t, err, "line 1: is about record one, not two")
	whole, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, whole[:len(whole)-2], 0o644))
	_, err = store.ReadEntries(file, "one")
	require.ErrorContains(t, err, "line 4: is cut off")
	for _, bad := range []string{"x\n", "{}\n", `{"what":"hold"}` + "\n", `{"what":"look","colour":"red"}` + "\n"} {
		require.NoError(t, os.WriteFile(file, []byte(bad), 0o644))
		_, err = store.ReadEntries(file, "one")
		require.ErrorContains(t, err, "line 1: is no entry of isolate: ", bad)
		require.NotContains(t, err.Error(), "%!")
	}
	_, err = store.ReadEntries(t.TempDir(), "one")
	require.ErrorContains(t, err, "is no file of at most")
	require.Error(t, store.AppendEntry(t.TempDir(), isolate.Entry{}))
}

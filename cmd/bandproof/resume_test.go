package main

import (
	"path/filepath"
	"testing"
	"time"

	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// Two processes that read the journal of one interrupted run before either had
// claimed it: the second one finds that it has moved, and takes nothing twice.
func TestResumeOfAJournalThatHasMoved(t *testing.T) {
	st, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "bandproof.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	at := time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC)
	h := store.Header{ID: "run-1", Kind: runner.AsFound, Started: at}
	j, err := st.Begin(t.Context(), h)
	require.NoError(t, err)
	require.NoError(t, j.Event(t.Context(), runner.Event{At: at, Text: "begun"}))
	earlier, err := st.Earlier(t.Context(), h.ID)
	require.NoError(t, err)
	r := &resumed{header: h, earlier: earlier}
	require.NoError(t, r.unmoved(t.Context(), st))
	require.NoError(t, j.Event(t.Context(), runner.Event{At: at, Text: "gone on by another process"}))
	require.ErrorIs(t, r.unmoved(t.Context(), st), store.ErrNotInterrupted)
}

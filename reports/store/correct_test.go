package store_test

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// corrected keeps a correction of a record's customer, or its withdrawal.
func corrected(t *testing.T, s *store.Store, old record.Record, id, customer string) record.Record {
	t.Helper()
	job := old.Job
	if customer != "" {
		job.Customer = customer
	}
	r, err := old.Correct(id, old.Created.Add(1000*time.Hour), job, "a reason", "A. B.", customer == "")
	require.NoError(t, err)
	add(t, s, r)
	return r
}

// A run stands beside the newest correction of the record before it, never
// beside what was corrected or withdrawn; a late correction of an old record
// does not make it the newest run.
func TestBeforeTakesTheNewestCorrection(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "s.db"))
	at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	run := func(id string, kind runner.Kind, hour int) record.Record {
		r := some(id, "1", kind, at.Add(time.Duration(hour)*time.Hour))
		r.Run.Complete, r.Run.Started, r.Run.Finished = true, r.Created, r.Created
		add(t, s, r)
		return r
	}
	first, second := run("first", runner.AsFound, 0), run("second", runner.AsFound, 10)
	before := func() string {
		list, err := s.Before(t.Context(), runner.AsLeft, "1", first.Procedure.SHA256, at.Add(5000*time.Hour))
		require.NoError(t, err)
		require.LessOrEqual(t, len(list), 1)
		if len(list) == 0 {
			return ""
		}
		return list[0].ID
	}
	require.Equal(t, "second", before())
	corrected(t, s, first, "first-c", "Right")
	require.Equal(t, "second", before(), "a correction of an older run is no newer run")
	c := corrected(t, s, second, "second-c", "Right")
	require.Equal(t, "second-c", before())
	c = corrected(t, s, c, "second-cc", "Righter")
	require.Equal(t, "second-cc", before())
	newest, err := s.Newest(t.Context(), "second")
	require.NoError(t, err)
	require.Equal(t, "second-cc", newest.ID)
	corrected(t, s, c, "second-w", "")
	require.Equal(t, "first-c", before(), "the withdrawn one is none")
	rows, err := s.List(t.Context(), store.Query{Serial: "1"})
	require.NoError(t, err)
	by, withdrawn := map[string]string{}, []string{}
	for _, r := range rows {
		by[r.ID] = r.CorrectedBy
		if r.Withdrawn {
			withdrawn = append(withdrawn, r.ID)
		}
	}
	require.ElementsMatch(t, []string{"second-cc", "second-w"}, withdrawn)
	require.Equal(t, map[string]string{"first": "first-c", "first-c": "", "second": "second-c", "second-c": "second-cc", "second-cc": "second-w", "second-w": ""}, by)
	require.True(t, verified(t, s, record.Expect{}).Holds())

	again, err := second.Correct("late", at.Add(2000*time.Hour), c.Job, "r", "w", false)
	require.NoError(t, err)
	_, err = s.Add(t.Context(), again, testKey, again.Created, nil)
	require.ErrorIs(t, err, store.ErrCorrected)
	require.ErrorContains(t, err, "record second-c stands in its place")
}

// A correction that changes what was measured is properly sealed, and found all
// the same.
func TestVerifyFindsACorrectionThatDoesMore(t *testing.T) {
	s, _, _ := sealedStore(t, 1)
	old, err := s.Record(t.Context(), "rec-1")
	require.NoError(t, err)
	job := old.Job
	job.Customer = "D"
	r, err := old.Correct("rec-1-c", old.Created, job, "r", "w", false)
	require.NoError(t, err)
	r.Run.Warnings = []string{"all is well"}
	add(t, s, r)
	v := verified(t, s, record.Expect{})
	require.Contains(t, fmt.Sprint(v.Findings), "corrects record rec-1, but differs from it in /run/warnings")
}

package store_test

import (
	"crypto/ed25519"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

func open(t testing.TB, file string) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// testKey signs what tests keep.
var testKey = ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))

func add(t testing.TB, s *store.Store, r record.Record) {
	t.Helper()
	_, err := s.Add(t.Context(), r, testKey, r.Created, nil)
	require.NoError(t, err)
}

func some(id, serial string, kind runner.Kind, at time.Time) record.Record {
	return record.Record{Schema: record.Schema, ID: id, Created: at, Model: "Test Counter", Job: procedures.Job{Serial: serial, Asset: "A-" + serial, Customer: "C"},
		Procedure: procedure("this"), Bench: procedure("bench"), Run: runner.Result{ID: id, Kind: kind, Statement: runner.Outside}}
}

func procedure(text string) record.Source {
	return record.NewSource(text+".toml", text, "1", []byte(text))
}

func recordsComeBackWhole(t *testing.T, place empty) {
	s := open(t, place(t))
	at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	for _, r := range []record.Record{some("aaa-1", "1", runner.AsFound, at), some("aab-2", "1", runner.AsLeft, at.Add(time.Hour)), some("b-3", "2", runner.AsFound, at.Add(2*time.Hour))} {
		add(t, s, r)
	}
	rows, err := s.List(t.Context(), store.Query{})
	require.NoError(t, err)
	require.Equal(t, []string{"b-3", "aab-2", "aaa-1"}, []string{rows[0].ID, rows[1].ID, rows[2].ID}, "newest first")
	for _, c := range []struct {
		q    store.Query
		want int
	}{{store.Query{Serial: "1"}, 2}, {store.Query{Serial: "1", Kind: "as-left"}, 1}, {store.Query{Asset: "A-2"}, 1}, {store.Query{Customer: "C"}, 3}, {store.Query{Serial: "' OR 1=1 --"}, 0}} {
		rows, err := s.List(t.Context(), c.q)
		require.NoError(t, err)
		require.Len(t, rows, c.want, "%+v", c.q)
	}
	for _, id := range []string{"aab-2", "aaa", "2"} {
		got, err := s.Record(t.Context(), id)
		require.NoError(t, err, id)
		require.Contains(t, got.ID, id)
	}
	got, err := s.Record(t.Context(), "b")
	require.NoError(t, err)
	require.Equal(t, some("b-3", "2", runner.AsFound, at.Add(2*time.Hour)), got)
	for _, id := range []string{"aa", "zzz", "", "a%", "aaa_1"} {
		_, err := s.Record(t.Context(), id)
		require.ErrorIs(t, err, store.ErrNotFound, id)
		require.ErrorIs(t, err, store.ErrStore, id)
	}
}

// An adjustment makes an as-left run due until there is one; tries are kept as
// they come, also of one that was cut off.
func benchLog(t *testing.T, place empty) {
	s := open(t, place(t))
	at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	found := some("found", "1", runner.AsFound, at)
	add(t, s, found)
	sum := found.Procedure.SHA256
	due := func() bool {
		rows, err := s.List(t.Context(), store.Query{Kind: "as-found"})
		require.NoError(t, err)
		return rows[0].Due
	}
	require.False(t, due())
	got, ok, err := s.AsFound(t.Context(), "1", sum)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, "found", got.ID)
	_, ok, err = s.AsFound(t.Context(), "2", sum)
	require.NoError(t, err)
	require.False(t, ok)

	require.NoError(t, s.KeepHold(t.Context(), store.Held{ID: "h", Serial: "1", Procedure: sum, Held: runner.Held{Started: at}}))
	require.False(t, due(), "a hold changes nothing")
	a := record.Adjustment{ID: "a", AsFound: "found", Serial: "1", Procedure: sum, Started: at.Add(time.Hour), Tries: []runner.Try{}}
	require.NoError(t, s.KeepAdjustment(t.Context(), a))
	require.True(t, due())
	one := runner.Try{Began: a.Started, Ended: a.Started.Add(time.Minute), After: &runner.Settled{PPM: 0.1, Readings: 3}, Note: "a turn"}
	require.NoError(t, s.KeepTry(t.Context(), a, one))
	list, err := s.Adjustments(t.Context(), "1", sum, at, at.Add(2*time.Hour))
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.Len(t, list[0].Tries, 1)
	require.Equal(t, one.Note, list[0].Tries[0].Note)
	require.Equal(t, one.After.PPM, list[0].Tries[0].After.PPM)
	require.True(t, list[0].Finished.IsZero(), "cut off")

	whole := a
	whole.Finished, whole.Ended, whole.Tries = a.Started.Add(time.Hour), "ended by the person", []runner.Try{one, one}
	require.NoError(t, s.KeepAdjustment(t.Context(), whole))
	list, err = s.Adjustments(t.Context(), "1", sum, at, at.Add(2*time.Hour))
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.Len(t, list[0].Tries, 2)
	require.Equal(t, whole.Ended, list[0].Ended)
	require.Equal(t, whole.Finished, list[0].Finished)
	for _, none := range [][2]time.Time{{at.Add(90 * time.Minute), at.Add(2 * time.Hour)}, {at, at.Add(30 * time.Minute)}} {
		list, err = s.Adjustments(t.Context(), "1", sum, none[0], none[1])
		require.NoError(t, err)
		require.Empty(t, list)
	}
	add(t, s, some("left", "1", runner.AsLeft, at.Add(3*time.Hour)))
	require.False(t, due())
}

func TestNothingIsEverChanged(t *testing.T) {
	file := filepath.Join(t.TempDir(), "s.db")
	s := open(t, file)
	r := some("one", "1", runner.AsFound, time.Now())
	add(t, s, r)
	_, err := s.Add(t.Context(), r, testKey, r.Created, nil)
	require.ErrorIs(t, err, store.ErrStore, "the same id twice")
	j, err := s.Begin(t.Context(), store.Header{ID: "run"})
	require.NoError(t, err)
	require.NoError(t, j.Event(t.Context(), runner.Event{Text: "x"}))
	require.NoError(t, s.KeepHold(t.Context(), store.Held{ID: "h"}))
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	for _, q := range []string{"UPDATE bench_log SET body = '{}'", "DELETE FROM bench_log", "INSERT OR REPLACE INTO bench_log SELECT seq, entry, what, at, serial, procedure, as_found, '{}' FROM bench_log", "UPDATE record SET body = '{}'", "DELETE FROM record", "UPDATE journal SET body = '{}'", "DELETE FROM journal"} {
		_, err := db.Exec(q)
		require.Error(t, err, q)
	}
}

func journalKeepsPointsInOrderAndTheLastWordOnEach(t *testing.T, place empty) {
	s := open(t, place(t))
	j, err := s.Begin(t.Context(), store.Header{ID: "run", Kind: runner.AsFound})
	require.NoError(t, err)
	for k := range 5 {
		require.NoError(t, j.Point(t.Context(), runner.PointResult{Point: procedures.Point{ID: fmt.Sprint(k)}, Judgement: procedures.Judgement{Verdict: decision.Verdict{Word: decision.Pass}}}))
		require.NoError(t, j.Entry(t.Context(), runner.Entry{Asked: "?"}))
	}
	voided := runner.PointResult{Point: procedures.Point{ID: "2"}, Judgement: procedures.Judgement{Verdict: decision.Verdict{Word: decision.NotJudged, Reason: decision.ReferenceChanged}}}
	require.NoError(t, j.Point(t.Context(), voided))
	points, err := s.Points(t.Context(), "run")
	require.NoError(t, err)
	require.Len(t, points, 5)
	for k, p := range points {
		require.Equal(t, fmt.Sprint(k), p.Point.ID)
		require.Equal(t, k == 2, p.Verdict.Word == decision.NotJudged)
	}
}

func journalKeepsTheLastWordOnAnOutcome(t *testing.T, place empty) {
	s := open(t, place(t))
	j, err := s.Begin(t.Context(), store.Header{ID: "run", Kind: runner.AsFound})
	require.NoError(t, err)
	outcome := func(id string, v decision.Verdict) runner.Outcome {
		return runner.Outcome{Task: procedures.Task{ID: id}, Rows: []runner.Row{{What: "offset", Verdict: v}}}
	}
	void := decision.Verdict{Word: decision.NotJudged, Reason: decision.ReferenceChanged}
	for _, o := range []runner.Outcome{outcome("1", decision.Verdict{Word: decision.Pass}), outcome("2", decision.Verdict{Word: decision.Pass}), outcome("1", void)} {
		require.NoError(t, j.Outcome(t.Context(), o))
	}
	e, err := s.Earlier(t.Context(), "run")
	require.NoError(t, err)
	require.Len(t, e.Outcomes, 2)
	require.Equal(t, "1", e.Outcomes[0].Task.ID)
	require.Equal(t, void, e.Outcomes[0].Rows[0].Verdict)
	require.Equal(t, decision.Pass, e.Outcomes[1].Rows[0].Verdict.Word)
}

func TestFilesThatAreNoStore(t *testing.T) {
	dir := t.TempDir()
	garbage := filepath.Join(dir, "garbage.db")
	require.NoError(t, os.WriteFile(garbage, []byte(strings.Repeat("this is no database ", 100)), 0o644))
	_, err := store.Open(t.Context(), garbage)
	require.ErrorIs(t, err, store.ErrStore)
	require.ErrorContains(t, err, garbage)
	left, err := os.ReadFile(garbage)
	require.NoError(t, err)
	require.Equal(t, strings.Repeat("this is no database ", 100), string(left), "a foreign file is left as it is")

	_, err = store.Open(t.Context(), dir)
	require.ErrorIs(t, err, store.ErrStore)
	_, err = store.Open(t.Context(), filepath.Join(dir, "no", "such", "folder.db"))
	require.ErrorIs(t, err, store.ErrStore)
}

func TestNewerFileIsRefused(t *testing.T) {
	file := filepath.Join(t.TempDir(), "s.db")
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	_, err = db.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (99, 1)")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	_, err = store.Open(t.Context(), file)
	require.ErrorContains(t, err, "newer than this program knows")
}

// A process that is killed right after a point was journaled leaves the point.
func journalSurvivesKill(t *testing.T, place empty) {
	where := place(t)
	c := child("points", where)
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	var said int
	for said < 20 {
		_, err := fmt.Fscan(out, &said)
		require.NoError(t, err)
	}
	require.NoError(t, c.Process.Kill())
	_ = c.Wait()
	points, err := open(t, where).Points(t.Context(), "run")
	require.NoError(t, err)
	require.Greater(t, len(points), said, "point %d was said to be kept", said)
}

func BenchmarkJournal(b *testing.B) {
	s, err := store.Open(b.Context(), filepath.Join(b.TempDir(), "s.db"))
	require.NoError(b, err)
	defer func() { _ = s.Close() }()
	j, err := s.Begin(b.Context(), store.Header{ID: "run"})
	require.NoError(b, err)
	for b.Loop() {
		require.NoError(b, j.Point(b.Context(), runner.PointResult{}))
	}
}

func whatBelongsBeforeARecord(t *testing.T, place empty) {
	s := open(t, place(t))
	at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	for k, r := range []record.Record{some("found-old", "1", runner.AsFound, at), some("found", "1", runner.AsFound, at), some("found-broken-off", "1", runner.AsFound, at), some("repaired", "1", runner.AfterRepair, at),
		some("found-added", "1", runner.AsFound, at), some("left-earlier", "1", runner.AsLeft, at), some("other-unit", "2", runner.AsFound, at), some("other-procedure", "1", runner.AsFound, at)} {
		r.Created = at.Add(time.Duration(k) * time.Hour)
		r.Run.Started, r.Run.Finished, r.Run.Complete = r.Created.Add(-time.Hour/2), r.Created, r.ID != "found-broken-off"
		if r.ID == "found-added" {
			r.Run.Only = []string{"B-001"}
		}
		if r.ID == "other-procedure" {
			r.Procedure = procedure("other")
		}
		add(t, s, r)
	}
	for _, c := range []struct {
		kind   runner.Kind
		serial string
		want   []string
	}{
		{runner.AsFound, "1", nil},
		{runner.AfterRepair, "1", []string{"found"}},
		{runner.AsLeft, "1", []string{"found", "repaired"}},
		{runner.AsLeft, "2", []string{"other-unit"}},
		{runner.AsLeft, "", nil},
	} {
		got, err := s.Before(t.Context(), c.kind, c.serial, procedure("this").SHA256, at.Add(24*time.Hour))
		require.NoError(t, err)
		var ids []string
		for _, r := range got {
			ids = append(ids, r.ID)
		}
		require.Equal(t, c.want, ids, "%s of %q", c.kind, c.serial)
	}
}

func anAsFoundRecordOfLaterDoesNotBelongBefore(t *testing.T, place empty) {
	s := open(t, place(t))
	at := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	r := some("found", "1", runner.AsFound, at.Add(time.Hour))
	r.Run.Finished, r.Run.Complete = at.Add(time.Hour), true
	add(t, s, r)
	got, err := s.Before(t.Context(), runner.AsLeft, "1", procedure("this").SHA256, at)
	require.NoError(t, err)
	require.Empty(t, got)
	got, err = s.Before(t.Context(), runner.AsLeft, "1", procedure("this").SHA256, at.Add(2*time.Hour))
	require.NoError(t, err)
	require.Len(t, got, 1)
}

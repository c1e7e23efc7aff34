package store_test

import (
	"database/sql"
	"encoding/json"
	"path/filepath"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

func at(minute int) time.Time { return time.Date(2026, 11, 25, 22, minute, 0, 0, time.UTC) }

func taken(id string, word decision.Word, minute int) runner.PointResult {
	return runner.PointResult{Point: procedures.Point{ID: id}, Judgement: procedures.Judgement{Verdict: decision.Verdict{Word: word}}, Finished: at(minute)}
}

// What a run tells its journal comes back when the run is to go on: the last word
// on each point, what is put off, how the run stood at the last point, and where
// each session ended.
func earlierIsWhatTheRunTold(t *testing.T, place empty) {
	s := open(t, place(t))
	ctx := t.Context()
	j, err := s.Begin(ctx, store.Header{ID: "run", Kind: runner.AsFound, Started: at(0), Job: procedures.Job{Customer: "C"}, Plan: "ab"})
	require.NoError(t, err)
	standing := func(from int) {
		require.NoError(t, j.Standing(ctx, runner.Standing{Result: runner.Result{ID: "run", Warnings: []string{"w"}}, At: &runner.Place{Path: "P", From: from}}))
	}
	require.NoError(t, j.Session(ctx, runner.Session{Began: at(0)}))
	standing(0)
	require.NoError(t, j.Point(ctx, taken("B-001", decision.Pass, 1)))
	require.NoError(t, j.PutOff(ctx, runner.PutOff{Result: taken("B-002", "", 2), So: taken("B-002", decision.NotJudged, 2)}))
	require.NoError(t, j.PutOff(ctx, runner.PutOff{Result: taken("B-003", "", 3), So: taken("B-003", decision.NotJudged, 3), NoCount: true}))
	require.NoError(t, j.Entry(ctx, runner.Entry{At: at(4), Asked: "?", Answer: "!"}))
	standing(7) // never kept: nothing follows it
	require.NoError(t, s.Journal("run").Session(ctx, runner.Session{Began: at(30)}))
	j = s.Journal("run")
	require.NoError(t, j.Event(ctx, runner.Event{At: at(31), Text: "resumed"}))
	require.NoError(t, j.Point(ctx, taken("B-002", decision.Pass, 32)))
	require.NoError(t, j.Point(ctx, taken("B-001", decision.NotJudged, 33))) // voided
	require.NoError(t, j.Step(ctx, "t-1", json.RawMessage(`1`)))
	require.NoError(t, j.Step(ctx, "t-1", json.RawMessage(`2`)))
	require.NoError(t, j.Outcome(ctx, runner.Outcome{Task: procedures.Task{ID: "t-0"}, Finished: at(34)}))

	e, err := s.Earlier(ctx, "run")
	require.NoError(t, err)
	require.Len(t, e.Points, 2)
	require.Equal(t, []string{"B-001", "B-002"}, []string{e.Points[0].Point.ID, e.Points[1].Point.ID}, "at the place of the first word")
	require.Equal(t, decision.NotJudged, e.Points[0].Verdict.Word, "the last word counts")
	require.Len(t, e.PutOff, 1)
	require.Equal(t, "B-003", e.PutOff[0].Result.Point.ID)
	require.True(t, e.PutOff[0].NoCount)
	require.Equal(t, 0, e.Standing.At.From, "what was told without a point after it was not kept")
	require.Equal(t, []string{"w"}, e.Standing.Result.Warnings)
	require.Equal(t, []runner.Session{{Began: at(0), Ended: at(4), How: "cut off"}, {Began: at(30)}}, e.Sessions)
	require.Equal(t, at(34), e.Last)
	require.Len(t, e.Outcomes, 1)
	require.Equal(t, []json.RawMessage{json.RawMessage(`1`), json.RawMessage(`2`)}, e.Steps["t-1"])
	require.False(t, e.Finished())

	list, err := s.Interrupted(ctx)
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.Equal(t, "C", list[0].Header.Job.Customer)
	require.Equal(t, 2, list[0].Points)
	require.NoError(t, j.Session(ctx, runner.Session{Began: at(30), Ended: at(35), How: "finished"}))
	e, err = s.Earlier(ctx, "run")
	require.NoError(t, err)
	require.True(t, e.Finished(), "only the record is missing")
	add(t, s, some("run", "1", runner.AsFound, at(36)))
	list, err = s.Interrupted(ctx)
	require.NoError(t, err)
	require.Empty(t, list, "a run with a record is over")
}

// One run whose journal is damaged keeps nobody from going on with the others.
func TestDamagedJournal(t *testing.T) {
	file := filepath.Join(t.TempDir(), "s.db")
	s := open(t, file)
	ctx := t.Context()
	for _, id := range []string{"row", "head", "good", "early"} {
		j, err := s.Begin(ctx, store.Header{ID: id, Kind: runner.AsFound, Started: at(0), Program: "1"})
		require.NoError(t, err)
		if id != "early" {
			require.NoError(t, j.Session(ctx, runner.Session{Began: at(1)}))
			require.NoError(t, j.Point(ctx, taken("B-001", decision.Pass, 2)))
		}
	}
	require.NoError(t, s.Close())
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	// As a failing disk does it: past the triggers.
	for _, do := range []string{"PRAGMA writable_schema = ON", "DELETE FROM sqlite_master WHERE type = 'trigger'"} {
		_, err = db.ExecContext(ctx, do)
		require.NoError(t, err)
	}
	require.NoError(t, db.Close())
	db, err = sql.Open("sqlite", file)
	require.NoError(t, err)
	for _, do := range []string{`UPDATE journal SET body = '{"point":' WHERE run = 'row' AND what = 'point'`, `UPDATE run SET header = '{' WHERE id = 'head'`} {
		_, err = db.ExecContext(ctx, do)
		require.NoError(t, err)
	}
	require.NoError(t, db.Close())

	s = open(t, file)
	list, err := s.Interrupted(ctx)
	require.NoError(t, err)
	damaged := map[string]bool{}
	for _, i := range list {
		damaged[i.Header.ID] = i.Damage != nil
	}
	require.Equal(t, map[string]bool{"row": true, "head": true, "good": false, "early": false}, damaged)
	_, err = s.Find(ctx, "good")
	require.NoError(t, err)
	_, err = s.Find(ctx, "row")
	require.ErrorContains(t, err, "its journal is damaged")
	e, err := s.Earlier(ctx, "early")
	require.NoError(t, err)
	require.Equal(t, []runner.Session{{Began: at(0), Program: "1"}}, e.Sessions, "killed before it said that it had begun")
	require.Equal(t, at(0), e.Last)
}

package store

import (
	"context"
	"crypto/ed25519"
	"database/sql"
	"encoding/json"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
)

// bare is SQLite alone, as durable as the store: the same driver, log and sync, on
// the same disk, one row a transaction.
func bare(b *testing.B, dir string) *sql.DB {
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "bare.db")+"?_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_txlock=immediate")
	require.NoError(b, err)
	db.SetMaxOpenConns(1)
	b.Cleanup(func() { _ = db.Close() })
	_, err = db.Exec("CREATE TABLE entry (seq INTEGER PRIMARY KEY AUTOINCREMENT, run TEXT NOT NULL, body BLOB NOT NULL, seal TEXT NOT NULL); CREATE INDEX entry_run ON entry (run, seq)")
	require.NoError(b, err)
	return db
}

func insertBare(ctx context.Context, db *sql.DB, run string, body any, seal string) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "INSERT INTO entry (run, body, seal) VALUES ($1, $2, $3)", run, body, seal); err != nil {
		return err
	}
	return tx.Commit()
}

// against times both in turn, so that whatever else the machine does strikes both,
// and reports how much of the bare rate the store reaches.
func against(b *testing.B, ours, bare func(k int) error) {
	var us, them time.Duration
	k := 0
	timed := func(do func(int) error) time.Duration {
		at := time.Now()
		require.NoError(b, do(k))
		return time.Since(at)
	}
	for b.Loop() {
		if k%2 == 0 {
			us, them = us+timed(ours), them+timed(bare)
		} else {
			them, us = them+timed(bare), us+timed(ours)
		}
		k++
	}
	b.ReportMetric(float64(them)/float64(us), "ratio")
	b.ReportMetric(float64(us.Microseconds())/float64(k), "µs/store")
	b.ReportMetric(float64(them.Microseconds())/float64(k), "µs/bare")
}

// BenchmarkAppendAgainstBareSQLite: asked for is a ratio of at least 0.7. SQLite
// alone gets the same bytes, finished: the text of a point, or a packed record and its seal.
// The store's share is all that it does beyond that: for a point making its text;
// for a record its place in the chain, seal, signature, and the lines for lists
// and searches. Making a record (canonical JSON, hashes of its parts, packing) is
// timed by itself: it is done before anybody has to wait for it.
func BenchmarkAppendAgainstBareSQLite(b *testing.B) {
	r := sample(b, 60)
	key := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	b.Run("points", func(b *testing.B) {
		dir := b.TempDir()
		s, err := Open(b.Context(), filepath.Join(dir, "s.db"))
		require.NoError(b, err)
		defer func() { require.NoError(b, s.Close()) }()
		j, err := s.Begin(b.Context(), Header{ID: "run"})
		require.NoError(b, err)
		db := bare(b, dir)
		text, err := json.Marshal(r.Run.Points[0])
		require.NoError(b, err)
		against(b, func(int) error { return j.Point(b.Context(), r.Run.Points[0]) },
			func(int) error { return insertBare(b.Context(), db, "run", string(text), "") })
	})
	b.Run("records", func(b *testing.B) {
		dir := b.TempDir()
		s, err := Open(b.Context(), filepath.Join(dir, "s.db"))
		require.NoError(b, err)
		defer func() { require.NoError(b, s.Close()) }()
		ready, err := prepare(r)
		require.NoError(b, err)
		sealed, err := ready.draft.Seal(record.Link{Chain: "c", Number: 1}, time.Now(), key)
		require.NoError(b, err)
		db := bare(b, dir)
		against(b, func(k int) error {
			x := ready
			x.record.ID = fmt.Sprintf("record-%d", k)
			_, err := s.append(b.Context(), x, key, time.Now(), nil)
			return err
		}, func(k int) error {
			return insertBare(b.Context(), db, fmt.Sprint(k), ready.packed, string(sealed.SealBytes))
		})
	})
	b.Run("making a record", func(b *testing.B) {
		for b.Loop() {
			_, err := prepare(r)
			require.NoError(b, err)
		}
	})
}

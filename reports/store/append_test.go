package store

import (
	"context"
	"crypto/ed25519"
	"database/sql"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
)

// bare is SQLite alone, as durable as the store: the same driver, log and sync, on
// the same disk. It has the tables and indexes of the store, but nothing that
// guards them: no triggers, no keys to other tables, no checks of pages.
func bare(b *testing.B, s *Store, dir string) *sql.DB {
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "bare.db")+"?_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_txlock=immediate")
	require.NoError(b, err)
	db.SetMaxOpenConns(1)
	b.Cleanup(func() { _ = db.Close() })
	require.NoError(b, s.each(b.Context(), func(scan func(...any) error) error {
		var statement string
		if err := scan(&statement); err != nil {
			return err
		}
		_, err := db.Exec(statement)
		return err
	}, "SELECT sql FROM sqlite_schema WHERE sql <> '' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\' AND (type = 'table' OR type = 'index') ORDER BY type DESC"))
	_, err = db.Exec("CREATE TABLE entry (seq INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, body BLOB NOT NULL, seal TEXT NOT NULL, signature BLOB NOT NULL)")
	require.NoError(b, err)
	return db
}

// insert prepares an INSERT, so that only its execution is timed.
func insert(b *testing.B, db *sql.DB, table string, columns int) *sql.Stmt {
	places := ""
	for k := range columns {
		places += fmt.Sprintf(", $%d", k+1)
	}
	p, err := db.Prepare("INSERT INTO " + table + " VALUES (" + places[2:] + ")")
	require.NoError(b, err)
	b.Cleanup(func() { _ = p.Close() })
	return p
}

// side is one that takes part in a comparison.
type side struct {
	name string
	do   func(k int) error
}

// against times all sides in turn, so that whatever else the machine does strikes
// each, and reports how much of the rate of the others the first one reaches: over
// all of the time, and by the medians, which the disk's other work moves less.
// ready, which is not timed, makes what the k-th turn is given.
func against(b *testing.B, ready func(k int), sides ...side) {
	took := make([][]time.Duration, len(sides))
	for k := 0; b.Loop(); k++ {
		ready(k)
		for n := range sides {
			n = (n + k) % len(sides)
			at := time.Now()
			require.NoError(b, sides[n].do(k))
			took[n] = append(took[n], time.Since(at))
		}
	}
	whole, median := make([]float64, len(sides)), make([]float64, len(sides))
	for n, x := range sides {
		for _, d := range took[n] {
			whole[n] += float64(d.Nanoseconds()) / 1000
		}
		slices.Sort(took[n])
		median[n] = float64(took[n][len(took[n])/2].Nanoseconds()) / 1000
		b.ReportMetric(median[n], "µs-median-"+x.name)
		if n > 0 {
			b.ReportMetric(whole[n]/whole[0], "ratio-"+x.name)
			b.ReportMetric(median[n]/median[0], "ratio-median-"+x.name)
		}
	}
}

// BenchmarkAppendAgainstBareSQLite: asked for is a ratio of at least 0.7. SQLite
// alone keeps the same content, as durably, in the quickest way that this driver has:
// rows that are finished, by statements that are prepared. For a point that is one row, which is a transaction by
// itself; for a record one row of each table that finds it again, with the same
// indexes, in one transaction, since what is not found again is not kept the same. The
// store's share is all that it does beyond that: the text of a point; a record's place
// in the chain, seal and signature; that its run is open no longer; and the guards
// (triggers, keys to other tables), which SQLite alone does without.
//
// A record that nothing finds again but its id would be one row: ratio-one-row tells
// what chain, seal and search cost together. Making a record (canonical JSON, hashes of its parts, packing) is timed by itself:
// it is done before anybody has to wait for it. As in the program, a write that has begun is not given up.
func BenchmarkAppendAgainstBareSQLite(b *testing.B) {
	r := sample(b, 60)
	key := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	ctx := context.WithoutCancel(b.Context())
	b.Run("points", func(b *testing.B) {
		dir := b.TempDir()
		s, err := Open(ctx, filepath.Join(dir, "s.db"))
		require.NoError(b, err)
		defer func() { require.NoError(b, s.Close()) }()
		j, err := s.Begin(ctx, Header{ID: "run"})
		require.NoError(b, err)
		text, err := json.Marshal(r.Run.Points[0])
		require.NoError(b, err)
		row := insert(b, bare(b, s, dir), "journal (run, what, body)", 3)
		against(b, func(int) {}, side{"store", func(int) error { return j.Point(ctx, r.Run.Points[0]) }},
			side{"bare", func(int) error {
				_, err := row.ExecContext(ctx, "run", aPoint, string(text))
				return err
			}})
	})
	b.Run("records", func(b *testing.B) {
		dir := b.TempDir()
		s, err := Open(ctx, filepath.Join(dir, "s.db"))
		require.NoError(b, err)
		defer func() { require.NoError(b, s.Close()) }()
		ready, err := prepare(r)
		require.NoError(b, err)
		sealed, err := ready.draft.Seal(record.Link{Chain: "c", Number: 1}, time.Now(), key)
		require.NoError(b, err)
		db := bare(b, s, dir)
		row := insert(b, db, "entry (id, body, seal, signature)", 4)
		x := ready
		against(b, func(k int) { x.lines = linesOf(varied(r, k)) }, side{"store", func(int) error {
			_, err := s.append(ctx, x, key, time.Now(), nil)
			return err
		}}, side{"bare", rows(b, ctx, db, &x, sealed)}, side{"one-row", func(k int) error {
			_, err := row.ExecContext(ctx, x.lines.id, x.body, string(sealed.SealBytes), sealed.Signature)
			return err
		}})
	})
	b.Run("making a record", func(b *testing.B) {
		for b.Loop() {
			_, err := prepare(r)
			require.NoError(b, err)
		}
	})
}

// rows keeps all rows of a record with SQLite alone.
func rows(b *testing.B, ctx context.Context, db *sql.DB, p *prepared, s record.Sealed) func(k int) error {
	whole, listed, used := insert(b, db, "record", 16), insert(b, db, "listed", 13), insert(b, db, "record_standard", 5)
	numbers := map[listedStandard]int{}
	return func(k int) error {
		l := p.lines
		tx, err := db.BeginTx(ctx, nil)
		if err != nil {
			return err
		}
		if _, err := tx.StmtContext(ctx, whole).ExecContext(ctx, l.id, l.kind, l.created, l.asset, l.serial, l.customer, l.model, l.statement, l.follows, l.corrects,
			"c", k, string(s.SealBytes), s.Signature, p.sum, p.body); err != nil {
			return err
		}
		if _, err := tx.StmtContext(ctx, listed).ExecContext(ctx, l.created, l.id, l.kind, l.began, l.ended, l.asset, l.serial, l.customer, l.model, l.statement, l.follows, l.corrects, l.words); err != nil {
			return err
		}
		for _, x := range l.standards {
			name := listedStandard{name: x.name, serial: x.serial, certificate: x.certificate}
			if _, known := numbers[name]; !known {
				numbers[name] = len(numbers) + 1
				if _, err := tx.ExecContext(ctx, "INSERT INTO standard VALUES ($1, $2, $3, $4)", numbers[name], x.name, x.serial, x.certificate); err != nil {
					return err
				}
			}
			if _, err := tx.StmtContext(ctx, used).ExecContext(ctx, numbers[name], x.created, l.id, x.role, x.points); err != nil {
				return err
			}
		}
		return tx.Commit()
	}
}

package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	sqlite3 "modernc.org/sqlite/lib"
)

// ErrDamaged: the file is a store, but its pages do not hold together.
var ErrDamaged = errors.New("is damaged")

const (
	// A file up to checkSize bytes is checked each time it is opened, a larger one
	// after a program has not closed it. 16 MB take some 25 ms.
	checkSize = 16 << 20
	// A check that takes longer is left to "records verify", so that a run can begin.
	checkTime = 2 * time.Second
)

// look reads a file before anything is written to it: one that is none of ours,
// is newer, or is damaged, stays as it is.
func look(ctx context.Context, file string) error {
	info, err := os.Stat(file)
	if err != nil || info.Size() == 0 {
		return nil // it is to be made
	}
	if info.Size() < 512 { // SQLite would take it for a new one
		return fmt.Errorf("%w: it is too short for one", ErrNotAStore)
	}
	left, err := os.Stat(file + "-wal")
	check := info.Size() <= checkSize || err == nil && left.Size() > 0
	db, err := sql.Open("sqlite", sqliteName(file, "mode=ro&_query_only=1"))
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	_, err = examine(ctx, db, check)
	return errors.Join(err, db.Close())
}

// examine tells whether a database is a store that this program can open, and its
// layout.
func examine(ctx context.Context, db *sql.DB, check bool) (now int64, err error) {
	var tables, ours int
	err = db.QueryRowContext(ctx, "SELECT count(*), count(*) FILTER (WHERE name = 'goose_db_version') FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'").Scan(&tables, &ours)
	switch {
	case sqliteCode(err) == sqlite3.SQLITE_NOTADB:
		return 0, fmt.Errorf("%w: it is another kind of file; name another one with --store", ErrNotAStore)
	case err != nil:
		return now, err
	case tables > 0 && ours == 0:
		return 0, fmt.Errorf("%w: it is a SQLite file of another program; name another one with --store", ErrNotAStore)
	case tables == 0:
		return now, nil
	}
	if err := db.QueryRowContext(ctx, "SELECT coalesce(max(version_id), 0) FROM goose_db_version").Scan(&now); err != nil {
		return now, err
	}
	if known := newestLayout("sqlite"); now > known {
		return now, newer(now, known)
	}
	if !check {
		return now, nil
	}
	limited, cancel := context.WithTimeout(ctx, checkTime)
	defer cancel()
	if err := checkPages(limited, db, "quick_check"); err != nil && (limited.Err() == nil || ctx.Err() != nil) {
		return now, err
	}
	return now, nil
}

// checkPages lets SQLite look through the whole file: "quick_check" at all pages,
// "integrity_check" also at whether indexes match their tables.
func checkPages(ctx context.Context, db *sql.DB, how string) error {
	rows, err := db.QueryContext(ctx, "PRAGMA "+how+"(5)")
	if err != nil {
		return err
	}
	defer func() { _ = rows.Close() }()
	var wrong []string
	for rows.Next() {
		var says string
		if err := rows.Scan(&says); err != nil {
			return err
		}
		if says != "ok" {
			wrong = append(wrong, strings.ReplaceAll(says, "\n", ", "))
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	if len(wrong) > 0 {
		return fmt.Errorf("%w (%s); %s", ErrDamaged, strings.Join(wrong, "; "), afterDamage)
	}
	return nil
}

const afterDamage = "put it aside as it is, and go on with the newest backup (records backup), or import into a new store what \"records export --salvage\" can still read"

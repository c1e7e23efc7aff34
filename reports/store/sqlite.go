package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite" // the driver "sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

var sqliteDialect = &dialect{name: goose.DialectSQLite3, folder: "sqlite", backup: backupBeside, prepares: true, endsWith: "substr(record, -length($1)) = $1",
	tail:  func(of string) string { return "substr(" + of + ", -8)" },
	holds: func(text, part string) string { return "instr(" + text + ", " + part + ") > 0" }}

const (
	migrateTries = 20
	migratePause = 100 * time.Millisecond
)

// The schema of a file from elsewhere must not run anything, and no statement of
// ours may damage one.
const sqliteGuards = "_defensive=1&_dqs=0&_pragma=trusted_schema(0)&_pragma=cell_size_check(1)&_pragma=busy_timeout(5000)&_pragma=foreign_keys(1)"

// sqliteName is the name that the driver is given.
func sqliteName(file, options string) string {
	return "file:" + (&url.URL{Path: filepath.ToSlash(file)}).EscapedPath() + "?" + sqliteGuards + "&" + options
}

func openSQLite(ctx context.Context, file string) (*Store, error) {
	if err := canWrite(file); err != nil {
		return nil, wrap(file, "open", fmt.Errorf("%w: %w", ErrNotAStore, err))
	}
	if err := look(ctx, file); err != nil {
		return nil, wrap(file, "open", err)
	}
	// FULL: with a write-ahead log each transaction is on disk when it returns.
	db, err := sql.Open("sqlite", sqliteName(file, "_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_txlock=immediate"))
	if err != nil {
		return nil, wrap(file, "open", err)
	}
	db.SetMaxOpenConns(1) // one writer; SQLite would serialise them anyway
	s := &Store{db: db, file: file, dialect: sqliteDialect}
	// Two programs may make the same new file at once: the slower one finds it
	// half made, and waits until the other is done.
	for try := 1; ; try++ {
		if err = s.migrate(ctx); err == nil {
			return s, nil
		}
		if try == migrateTries || errors.Is(err, ErrNotAStore) || ctx.Err() != nil || !passes(err) {
			_ = db.Close()
			return nil, err
		}
		wait := time.NewTimer(migratePause)
		select {
		case <-wait.C:
		case <-ctx.Done():
			wait.Stop()
		}
	}
}

// passes tells whether an error may be gone at the next try.
func passes(err error) bool {
	switch sqliteCode(err) {
	case sqlite3.SQLITE_FULL, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN:
		return false
	}
	return true
}

// sqliteCode is the primary result code of SQLite in an error; 0 where there is none.
func sqliteCode(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

// canWrite says in plain words what SQLite would only give a number for.
func canWrite(file string) error {
	if err := isFile(file); err != nil {
		return err
	}
	f, err := os.OpenFile(file, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return fmt.Errorf("%w; a store must be writable", errors.Unwrap(err))
	}
	return f.Close()
}

// isFile tells whether it may be a store by what kind of thing it is.
func isFile(file string) error {
	folder, err := os.Stat(filepath.Dir(file))
	switch {
	case err != nil:
		return fmt.Errorf("folder %s: %w; make it first", filepath.Dir(file), errors.Unwrap(err))
	case !folder.IsDir():
		return fmt.Errorf("%s is not a folder", filepath.Dir(file))
	}
	info, err := os.Stat(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return errors.Unwrap(err)
	case !info.Mode().IsRegular():
		return errors.New("is not a file")
	}
	return nil
}

// Package store keeps journals and records in a SQLite file, so that what was
// measured survives a power cut: each write returns once it is on disk.
//
// What a record holds is the business of reports/record. Entries and records
// are only ever added.
package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the driver "sqlite"
)

//go:embed migrations/*.sql
var migrations embed.FS

var (
	// ErrStore is wrapped by every error of this package.
	ErrStore = errors.New("store")
	// ErrNotAStore: the file is no SQLite file of ours, or can't be opened as one.
	ErrNotAStore = errors.New("is no bandproof store")
	// ErrNotFound: no record has the id.
	ErrNotFound = errors.New("no such record")
	// ErrNotInterrupted: no interrupted run has the id, or several could be meant.
	ErrNotInterrupted = errors.New("no such interrupted run")
)

// Store is one SQLite file. It is safe for concurrent use.
type Store struct {
	db   *sql.DB
	file string
}

// Open opens or creates the file and brings its layout up to date. A file that
// is no SQLite database, or is newer than this program, is refused unchanged.
func Open(ctx context.Context, file string) (*Store, error) {
	if err := canOpen(file); err != nil {
		return nil, wrap(file, "open", fmt.Errorf("%w: %w", ErrNotAStore, err))
	}
	dsn := "file:" + (&url.URL{Path: file}).EscapedPath() +
		"?_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)&_txlock=immediate"
	db, err := sql.Open("sqlite", dsn)
	if err != nil {
		return nil, wrap(file, "open", err)
	}
	db.SetMaxOpenConns(1) // one writer; SQLite would serialise them anyway
	s := &Store{db, file}
	// Two programs may make the same new file at once: the slower one finds it
	// half made, and waits until the other is done.
	for try := 1; ; try++ {
		if err = s.migrate(ctx); err == nil {
			return s, nil
		}
		if try == migrateTries || errors.Is(err, ErrNotAStore) || ctx.Err() != nil {
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

const (
	migrateTries = 20
	migratePause = 100 * time.Millisecond
)

// canOpen says in plain words what SQLite would only give a number for.
func canOpen(file string) error {
	folder, err := os.Stat(filepath.Dir(file))
	switch {
	case err != nil:
		return fmt.Errorf("folder %s: %w; make it first", filepath.Dir(file), errors.Unwrap(err))
	case !folder.IsDir():
		return fmt.Errorf("%s is not a folder", filepath.Dir(file))
	}
	if info, err := os.Stat(file); err == nil && !info.Mode().IsRegular() {
		return errors.New("is not a file")
	}
	f, err := os.OpenFile(file, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return fmt.Errorf("%w; a store must be writable", errors.Unwrap(err))
	}
	return f.Close()
}

func (s *Store) migrate(ctx context.Context) error {
	sub, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return wrap(s.file, "open", err)
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, s.db, sub)
	if err != nil {
		return wrap(s.file, "open", err)
	}
	now, newest, err := p.GetVersions(ctx)
	if err != nil {
		if strings.Contains(err.Error(), "not a database") {
			return wrap(s.file, "open", fmt.Errorf("%w: it is another kind of file; name another one with --store", ErrNotAStore))
		}
		return wrap(s.file, "open", err)
	}
	if now > newest {
		return wrap(s.file, "open", fmt.Errorf("%w of this version: its layout %d is newer than this program knows (%d); use a newer bandproof", ErrNotAStore, now, newest))
	}
	if _, err := p.Up(ctx); err != nil {
		return wrap(s.file, "open", err)
	}
	return nil
}

func wrap(file, doing string, err error) error {
	return fmt.Errorf("%w %s: %s: %w", ErrStore, file, doing, err)
}

// File is the name of the file.
func (s *Store) File() string { return s.file }

// Close closes the file.
func (s *Store) Close() error {
	if err := s.db.Close(); err != nil {
		return wrap(s.file, "close", err)
	}
	return nil
}

// Row is one line of a list of records.
type Row struct {
	ID        string `json:"id"`
	Kind      string `json:"kind"`
	Created   string `json:"created"`
	Asset     string `json:"asset"`
	Serial    string `json:"serial"`
	Customer  string `json:"customer"`
	Model     string `json:"model"`
	Statement string `json:"statement"`
	Follows   string `json:"follows,omitempty"`
	// Corrects is the record that this one takes the place of, CorrectedBy the
	// one that takes the place of this.
	Corrects    string `json:"corrects,omitempty"`
	CorrectedBy string `json:"corrected_by,omitempty"`
	// Due: the unit was adjusted after this as-found record, and no as-left run
	// has followed.
	Due bool `json:"as_left_due,omitempty"`
}

// Query narrows a list; empty fields do not.
type Query struct{ Asset, Serial, Customer, Kind string }

// List returns the records that match, newest first.
func (s *Store) List(ctx context.Context, q Query) ([]Row, error) {
	rows, err := s.db.QueryContext(ctx, `SELECT id, kind, created, asset, serial, customer, model, statement, follows, corrects,
			COALESCE((SELECT min(c.id) FROM record AS c WHERE c.corrects = record.id AND c.corrects <> ''), ''),
			EXISTS (SELECT 1 FROM bench_log WHERE as_found = record.id AND what = 'adjustment'
				AND NOT EXISTS (SELECT 1 FROM record AS l WHERE l.kind = 'as-left' AND l.serial = record.serial AND l.created > bench_log.at))
		FROM record
		WHERE ($1 = '' OR asset = $1) AND ($2 = '' OR serial = $2) AND ($3 = '' OR customer = $3) AND ($4 = '' OR kind = $4)
		ORDER BY created DESC, id DESC`, q.Asset, q.Serial, q.Customer, q.Kind)
	if err != nil {
		return nil, wrap(s.file, "list", err)
	}
	defer func() { _ = rows.Close() }()
	list := []Row{}
	for rows.Next() {
		var r Row
		if err := rows.Scan(&r.ID, &r.Kind, &r.Created, &r.Asset, &r.Serial, &r.Customer, &r.Model, &r.Statement, &r.Follows, &r.Corrects, &r.CorrectedBy, &r.Due); err != nil {
			return nil, wrap(s.file, "list", err)
		}
		list = append(list, r)
	}
	if err := rows.Err(); err != nil {
		return nil, wrap(s.file, "list", err)
	}
	return list, nil
}

// Before returns the records that belong before a new one of the given kind on
// a data sheet of the same unit and procedure: the newest as-found record that
// ended before started and, before an as-left one, the newest after-repair
// record between. A complete as-found record goes before one that was broken
// off. It is empty where the serial number is not known.
func (s *Store) Before(ctx context.Context, kind runner.Kind, serial, procedureSHA256 string, started time.Time) ([]record.Record, error) {
	if serial == "" || kind == runner.AsFound {
		return nil, nil
	}
	rows, err := s.List(ctx, Query{Serial: serial})
	if err != nil {
		return nil, err
	}
	var found, repaired *record.Record
	for _, row := range rows {
		if row.Kind == string(runner.AsLeft) || row.Kind == string(runner.AfterRepair) && kind != runner.AsLeft {
			continue
		}
		r, err := s.Record(ctx, row.ID)
		if err != nil {
			return nil, err
		}
		switch {
		case r.Procedure.SHA256 != procedureSHA256 || r.Run.Finished.After(started):
		case len(r.Run.Only) > 0: // an added run takes no other's place
		case r.Run.Kind == runner.AsFound && (found == nil || !found.Run.Complete && r.Run.Complete):
			found = &r
		case r.Run.Kind == runner.AfterRepair && repaired == nil:
			repaired = &r
		}
	}
	var list []record.Record
	if found != nil {
		list = append(list, *found)
	}
	if repaired != nil && (found == nil || repaired.Run.Started.After(found.Run.Finished)) {
		list = append(list, *repaired)
	}
	return list, nil
}

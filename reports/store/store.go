// Package store keeps journals and records in a SQLite file, or in a PostgreSQL
// database that many benches share, so that what was measured survives a power
// cut: each write returns once it is on disk.
//
// What a record holds is the business of reports/record. Entries and records
// are only ever added.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"bandproof/reports/record"
	"bandproof/runner"
)

var (
	// ErrStore is wrapped by every error of this package.
	ErrStore = errors.New("store")
	// ErrNotAStore: the file or database is none of ours, or can't be opened as one.
	ErrNotAStore = errors.New("is no bandproof store")
	// ErrNotFound: no record has the id.
	ErrNotFound = errors.New("no such record")
	// ErrNotInterrupted: no interrupted run has the id, or several could be meant.
	ErrNotInterrupted = errors.New("no such interrupted run")
)

// Store is a SQLite file or a PostgreSQL database. It is safe for concurrent use.
type Store struct {
	db       *sql.DB
	file     string // the place as it may be shown: no password
	dialect  *dialect
	notes    []string
	mu       sync.Mutex
	prepared map[string]*sql.Stmt
	// temporary is a folder that goes when the store is closed.
	temporary string
}

// Open opens a store for reading and writing: the name of a file, which is made
// where there is none, or the URL of a PostgreSQL database
// (postgres://user@host/database; a password is better kept in PGPASSWORD or
// ~/.pgpass). The layout is brought up to date after a backup. What is no store,
// is damaged, or is newer than this program, is refused unchanged.
func Open(ctx context.Context, place string) (*Store, error) {
	if OnServer(place) {
		return openPostgres(ctx, place)
	}
	return openSQLite(ctx, place)
}

// Notes is what happened on opening that a person should know.
func (s *Store) Notes() []string { return s.notes }

func wrap(file, doing string, err error) error {
	return fmt.Errorf("%w %s: %s: %w", ErrStore, file, doing, plain(err))
}

// File is the name of the file, or the URL of the database without its password.
func (s *Store) File() string { return s.file }

// Close closes the file.
func (s *Store) Close() error {
	err := s.db.Close()
	if s.temporary != "" {
		err = errors.Join(err, os.RemoveAll(s.temporary))
	}
	if err != nil {
		return wrap(s.file, "close", err)
	}
	return nil
}

// Before returns the records that belong before a new one of the given kind on
// a data sheet of the same unit and procedure: the newest as-found record that
// ended before started and, before an as-left one, the newest after-repair
// record between. A complete as-found record goes before one that was broken
// off, a corrected one is the newest correction of it, and a withdrawn one is
// none. It is empty where the serial number is not known.
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
		if r.Procedure.SHA256 != procedureSHA256 || r.Run.Finished.After(started) || len(r.Run.Only) > 0 { // an added run takes no other's place
			continue
		}
		if holds, err := s.holds(ctx, r); err != nil || !holds {
			if err != nil {
				return nil, wrap(s.file, "corrections of record "+r.ID, err)
			}
			continue
		}
		switch {
		case r.Run.Kind == runner.AsFound && (found == nil || found.Run.Complete == r.Run.Complete && later(r, *found) || !found.Run.Complete && r.Run.Complete):
			found = &r
		case r.Run.Kind == runner.AfterRepair && (repaired == nil || later(r, *repaired)):
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

// later tells which of two runs ended later; a correction of an old one does not
// make it new.
func later(a, b record.Record) bool { return a.Run.Finished.After(b.Run.Finished) }

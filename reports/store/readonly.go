package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	sqlite3 "modernc.org/sqlite/lib"
)

// OpenToRead opens a store that is there, for commands that only read. One that
// can't be written (a folder of a backup, a standby server) is opened all the
// same, and Notes says so; writing to it then fails.
func OpenToRead(ctx context.Context, place string) (*Store, error) {
	if OnServer(place) {
		return openPostgres(ctx, place)
	}
	if err := isFile(place); err != nil {
		return nil, wrap(place, "open", fmt.Errorf("%w: %w", ErrNotAStore, err))
	}
	if _, err := os.Stat(place); err != nil {
		return nil, wrap(place, "open", fmt.Errorf("%w: %w", ErrNotAStore, errors.Unwrap(err)))
	}
	s, err := openSQLite(ctx, place)
	if err == nil || !unwritable(err) {
		return s, err
	}
	return openReadOnly(ctx, place)
}

// unwritable tells whether an error is for want of the right, or the possibility,
// to write.
func unwritable(err error) bool {
	code := sqliteCode(err)
	return errors.Is(err, fs.ErrPermission) || isReadOnlyFS(err) || code == sqlite3.SQLITE_READONLY || code == sqlite3.SQLITE_CANTOPEN
}

// openReadOnly reads a file where it lies, if nobody has written to it since it
// was closed and its layout is today's; else a copy of it.
func openReadOnly(ctx context.Context, file string) (*Store, error) {
	note := fmt.Sprintf("store %s can't be written here: it is opened to read only", file)
	logged, err := os.Stat(file + "-wal")
	if err == nil && logged.Size() > 0 {
		return openCopy(ctx, file, note)
	}
	db, err := sql.Open("sqlite", sqliteName(file, "mode=ro&immutable=1&_query_only=1"))
	if err != nil {
		return nil, wrap(file, "open", err)
	}
	db.SetMaxOpenConns(1)
	s := &Store{db: db, file: file, dialect: sqliteDialect, notes: []string{note}}
	now, err := examine(ctx, db, false)
	if err != nil {
		_ = db.Close()
		return nil, wrap(file, "open", err)
	}
	if now < newestLayout("sqlite") {
		_ = db.Close()
		return openCopy(ctx, file, note)
	}
	return s, nil
}

// openCopy opens a copy with all that the log beside the file holds, brought up to
// the layout of today; it is gone when the store is closed.
func openCopy(ctx context.Context, file, note string) (*Store, error) {
	dir, err := os.MkdirTemp("", "bandproof-read-*")
	if err != nil {
		return nil, wrap(file, "open a copy of it to read", err)
	}
	s, err := func() (*Store, error) {
		copied := filepath.Join(dir, "copy.db")
		if err := copyFile(file, copied); err != nil {
			return nil, err
		}
		if err := copyFile(file+"-wal", copied+"-wal"); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
		s, err := openSQLite(ctx, copied)
		if err != nil {
			return nil, err
		}
		_, err = s.db.ExecContext(ctx, "PRAGMA query_only = 1")
		return s, err
	}()
	if err != nil {
		return nil, wrap(file, "open a copy of it to read", errors.Join(err, os.RemoveAll(dir)))
	}
	s.file, s.notes, s.temporary = file, []string{note}, dir
	return s, nil
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { _ = in.Close() }()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// OpenToSalvage opens a copy of a file, as far as it can be read, whatever is
// wrong with it; the file stays as it is.
func OpenToSalvage(ctx context.Context, place string) (*Store, error) {
	if OnServer(place) {
		return nil, wrap(Shown(place), "salvage", fmt.Errorf("%w; ask its administrator", ErrOnServer))
	}
	if err := isFile(place); err != nil {
		return nil, wrap(place, "salvage", fmt.Errorf("%w: %w", ErrNotAStore, err))
	}
	dir, err := os.MkdirTemp("", "bandproof-read-*")
	if err != nil {
		return nil, wrap(place, "salvage", err)
	}
	s := &Store{file: place, dialect: sqliteDialect, temporary: dir, notes: []string{fmt.Sprintf("a copy of store %s is read as far as it goes; the file stays as it is", place)}}
	err = s.openDamaged(ctx, filepath.Join(dir, "copy.db"))
	if err != nil {
		return nil, wrap(place, "salvage", errors.Join(err, os.RemoveAll(dir)))
	}
	return s, nil
}

func (s *Store) openDamaged(ctx context.Context, copied string) error {
	if err := copyFile(s.file, copied); err != nil {
		return err
	}
	if err := copyFile(s.file+"-wal", copied+"-wal"); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	db, err := sql.Open("sqlite", sqliteName(copied, "_query_only=1"))
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	s.db = db
	now, err := examine(ctx, db, false)
	if err == nil && now < newestLayout("sqlite") {
		err = fmt.Errorf("its layout %d is older than this program's (%d); use the bandproof that wrote it", now, newestLayout("sqlite"))
	}
	if err != nil {
		return errors.Join(err, db.Close())
	}
	return nil
}

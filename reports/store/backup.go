package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// ErrExists: a file of that name is there, and is not written over.
var ErrExists = errors.New("there is such a file already")

// Backup writes all that the store holds at one instant into a new SQLite file,
// which is a store itself, while others may read and write. It is there whole or
// not at all. Only a store in a file has one: of one on a server there is the
// archive (Export), and what its administrator keeps.
func (s *Store) Backup(ctx context.Context, to string) error {
	if s.dialect != sqliteDialect {
		return wrap(s.file, "backup", fmt.Errorf("%w; \"records export --all\" writes all of it, and \"records import\" puts it into a file", ErrOnServer))
	}
	if err := copyInto(ctx, s.db, to); err != nil {
		return wrap(s.file, "backup to "+to, err)
	}
	return nil
}

// ErrOnServer: the store lies on a server, and what was asked for is for files.
var ErrOnServer = errors.New("the store lies on a server")

// copyInto lets SQLite write a copy, and gives it its name once it is on disk and
// was found to hold together.
func copyInto(ctx context.Context, db *sql.DB, to string) error {
	if _, err := os.Lstat(to); err == nil {
		return ErrExists
	}
	dir, err := os.MkdirTemp(filepath.Dir(to), ".bandproof-*") // nobody else writes there
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	tmp := filepath.Join(dir, "copy")
	if _, err := db.ExecContext(ctx, "VACUUM INTO $1", tmp); err != nil {
		return err
	}
	if err := checkFile(ctx, tmp, "integrity_check"); err != nil {
		return err
	}
	if err := syncPath(tmp); err != nil {
		return err
	}
	return rename(tmp, to)
}

// rename gives a file its name where none has that name yet, for good.
func rename(tmp, to string) error {
	err := os.Link(tmp, to) // refuses to take another's place, unlike a rename
	switch {
	case errors.Is(err, os.ErrExist):
		return ErrExists
	case err != nil: // no hard links there
		if _, err := os.Lstat(to); err == nil {
			return ErrExists
		}
		if err := os.Rename(tmp, to); err != nil {
			return err
		}
	}
	return syncFolder(filepath.Dir(to))
}

// checkFile checks a file that nobody writes to.
func checkFile(ctx context.Context, file, how string) error {
	db, err := sql.Open("sqlite", sqliteName(file, "mode=ro&immutable=1"))
	if err != nil {
		return err
	}
	return errors.Join(checkPages(ctx, db, how), db.Close())
}

func syncPath(file string) error {
	f, err := os.OpenFile(file, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// backupBeside keeps a file as it is before its layout changes, beside it.
func backupBeside(ctx context.Context, s *Store, to int64) (string, error) {
	for k := 1; ; k++ {
		name := fmt.Sprintf("%s.before-%05d", s.file, to)
		if k > 1 {
			name = fmt.Sprintf("%s-%d", name, k)
		}
		if err := copyInto(ctx, s.db, name); !errors.Is(err, ErrExists) {
			return name, err
		}
	}
}

package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"time"

	"github.com/pressly/goose/v3"
)

//go:embed migrations
var migrations embed.FS

// dialect is what differs between the databases that a store may lie in. The
// statements are the same for all of them, with $1, $2 … for what is put in.
type dialect struct {
	name    goose.Dialect
	folder  string // of the migrations
	options []goose.ProviderOption
	// backup keeps all that a store holds before its layout is changed to the
	// given one, and says where.
	backup func(ctx context.Context, s *Store, to int64) (string, error)
	// snapshot is the isolation in which a transaction that only reads sees one
	// state of the store, whatever is written meanwhile.
	snapshot sql.IsolationLevel
	// lockChain is the statement that makes others wait who would add to the
	// chain too, until the transaction ends; empty where transactions that write
	// wait for each other anyhow.
	lockChain string
	// endsWith is the condition that an id ends in $1.
	endsWith string
	// tail is the last 8 characters of an expression, as the index on it has them;
	// holds is the condition that a text holds a part.
	tail  func(of string) string
	holds func(text, part string) string
	// prepares: statements are worth being kept as they were prepared. The driver
	// of PostgreSQL does so by itself.
	prepares bool
	// patience is how long one statement may take; zero: as long as the context allows.
	patience time.Duration
}

// provider knows all layouts.
func (d *dialect) provider(s *Store) (*goose.Provider, error) {
	sub, err := fs.Sub(migrations, "migrations/"+d.folder)
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(d.name, s.db, sub, append(slices.Clip(d.options), goose.WithGoMigrations(listAll()))...)
}

// migrate brings the layout up to date, after a backup where there is something
// to lose.
func (s *Store) migrate(ctx context.Context) error {
	p, err := s.dialect.provider(s)
	if err != nil {
		return wrap(s.file, "open", err)
	}
	now, newest, err := p.GetVersions(ctx)
	switch {
	case err != nil && strings.Contains(err.Error(), "not a database"):
		return wrap(s.file, "open", fmt.Errorf("%w: it is another kind of file; name another one with --store", ErrNotAStore))
	case err != nil:
		return wrap(s.file, "open", err)
	case now > newest:
		return wrap(s.file, "open", newer(now, newest))
	case now == newest:
		return nil
	}
	if err := s.keepOld(ctx, now, newest); err != nil {
		return wrap(s.file, "backup before the layout changes", err)
	}
	if _, err := p.Up(ctx); err != nil {
		return wrap(s.file, "open", err)
	}
	return nil
}

// newer refuses a layout that is not known yet.
func newer(now, newest int64) error {
	return fmt.Errorf("%w of this version: its layout %d is newer than this program knows (%d); use a newer bandproof", ErrNotAStore, now, newest)
}

// keepOld makes the backup. A store that holds nothing yet, such as one that
// another program is just making, needs none.
func (s *Store) keepOld(ctx context.Context, now, newest int64) error {
	if now == 0 {
		return nil
	}
	var some bool
	if err := s.db.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM run) OR EXISTS (SELECT 1 FROM record)").Scan(&some); err != nil || !some {
		return err
	}
	where, err := s.dialect.backup(ctx, s, newest)
	if err != nil {
		return err
	}
	s.notes = append(s.notes, fmt.Sprintf("the layout of store %s is brought up to date (from %d to %d); as it was before, it is kept in %s", s.file, now, newest, where))
	return nil
}

// limited is a context for one statement.
func (s *Store) limited(ctx context.Context) (context.Context, context.CancelFunc) {
	if s.dialect.patience == 0 {
		return ctx, func() {}
	}
	return context.WithTimeoutCause(ctx, s.dialect.patience, errPatience)
}

var errPatience = errors.New("the server has not answered in time")

// newestLayout is the newest layout that this program knows.
func newestLayout(folder string) (newest int64) {
	files, err := fs.ReadDir(migrations, "migrations/"+folder)
	if err != nil {
		return 0
	}
	for _, f := range files {
		if v, err := goose.NumericComponent(f.Name()); err == nil {
			newest = max(newest, v)
		}
	}
	return max(newest, listAll().Version)
}

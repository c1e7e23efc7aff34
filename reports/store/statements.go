package store

import (
	"context"
	"database/sql"
	"errors"
	"strings"
	"unicode/utf8"

	"bandproof/reports/record"
)

// exec runs one statement that changes something and tells how many rows.
func (s *Store) exec(ctx context.Context, query string, args ...any) (int64, error) {
	ctx, cancel := s.limited(ctx)
	defer cancel()
	done, err := s.db.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, err
	}
	return done.RowsAffected()
}

// each calls do with each row of a query, in order. do must not use the store.
func (s *Store) each(ctx context.Context, do func(scan func(...any) error) error, query string, args ...any) error {
	ctx, cancel := s.limited(ctx)
	defer cancel()
	return each(ctx, s.db, do, query, args...)
}

// asks is a database or a transaction.
type asks interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

func each(ctx context.Context, db asks, do func(scan func(...any) error) error, query string, args ...any) (err error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		if err := do(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

// txn is a transaction.
type txn interface {
	asks
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// within does something as one transaction: all of it, or nothing.
func (s *Store) within(ctx context.Context, do func(txn) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	again := &again{Tx: tx, s: s}
	if err := do(again); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	again.keep(ctx)
	return nil
}

// again is a transaction that takes statements which were run before as they were
// prepared then: SQLite takes longer for that than for what most of them do.
type again struct {
	*sql.Tx
	s    *Store
	news []string
}

// mostPrepared is how many statements are kept; those that are put together from
// what is asked are too many.
const mostPrepared = 100

func (a *again) prepared(ctx context.Context, query string) *sql.Stmt {
	if !a.s.dialect.prepares {
		return nil
	}
	a.s.mu.Lock()
	defer a.s.mu.Unlock()
	if known, ok := a.s.prepared[query]; ok {
		return a.StmtContext(ctx, known)
	}
	a.news = append(a.news, query)
	return nil
}

// keep prepares for the next time what was run for the first time.
func (a *again) keep(ctx context.Context) {
	for _, query := range a.news {
		a.s.prepare(ctx, query)
	}
}

// prepare gives a statement as it was prepared once; nil where it can't be, which
// does without.
func (s *Store) prepare(ctx context.Context, query string) *sql.Stmt {
	if !s.dialect.prepares {
		return nil
	}
	s.mu.Lock()
	known, full := s.prepared[query], len(s.prepared) >= mostPrepared
	s.mu.Unlock()
	if known != nil || full {
		return known
	}
	p, err := s.db.PrepareContext(ctx, query)
	if err != nil {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if known := s.prepared[query]; known != nil { // meanwhile
		_ = p.Close()
		return known
	}
	if s.prepared == nil {
		s.prepared = map[string]*sql.Stmt{}
	}
	s.prepared[query] = p
	return p
}

// once runs one statement that is a transaction by itself.
func (s *Store) once(ctx context.Context, query string, args ...any) error {
	ctx, cancel := s.limited(ctx)
	defer cancel()
	if p := s.prepare(ctx, query); p != nil {
		_, err := p.ExecContext(ctx, args...)
		return err
	}
	_, err := s.db.ExecContext(ctx, query, args...)
	return err
}

func (a *again) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	if p := a.prepared(ctx, query); p != nil {
		return p.ExecContext(ctx, args...)
	}
	return a.Tx.ExecContext(ctx, query, args...)
}

func (a *again) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	if p := a.prepared(ctx, query); p != nil {
		return p.QueryContext(ctx, args...)
	}
	return a.Tx.QueryContext(ctx, query, args...)
}

func (a *again) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	if p := a.prepared(ctx, query); p != nil {
		return p.QueryRowContext(ctx, args...)
	}
	return a.Tx.QueryRowContext(ctx, query, args...)
}

// first reads the only row of a query; sql.ErrNoRows where there is none.
func (s *Store) first(ctx context.Context, query string, args []any, to ...any) error {
	ctx, cancel := s.limited(ctx)
	defer cancel()
	return s.db.QueryRowContext(ctx, query, args...).Scan(to...)
}

// write is a short transaction.
func (s *Store) write(ctx context.Context, do func(ctx context.Context, tx txn) error) error {
	ctx, cancel := s.limited(ctx)
	defer cancel()
	return s.within(ctx, func(tx txn) error { return do(ctx, tx) })
}

// longest is how many characters of a text are searched.
const longest = 250

// text is a text as every database takes it in a column that is searched: no
// NUL, no bytes that are no UTF-8, and of a very long one the beginning with a
// hash of the whole, because an index takes no more. It is a copy: what the text
// really is stands in the JSON beside it, where NUL is written \u0000.
func text(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
	if len(s) <= longest || utf8.RuneCountInString(s) <= longest {
		return s
	}
	sum := record.Hash([]byte(s))[:16]
	return string([]rune(s)[:longest-len(sum)-1]) + "…" + sum
}

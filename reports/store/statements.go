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

// first reads the only row of a query; sql.ErrNoRows where there is none.
func (s *Store) first(ctx context.Context, query string, args []any, to ...any) error {
	ctx, cancel := s.limited(ctx)
	defer cancel()
	return s.db.QueryRowContext(ctx, query, args...).Scan(to...)
}

// write is a short transaction.
func (s *Store) write(ctx context.Context, do func(ctx context.Context, tx *sql.Tx) error) error {
	ctx, cancel := s.limited(ctx)
	defer cancel()
	return s.within(ctx, func(tx *sql.Tx) error { return do(ctx, tx) })
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

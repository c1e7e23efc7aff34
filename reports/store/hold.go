package store

import (
	"context"
	"errors"
	"fmt"
)

// ErrUnderWay: another process holds the run.
var ErrUnderWay = errors.New("is under way at another bench")

const runLock = "hashtextextended('bandproof run ' || current_schema() || ' ' || $1, 0)"

// Hold takes a run for this process among all that use the store, until release
// or the end of the process or of its connection. In a file it does nothing: who
// shares a file shares the machine, whose lock files hold a run.
func (s *Store) Hold(ctx context.Context, run string) (release func(), err error) {
	if s.dialect == sqliteDialect {
		return func() {}, nil
	}
	c, err := s.db.Conn(ctx) // the lock is that of one connection
	if err != nil {
		return nil, wrap(s.file, "hold run "+run, err)
	}
	var taken bool
	if err := c.QueryRowContext(ctx, "SELECT pg_try_advisory_lock("+runLock+")", run).Scan(&taken); err != nil {
		return nil, wrap(s.file, "hold run "+run, errors.Join(err, c.Close()))
	}
	if !taken {
		return nil, wrap(s.file, "run "+run, errors.Join(fmt.Errorf("%w; it goes on there", ErrUnderWay), c.Close()))
	}
	return func() {
		_, _ = c.ExecContext(context.WithoutCancel(ctx), "SELECT pg_advisory_unlock("+runLock+")", run) // the end of the connection does it too
		_ = c.Close()
	}, nil
}

// Held tells whether another process holds the run.
func (s *Store) Held(ctx context.Context, run string) (bool, error) {
	release, err := s.Hold(ctx, run)
	switch {
	case errors.Is(err, ErrUnderWay):
		return true, nil
	case err != nil:
		return false, err
	}
	release()
	return false, nil
}

package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"bandproof/reports/record"
)

// ErrNoLogo: the store does not keep the picture.
var ErrNoLogo = errors.New("no such logo")

// AddLogo keeps a picture, once.
func (s *Store) AddLogo(ctx context.Context, p record.Picture) error {
	_, err := s.Logo(ctx, p.Logo)
	if !errors.Is(err, ErrNoLogo) {
		return err
	}
	_, err = s.db.ExecContext(ctx, "INSERT INTO logo (sha256, body) VALUES ($1, $2)", p.SHA256, p.Bytes)
	if err == nil {
		return nil
	}
	if _, again := s.Logo(ctx, p.Logo); again == nil { // another process was quicker
		return nil
	}
	return wrap(s.file, "keep logo "+p.File, err)
}

// Logo finds the picture that a record names. One whose bytes do not have the
// hash by which they are kept is an error that wraps record.ErrLogo.
func (s *Store) Logo(ctx context.Context, l record.Logo) (record.Picture, error) {
	p := record.Picture{Logo: l}
	err := s.db.QueryRowContext(ctx, "SELECT body FROM logo WHERE sha256 = $1", l.SHA256).Scan(&p.Bytes)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return p, wrap(s.file, "logo "+l.File, ErrNoLogo)
	case err != nil:
		return p, wrap(s.file, "logo "+l.File, err)
	}
	if _, err := p.Image(); err != nil {
		return p, wrap(s.file, "logo", fmt.Errorf("is damaged: %w", err))
	}
	return p, nil
}

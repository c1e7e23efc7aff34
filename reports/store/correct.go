package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"bandproof/reports/record"
)

// ErrCorrected: the record has been corrected already, and another one stands in
// its place.
var ErrCorrected = errors.New("has been corrected already")

// CorrectedBy returns the record that takes the place of one, whole; nil where
// none does.
func (s *Store) CorrectedBy(ctx context.Context, id string) (*record.Record, error) {
	by, err := correctedBy(ctx, s.db, id)
	if err != nil {
		return nil, wrap(s.file, "corrections of record "+id, err)
	}
	if by == "" {
		return nil, nil
	}
	r, err := s.Record(ctx, by)
	return &r, err
}

// mostCorrections bounds how often one record may have been corrected in turn;
// forged records may correct each other.
const mostCorrections = 1000

// Newest returns the record that stands in the place of one now: itself, where
// it was not corrected.
func (s *Store) Newest(ctx context.Context, id string) (record.Record, error) {
	r, err := s.Record(ctx, id)
	for range mostCorrections {
		if err != nil {
			return r, err
		}
		next, err := s.CorrectedBy(ctx, r.ID)
		if err != nil || next == nil {
			return r, err
		}
		r = *next
	}
	return r, wrap(s.file, "corrections of record "+id, fmt.Errorf("there are more than %d in turn; \"records verify\" tells whether they are what was sealed", mostCorrections))
}

func correctedBy(ctx context.Context, q querier, id string) (by string, err error) {
	err = q.QueryRowContext(ctx, "SELECT id FROM record WHERE corrects = $1 AND corrects <> '' ORDER BY created, id LIMIT 1", id).Scan(&by)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return by, err
}

// correctable refuses a second correction of one record, so that there is always
// one newest.
func correctable(ctx context.Context, q querier, r record.Record) error {
	if r.Corrects == nil {
		return nil
	}
	by, err := correctedBy(ctx, q, r.Corrects.ID)
	if err == nil && by != "" {
		err = fmt.Errorf("record %s %w: record %s stands in its place; correct that one", r.Corrects.ID, ErrCorrected, by)
	}
	return err
}

// holds tells whether a record still says what counts: no other stands in its
// place, and it is not withdrawn.
func (s *Store) holds(ctx context.Context, r record.Record) (bool, error) {
	if r.Corrects != nil && r.Corrects.Withdrawn {
		return false, nil
	}
	by, err := correctedBy(ctx, s.db, r.ID)
	return by == "", err
}

// markWithdrawn marks the rows of withdrawn records; few correct anything.
func (s *Store) markWithdrawn(ctx context.Context, list []Row) error {
	for k := range list {
		r := &list[k]
		var says []string
		if r.Corrects != "" {
			says = append(says, r.ID)
		}
		if r.CorrectedBy != "" {
			says = append(says, r.CorrectedBy)
		}
		for _, id := range says {
			by, err := s.Record(ctx, id)
			if err != nil {
				continue // it is for "records verify" to tell
			}
			r.Withdrawn = r.Withdrawn || by.Corrects != nil && by.Corrects.Withdrawn
		}
	}
	return ctx.Err()
}

package store

import (
	"context"
	"encoding/json"
	"slices"

	"bandproof/procedures/quantity"
	"bandproof/runner/isolate"
)

// isSearch tells whether a line of the bench log is an entry of somebody who
// looks for a fault.
func isSearch(what string) bool {
	return slices.Contains([]isolate.EntryKind{isolate.Looked, isolate.Prepared, isolate.Revoked, isolate.Closed}, isolate.EntryKind(what))
}

// KeepEntry keeps what a person entered while looking for the fault of the unit
// of a record. Nothing is changed: an entry that revokes another is one more.
func (s *Store) KeepEntry(ctx context.Context, serial, procedureSHA256 string, e isolate.Entry) error {
	return s.log(ctx, e.ID, string(e.Kind), e.At, serial, procedureSHA256, e.Record, e)
}

// Entries returns what was entered about a record, in the order kept.
func (s *Store) Entries(ctx context.Context, recordID string) (list []isolate.Entry, err error) {
	err = s.each(ctx, func(scan func(...any) error) error {
		var what, body string
		if err := scan(&what, &body); err != nil || !isSearch(what) {
			return err
		}
		e, err := decode[isolate.Entry](body)
		list = append(list, e)
		return err
	}, "SELECT what, body FROM bench_log WHERE as_found = $1 ORDER BY seq", recordID)
	if err != nil {
		return nil, wrap(s.file, "bench log", err)
	}
	return list, nil
}

func (l *LogLine) fillSearch(body string) error {
	var e isolate.Entry
	if err := json.Unmarshal([]byte(body), &e); err != nil {
		return err
	}
	l.Began, l.Ended, l.Record, l.AsFound, l.Who, l.Text = e.At, e.At, e.Record, "", e.Who, e.Text
	if e.Seen != nil {
		l.Input, l.Frequency = e.Seen.Input, quantity.Significant(e.Seen.Frequency, 12)
	}
	return nil
}

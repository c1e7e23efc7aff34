package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"bandproof/reports/notify"
)

// Outbox keeps events on their way to people elsewhere.
func (s *Store) Outbox() notify.Outbox { return outbox{s} }

type outbox struct{ s *Store }

const outboxColumns = "seq, address, receiver, once, event, added, tries, next_try, last_error, given_up, delivered"

// stillOpen: to be sent.
const stillOpen = "delivered = '' AND given_up = 0"

// Add implements notify.Outbox.
func (o outbox) Add(ctx context.Context, w notify.Waiting) error {
	receiver, err := json.Marshal(w.Receiver)
	if err == nil {
		_, err = o.s.db.ExecContext(ctx, "INSERT INTO outbox (address, receiver, once, event, added, next_try) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
			w.Address, string(receiver), w.Once, string(w.Event), stamp(w.Added), stamp(w.NextTry))
	}
	return o.wrap(err)
}

func (o outbox) wrap(err error) error {
	if err == nil {
		return nil
	}
	return wrap(o.s.file, "outbox", err)
}

// Next implements notify.Outbox.
func (o outbox) Next(ctx context.Context, address string) (notify.Waiting, bool, error) {
	row := o.s.db.QueryRowContext(ctx, "SELECT "+outboxColumns+" FROM outbox WHERE address = ? AND "+stillOpen+" ORDER BY seq LIMIT 1", address)
	w, err := waiting(row.Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return w, false, nil
	}
	return w, err == nil, o.wrap(err)
}

// waiting reads one row.
func waiting(scan func(...any) error) (w notify.Waiting, err error) {
	var receiver, event, added, next, delivered string
	if err := scan(&w.Seq, &w.Address, &receiver, &w.Once, &event, &added, &w.Tries, &next, &w.LastError, &w.GivenUp, &delivered); err != nil {
		return w, err
	}
	w.Event = []byte(event)
	if err := json.Unmarshal([]byte(receiver), &w.Receiver); err != nil {
		return w, err
	}
	for _, t := range []struct {
		text string
		to   *time.Time
	}{{added, &w.Added}, {next, &w.NextTry}, {delivered, &w.Delivered}} {
		if t.text == "" {
			continue
		}
		if *t.to, err = time.Parse(time.RFC3339Nano, t.text); err != nil {
			return w, err
		}
	}
	return w, nil
}

// Claim implements notify.Outbox.
func (o outbox) Claim(ctx context.Context, w notify.Waiting, until time.Time) (bool, error) {
	done, err := o.s.db.ExecContext(ctx, "UPDATE outbox SET tries = tries + 1, next_try = ? WHERE seq = ? AND tries = ? AND "+stillOpen, stamp(until), w.Seq, w.Tries)
	if err != nil {
		return false, o.wrap(err)
	}
	n, err := done.RowsAffected()
	return n == 1, o.wrap(err)
}

// Delivered implements notify.Outbox.
func (o outbox) Delivered(ctx context.Context, w notify.Waiting, at time.Time) error {
	return o.set(ctx, "delivered = ?, last_error = '', given_up = 0 WHERE seq = ?", stamp(at), w.Seq)
}

// Failed implements notify.Outbox.
func (o outbox) Failed(ctx context.Context, w notify.Waiting, why string, next time.Time) error {
	return o.set(ctx, "last_error = ?, next_try = ? WHERE seq = ? AND delivered = ''", why, stamp(next), w.Seq)
}

// GiveUp implements notify.Outbox.
func (o outbox) GiveUp(ctx context.Context, w notify.Waiting, why string) error {
	return o.set(ctx, "last_error = ?, given_up = 1 WHERE seq = ? AND delivered = ''", why, w.Seq)
}

// Retry implements notify.Outbox.
func (o outbox) Retry(ctx context.Context, now time.Time) error {
	return o.set(ctx, "given_up = 0, next_try = ? WHERE delivered = '' AND given_up = 1", stamp(now))
}

// Drop implements notify.Outbox.
func (o outbox) Drop(ctx context.Context, address string) (int, error) {
	done, err := o.s.db.ExecContext(ctx, "DELETE FROM outbox WHERE address = ? AND delivered = ''", address)
	if err != nil {
		return 0, o.wrap(err)
	}
	n, err := done.RowsAffected()
	return int(n), o.wrap(err)
}

func (o outbox) set(ctx context.Context, what string, args ...any) error {
	_, err := o.s.db.ExecContext(ctx, "UPDATE outbox SET "+what, args...)
	return o.wrap(err)
}

// Addresses implements notify.Outbox.
func (o outbox) Addresses(ctx context.Context) (list []string, err error) {
	rows, err := o.s.db.QueryContext(ctx, "SELECT DISTINCT address FROM outbox WHERE "+stillOpen+" ORDER BY address")
	if err != nil {
		return nil, o.wrap(err)
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var a string
		if err := rows.Scan(&a); err != nil {
			return nil, o.wrap(err)
		}
		list = append(list, a)
	}
	return list, o.wrap(rows.Err())
}

// List implements notify.Outbox.
func (o outbox) List(ctx context.Context, delivered bool) (list []notify.Waiting, err error) {
	rows, err := o.s.db.QueryContext(ctx, "SELECT "+outboxColumns+" FROM outbox WHERE ? OR delivered = '' ORDER BY seq", delivered)
	if err != nil {
		return nil, o.wrap(err)
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		w, err := waiting(rows.Scan)
		if err != nil {
			return nil, o.wrap(err)
		}
		list = append(list, w)
	}
	return list, o.wrap(rows.Err())
}

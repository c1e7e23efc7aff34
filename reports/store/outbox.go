package store

import (
	"context"
	"encoding/json"
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
		_, err = o.s.exec(ctx, "INSERT INTO outbox (address, receiver, once, event, added, next_try) VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING",
			text(w.Address), string(receiver), text(w.Once), string(w.Event), stamp(w.Added), stamp(w.NextTry))
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
	list, err := o.list(ctx, "address = $1 AND "+stillOpen+" ORDER BY seq LIMIT 1", text(address))
	if len(list) == 0 {
		return notify.Waiting{}, false, err
	}
	return list[0], true, nil
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
	n, err := o.s.exec(ctx, "UPDATE outbox SET tries = tries + 1, next_try = $1 WHERE seq = $2 AND tries = $3 AND "+stillOpen, stamp(until), w.Seq, w.Tries)
	return n == 1, o.wrap(err)
}

// Delivered implements notify.Outbox.
func (o outbox) Delivered(ctx context.Context, w notify.Waiting, at time.Time) error {
	return o.set(ctx, "delivered = $1, last_error = '', given_up = 0 WHERE seq = $2", stamp(at), w.Seq)
}

// Failed implements notify.Outbox.
func (o outbox) Failed(ctx context.Context, w notify.Waiting, why string, next time.Time) error {
	return o.set(ctx, "last_error = $1, next_try = $2 WHERE seq = $3 AND delivered = ''", text(why), stamp(next), w.Seq)
}

// GiveUp implements notify.Outbox.
func (o outbox) GiveUp(ctx context.Context, w notify.Waiting, why string) error {
	return o.set(ctx, "last_error = $1, given_up = 1 WHERE seq = $2 AND delivered = ''", text(why), w.Seq)
}

// Retry implements notify.Outbox.
func (o outbox) Retry(ctx context.Context, now time.Time) error {
	return o.set(ctx, "given_up = 0, next_try = $1 WHERE delivered = '' AND given_up = 1", stamp(now))
}

// Drop implements notify.Outbox.
func (o outbox) Drop(ctx context.Context, address string) (int, error) {
	n, err := o.s.exec(ctx, "DELETE FROM outbox WHERE address = $1 AND delivered = ''", text(address))
	return int(n), o.wrap(err)
}

func (o outbox) set(ctx context.Context, what string, args ...any) error {
	_, err := o.s.exec(ctx, "UPDATE outbox SET "+what, args...)
	return o.wrap(err)
}

// Addresses implements notify.Outbox.
func (o outbox) Addresses(ctx context.Context) (list []string, err error) {
	err = o.s.each(ctx, func(scan func(...any) error) error {
		var a string
		err := scan(&a)
		list = append(list, a)
		return err
	}, "SELECT DISTINCT address FROM outbox WHERE "+stillOpen+" ORDER BY address")
	return list, o.wrap(err)
}

// List implements notify.Outbox.
func (o outbox) List(ctx context.Context, delivered bool) ([]notify.Waiting, error) {
	return o.list(ctx, "$1 OR delivered = '' ORDER BY seq", delivered)
}

// list reads what waits where a condition holds.
func (o outbox) list(ctx context.Context, where string, args ...any) (list []notify.Waiting, err error) {
	err = o.s.each(ctx, func(scan func(...any) error) error {
		w, err := waiting(scan)
		list = append(list, w)
		return err
	}, "SELECT "+outboxColumns+" FROM outbox WHERE "+where, args...)
	return list, o.wrap(err)
}

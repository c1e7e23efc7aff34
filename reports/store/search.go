package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

// ErrQuery: what is searched for makes no sense.
var ErrQuery = errors.New("search")

// Row is one line of a list of records.
type Row struct {
	ID        string `json:"id"`
	Kind      string `json:"kind"`
	Created   string `json:"created"`
	Asset     string `json:"asset"`
	Serial    string `json:"serial"`
	Customer  string `json:"customer"`
	Model     string `json:"model"`
	Statement string `json:"statement"`
	Follows   string `json:"follows,omitempty"`
	// Corrects is the record that this one takes the place of, CorrectedBy the
	// one that takes the place of this.
	Corrects    string `json:"corrects,omitempty"`
	CorrectedBy string `json:"corrected_by,omitempty"`
	// Due: the unit was adjusted after this as-found record, and no as-left run
	// has followed.
	Due bool `json:"as_left_due,omitempty"`
	// Points is how many points rest on the standard that was searched for.
	Points int `json:"points,omitempty"`
}

// Query narrows a list; empty fields do not. Asset, Serial, Customer and Kind
// are whole texts.
type Query struct {
	Asset, Serial, Customer, Kind string
	// Statement is the beginning of the statement: "outside", "within …", "incomplete".
	Statement string
	// Words are parts of asset, serial, customer or model, in any order and in
	// upper or lower case; each must be there.
	Words string
	// Standard is the name, serial number or certificate number of a standard
	// that results of the record rest on.
	Standard string
	// Since and Until bound the run: it ended at or after Since and began before Until.
	Since, Until time.Time
	// After is the id of a record: only those behind it in the list.
	After string
	// Limit is the most rows that are returned; 0: all.
	Limit int
}

// asked is a query being written as SQL.
type asked struct {
	s     *Store
	where []string
	args  []any
}

// put takes a value and returns its placeholder.
func (a *asked) put(v any) string {
	a.args = append(a.args, v)
	return fmt.Sprintf("$%d", len(a.args))
}

func (a *asked) only(condition string) { a.where = append(a.where, condition) }

// ask writes the conditions of a query.
func (s *Store) ask(q Query) *asked {
	a := &asked{s: s}
	for _, x := range []struct{ column, is string }{{"asset", q.Asset}, {"serial", q.Serial}, {"customer", q.Customer}, {"kind", q.Kind}} {
		if x.is != "" {
			a.only("listed." + x.column + " = " + a.put(text(x.is)))
		}
	}
	if q.Statement != "" {
		from := text(strings.ToLower(q.Statement))
		a.only("listed.statement >= " + a.put(from) + " AND listed.statement < " + a.put(from+"\U0010FFFF"))
	}
	for _, w := range strings.Fields(strings.ToLower(text(q.Words))) {
		a.only(s.dialect.holds("listed.words", a.put(w)))
	}
	if !q.Since.IsZero() {
		a.only("listed.ended >= " + a.put(stamp(q.Since)))
	}
	if !q.Until.IsZero() {
		a.only("listed.began < " + a.put(stamp(q.Until)))
	}
	if q.After != "" {
		a.only("(listed.created, listed.record) < (SELECT created, record FROM listed WHERE record = " + a.put(q.After) + ")")
	}
	return a
}

// condition is all of WHERE.
func (a *asked) condition() string {
	if len(a.where) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(a.where, " AND ")
}

// those is the standards that a text may mean.
func those(is string) string {
	return "(SELECT id FROM standard WHERE name = " + is + " OR serial = " + is + " OR certificate = " + is + ")"
}

// List returns the records that match, newest first.
func (s *Store) List(ctx context.Context, q Query) ([]Row, error) {
	if q.After != "" {
		whole, err := s.whole(ctx, q.After)
		if err != nil {
			return nil, wrap(s.file, "list after "+q.After, err)
		}
		q.After = whole
	}
	a := s.ask(q)
	points := "0"
	if q.Standard != "" {
		is := a.put(text(q.Standard))
		points = "(SELECT coalesce(max(points), 0) FROM record_standard AS u WHERE u.record = listed.record AND u.standard IN " + those(is) + ")"
		a.only(s.restsOn(ctx, is, text(q.Standard)))
	}
	limit := ""
	if q.Limit > 0 {
		limit = " LIMIT " + a.put(q.Limit)
	}
	list := []Row{}
	err := s.each(ctx, func(scan func(...any) error) error {
		var r Row
		err := scan(&r.ID, &r.Kind, &r.Created, &r.Asset, &r.Serial, &r.Customer, &r.Model, &r.Statement, &r.Follows, &r.Corrects, &r.CorrectedBy, &r.Due, &r.Points)
		list = append(list, r)
		return err
	}, `SELECT record, kind, created, asset, serial, customer, model, statement, follows, corrects,
			coalesce((SELECT min(c.record) FROM listed AS c WHERE c.corrects = listed.record AND c.corrects <> ''), ''),
			EXISTS (SELECT 1 FROM bench_log WHERE as_found = listed.record AND what = 'adjustment'
				AND NOT EXISTS (SELECT 1 FROM listed AS l WHERE l.serial = listed.serial AND l.created > bench_log.at AND l.kind = 'as-left')),
			`+points+` FROM listed`+a.condition()+" ORDER BY listed.created DESC, listed.record DESC"+limit, a.args...)
	if err != nil {
		return nil, wrap(s.file, "list", err)
	}
	return list, nil
}

// Count tells how many records match; Limit does not count.
func (s *Store) Count(ctx context.Context, q Query) (n int, err error) {
	a := s.ask(q)
	if q.Standard != "" {
		a.only(s.restsOn(ctx, a.put(text(q.Standard)), text(q.Standard)))
	}
	if err := s.first(ctx, "SELECT count(*) FROM listed"+a.condition(), a.args, &n); err != nil {
		return 0, wrap(s.file, "count", err)
	}
	return n, nil
}

// restsOn is the condition that a record rests on a standard; is is the
// placeholder of what names it.
func (s *Store) restsOn(_ context.Context, is, _ string) string {
	return "EXISTS (SELECT 1 FROM record_standard AS u WHERE u.standard IN " + those(is) + " AND u.created = listed.created AND u.record = listed.record)"
}

package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"bandproof/runner"
)

// ErrQuery: what is searched for can't be.
var ErrQuery = errors.New("nothing can be found so")

// Check says what no record can match.
func (q Query) Check() error {
	begins := func(s runner.Statement) bool { return strings.HasPrefix(string(s), strings.ToLower(q.Statement)) }
	kinds := []string{string(runner.AsFound), string(runner.AfterRepair), string(runner.AsLeft)}
	switch {
	case !slices.ContainsFunc(statements, begins):
		return fmt.Errorf("%w: no statement begins with %q; there are: %s", ErrQuery, q.Statement, joined(statements))
	case q.Kind != "" && !slices.Contains(kinds, q.Kind):
		return fmt.Errorf("%w: %q is no kind of run; there are: %s", ErrQuery, q.Kind, joined(kinds))
	case !q.Since.IsZero() && !q.Until.IsZero() && !q.Since.Before(q.Until):
		return fmt.Errorf("%w: the time ends before it begins", ErrQuery)
	case q.Limit < 0:
		return fmt.Errorf("%w: the limit is %d, less than nothing; 0 is none", ErrQuery, q.Limit)
	}
	return nil
}

func joined[T ~string](list []T) string {
	parts := make([]string, len(list))
	for k, x := range list {
		parts[k] = string(x)
	}
	return strings.Join(parts, ", ")
}

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
	// Withdrawn: the record says of itself, or the one that corrects it says, that
	// what was measured must not be relied on.
	Withdrawn bool `json:"withdrawn,omitempty"`
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

var statements = []runner.Statement{runner.WithinAll, runner.WithinShown, runner.WithinPoints, runner.Outside, runner.Incomplete, runner.NotObtainable}

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
		a.only(a.states(text(strings.ToLower(q.Statement))))
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

// states is the condition that the statement begins so. Where one statement alone
// does, the index on it gives the newest first; of several, which most records
// have, some are soon found without it.
func (a *asked) states(beginning string) string {
	var whole []runner.Statement
	for _, x := range statements {
		if strings.HasPrefix(string(x), beginning) {
			whole = append(whole, x)
		}
	}
	if len(whole) == 1 {
		return "listed.statement = " + a.put(string(whole[0]))
	}
	is := a.put(beginning)
	return "substr(listed.statement, 1, length(" + is + ")) = " + is
}

// condition is all of WHERE.
func (a *asked) condition() string {
	if len(a.where) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(a.where, " AND ")
}

// List returns the records that match, newest first.
func (s *Store) List(ctx context.Context, q Query) ([]Row, error) {
	if err := q.Check(); err != nil {
		return nil, wrap(s.file, "list", err)
	}
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
		ids, err := a.restOn(ctx, q.Standard)
		if err != nil {
			return nil, wrap(s.file, "list", err)
		}
		if len(ids) > 0 {
			points = "(SELECT coalesce(max(points), 0) FROM record_standard AS u WHERE u.record = page.record AND u.standard IN " + a.putAll(ids) + ")"
		}
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
	}, "WITH page AS MATERIALIZED (SELECT * FROM listed"+a.condition()+newestFirst+limit+`)
		SELECT record, kind, created, asset, serial, customer, model, statement, follows, corrects,
			coalesce((SELECT min(c.record || '') FROM listed AS c WHERE c.corrects = page.record AND c.corrects <> ''), ''),
			EXISTS (SELECT 1 FROM bench_log WHERE as_found = page.record AND what = 'adjustment'
				AND NOT EXISTS (SELECT 1 FROM listed AS l WHERE l.serial = page.serial AND l.created > bench_log.at AND l.kind = 'as-left' AND l.corrects = '')),
			`+points+" FROM page"+newestFirst, a.args...)
	if err != nil {
		return nil, wrap(s.file, "list", err)
	}
	return list, s.markWithdrawn(ctx, list)
}

const newestFirst = " ORDER BY created DESC, record DESC"

// Count tells how many records match, up to a number that is enough to know;
// Limit does not count.
func (s *Store) Count(ctx context.Context, q Query, enough int) (n int, err error) {
	a := s.ask(q)
	if q.Standard != "" {
		if _, err := a.restOn(ctx, q.Standard); err != nil {
			return 0, wrap(s.file, "count", err)
		}
	}
	if err := s.first(ctx, "SELECT count(*) FROM (SELECT 1 FROM listed"+a.condition()+" LIMIT "+a.put(enough)+") AS u", a.args, &n); err != nil {
		return 0, wrap(s.file, "count", err)
	}
	return n, nil
}

// few is how many records rest on a standard that is seldom used.
const few = 500

// restOn is the condition that a record rests on a standard, and the numbers of
// those that may be meant. Of one that is seldom used, the records are named one by one; of one that nearly all use, the newest
// that match are soon found among all.
func (a *asked) restOn(ctx context.Context, standard string) (ids []any, err error) {
	take := func(scan func(...any) error) error {
		var id int64
		err := scan(&id)
		ids = append(ids, id)
		return err
	}
	err = a.s.each(ctx, take, "SELECT id FROM standard WHERE name = $1 OR serial = $1 OR certificate = $1", text(standard))
	if err != nil || len(ids) == 0 {
		a.only("1 = 0")
		return nil, err
	}
	records, err := a.seldom(ctx, ids)
	switch {
	case err != nil:
		return nil, err
	case len(records) == 0:
		a.only("1 = 0")
	case len(records) <= few:
		a.only("listed.record IN " + a.putAll(records))
	default:
		a.only("EXISTS (SELECT 1 FROM record_standard AS u WHERE u.standard IN " + a.putAll(ids) + " AND u.created = listed.created AND u.record = listed.record)")
	}
	return ids, nil
}

// seldom is the records that rest on some standards, or a few too many of them.
func (a *asked) seldom(ctx context.Context, standards []any) (records []any, err error) {
	places := make([]string, len(standards))
	for k := range standards {
		places[k] = fmt.Sprintf("$%d", k+1)
	}
	err = a.s.each(ctx, func(scan func(...any) error) error {
		var id string
		err := scan(&id)
		records = append(records, id)
		return err
	}, fmt.Sprintf("SELECT record FROM record_standard WHERE standard IN (%s) LIMIT %d", strings.Join(places, ", "), few+1), standards...)
	return records, err
}

// putAll takes values and returns their list.
func (a *asked) putAll(list []any) string {
	places := make([]string, len(list))
	for k, v := range list {
		places[k] = a.put(v)
	}
	return "(" + strings.Join(places, ", ") + ")"
}

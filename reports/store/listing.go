package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"bandproof/reports/record"

	"github.com/pressly/goose/v3"
)

// lines is a record as it is found again: what lists show of it, and what searches
// go by.
type lines struct {
	id, kind, created, asset, serial, customer, model, statement, follows, corrects string
	began, ended, words                                                             string
	standards                                                                       []listedStandard
}

func linesOf(r record.Record) lines {
	l := lines{id: r.ID, kind: text(string(r.Run.Kind)), created: stamp(r.Created), asset: text(r.Job.Asset), serial: text(r.Job.Serial), customer: text(r.Job.Customer),
		model: text(r.Model), statement: text(string(r.Run.Statement)), follows: text(r.Follows), standards: restsOn(r)}
	if r.Corrects != nil {
		l.corrects = text(r.Corrects.ID)
	}
	l.began, l.ended = span(r)
	l.words = words(r.Job.Asset, r.Job.Serial, r.Job.Customer, r.Model)
	return l
}

// list puts a record where lists and searches find it.
func list(ctx context.Context, tx txn, l lines) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO listed (created, record, kind, began, ended, asset, serial, customer, model, statement, follows, corrects, words)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)`,
		l.created, l.id, l.kind, l.began, l.ended, l.asset, l.serial, l.customer, l.model, l.statement, l.follows, l.corrects, l.words)
	if err != nil {
		return err
	}
	for _, x := range l.standards {
		if err := listStandard(ctx, tx, l.id, x); err != nil {
			return err
		}
	}
	return nil
}

// span is when a run began and ended, as searches by date compare it.
func span(r record.Record) (began, ended string) {
	from, to := r.Run.Started, r.Run.Finished
	if to.IsZero() {
		to = r.Created
	}
	if from.IsZero() {
		from = to
	}
	return stamp(from), stamp(to)
}

// words is what a search for parts of words looks through. The line feeds keep a
// part from being found across two of them.
func words(texts ...string) string {
	for k, t := range texts {
		texts[k] = text(t)
	}
	return strings.ToLower(strings.Join(texts, "\n"))
}

// listStandard notes that a record rests on a standard, which gets its number, under
// a certificate, with the first record that names it.
func listStandard(ctx context.Context, tx txn, id string, x listedStandard) error {
	note := func() (bool, error) {
		done, err := tx.ExecContext(ctx, `INSERT INTO record_standard (standard, created, record, role, points)
			SELECT min(id), $1, $2, $3, CAST($4 AS bigint) FROM standard WHERE name = $5 AND serial = $6 AND certificate = $7 HAVING count(*) > 0`,
			x.created, id, x.role, x.points, x.name, x.serial, x.certificate)
		if err != nil {
			return false, err
		}
		n, err := done.RowsAffected()
		return n > 0, err
	}
	if there, err := note(); err != nil || there {
		return err
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO standard (name, serial, certificate) VALUES ($1, $2, $3)", x.name, x.serial, x.certificate)
	if err == nil {
		_, err = note()
	}
	return err
}

// listedStandard is one standard as searches know that a record rests on it.
type listedStandard struct {
	name, serial, certificate string
	created, role             string
	points                    int
}

// restsOn lists the standards of a record, each once.
func restsOn(r record.Record) (list []listedStandard) {
	points := pointsOf(r)
	seen := map[[3]string]bool{}
	for _, s := range r.Standards {
		x := listedStandard{text(s.Name), text(s.Serial), text(s.Certificate), stamp(r.Created), text(s.Role), points[s.Name]}
		if key := [3]string{x.name, x.serial, x.certificate}; !seen[key] {
			seen[key] = true
			list = append(list, x)
		}
	}
	return list
}

// pointsOf counts the points and tasks that rest on each standard, by its name in
// the bench file.
func pointsOf(r record.Record) map[string]int {
	points := map[string]int{}
	add := func(lists ...[]string) {
		once := map[string]bool{}
		for _, l := range lists {
			for _, name := range l {
				if !once[name] {
					once[name] = true
					points[name]++
				}
			}
		}
	}
	for _, p := range r.Run.Points {
		var looks [][]string
		for look := &p; look != nil; look = look.Other {
			looks = append(looks, look.Standards)
		}
		add(looks...)
	}
	for _, o := range r.Run.Outcomes {
		add(o.Standards)
	}
	return points
}

// listAll is the migration that puts the records of before where searches find
// them. One that can't be read any more is listed by what stood beside it.
func listAll() *goose.Migration {
	up := func(ctx context.Context, tx *sql.Tx) error {
		for last := ""; ; {
			var ids []string
			err := each(ctx, tx, func(scan func(...any) error) error {
				var id string
				err := scan(&id)
				ids = append(ids, id)
				return err
			}, "SELECT id FROM record WHERE id > $1 ORDER BY id LIMIT 500", last)
			if err != nil || len(ids) == 0 {
				return err
			}
			for _, id := range ids {
				if err := listKept(ctx, tx, id); err != nil {
					return fmt.Errorf("record %s: %w", id, err)
				}
			}
			last = ids[len(ids)-1]
		}
	}
	down := func(context.Context, *sql.Tx) error { return nil } // the tables go with the migration before
	return goose.NewGoMigration(10, &goose.GoFunc{RunTx: up}, &goose.GoFunc{RunTx: down})
}

func listKept(ctx context.Context, tx txn, id string) error {
	var packed []byte
	if err := tx.QueryRowContext(ctx, "SELECT body FROM record WHERE id = $1", id).Scan(&packed); err != nil {
		return err
	}
	body, err := unpack(packed)
	if err == nil {
		var r record.Record
		if r, err = record.Decode(body); err == nil && r.ID == id {
			return list(ctx, tx, linesOf(r))
		}
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO listed (created, record, kind, began, ended, asset, serial, customer, model, statement, follows, corrects, words)
		SELECT created, id, kind, created, created, asset, serial, customer, model, statement, follows, corrects,
			lower(asset || $1 || serial || $1 || customer || $1 || model) FROM record WHERE id = $2`, "\n", id)
	return err
}

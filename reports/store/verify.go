package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"runtime"

	"bandproof/reports/record"
)

// Progress is told how many records of how many were proven; it may be nil.
type Progress func(done, of int)

// Verify proves every record of the store and every chain. An error means that
// the verification itself could not be done; what it found wrong is in what it
// returns. Memory does not grow with the number of records.
func (s *Store) Verify(ctx context.Context, expect record.Expect, progress Progress) (record.Verification, error) {
	v, err := s.verify(ctx, expect, progress)
	if err != nil {
		return v, wrap(s.file, "verify", err)
	}
	return v, nil
}

func (s *Store) verify(ctx context.Context, expect record.Expect, progress Progress) (none record.Verification, err error) {
	w := s.verifier(ctx, s.file, expect, false)
	if err := s.checkWhole(ctx); errors.Is(err, ErrDamaged) {
		w.Stop(err)
	} else if err != nil {
		return none, err
	}
	own, known, err := s.chains(ctx)
	if err != nil {
		return none, err
	}
	w.InPart(known)
	before, err := s.count(ctx)
	if err != nil {
		return none, err
	}
	p := &pipeline{take: func(e record.Examined) {
		w.Take(e)
		if progress != nil {
			progress(w.Records(), before)
		}
	}}
	defer p.end()
	for _, phase := range []func(context.Context, *place) (record.Kept, error){s.nextSealed, s.nextUnsealed} {
		for at := new(place); ; {
			k, err := phase(ctx, at)
			if errors.Is(err, sql.ErrNoRows) {
				break
			}
			if err != nil {
				return none, err
			}
			p.add(k)
		}
	}
	p.end()
	if err := s.findTwice(ctx, w); err != nil {
		return none, err
	}
	after, err := s.count(ctx)
	if err != nil {
		return none, err
	}
	if n := w.Records(); n < before || n > after {
		w.Stop(fmt.Errorf("the store counts %d records, but %d could be read: its indexes do not match its tables", before, n))
	}
	return s.strangers(w.Done(own), known), nil
}

// findTwice finds records that several others correct: which of those stands in
// the place of the first can't be told then.
func (s *Store) findTwice(ctx context.Context, w *record.Verifier) error {
	return s.each(ctx, func(scan func(...any) error) error {
		var id string
		var n int
		err := scan(&id, &n)
		if err == nil {
			w.Found(record.RecordFinding{ID: id, Finding: record.Finding{Text: fmt.Sprintf("%d records correct or withdraw it, each as if there were no other: they come from different stores, or were put here", n)}})
		}
		return err
	}, "SELECT corrects, count(*) FROM record WHERE corrects <> '' GROUP BY corrects HAVING count(*) > 1 ORDER BY corrects")
}

// verifier is one that can look into the store's journals and other records.
func (s *Store) verifier(ctx context.Context, of string, expect record.Expect, single bool) *record.Verifier {
	w := record.NewVerifier(of, expect, single)
	w.Original = func(run string) (record.Original, bool) {
		o, err := s.original(ctx, run)
		return o, err == nil
	}
	w.Corrected = func(id string) (record.Record, bool) {
		r, err := s.Record(ctx, id)
		return r, err == nil && r.ID == id
	}
	return w
}

// strangers adds the chains that the store does not know of.
func (s *Store) strangers(v record.Verification, known map[string]bool) record.Verification {
	for _, c := range v.Chains {
		if _, ok := known[c.ID]; !ok {
			v.Findings = append(v.Findings, record.RecordFinding{Chain: c.ID, Finding: record.Finding{
				Text: fmt.Sprintf("the store does not know of chain %s: its records were put here from elsewhere, and not by \"records import\"", c.ID)}})
		}
	}
	return v
}

// VerifyRecord proves one record and its place: that it follows on the one before
// it, and the one behind it on it.
func (s *Store) VerifyRecord(ctx context.Context, id string, expect record.Expect) (record.Verification, error) {
	v, err := s.verifyRecord(ctx, id, expect)
	if err != nil {
		return v, wrap(s.file, "verify record "+id, err)
	}
	return v, nil
}

func (s *Store) verifyRecord(ctx context.Context, id string, expect record.Expect) (none record.Verification, err error) {
	whole, err := s.whole(ctx, id)
	if err != nil {
		return none, err
	}
	k, err := s.kept(ctx, " WHERE id = $1", whole)
	if err != nil {
		return none, err
	}
	list := []record.Kept{k}
	for _, beside := range []string{
		" WHERE chain = $1 AND chain <> '' AND number < $2 ORDER BY number DESC LIMIT 1",
		" WHERE chain = $1 AND chain <> '' AND number > $2 ORDER BY number LIMIT 1",
	} {
		b, err := s.kept(ctx, beside, k.Chain, k.Number)
		switch {
		case errors.Is(err, sql.ErrNoRows) || k.Chain == "":
		case err != nil:
			return none, err
		case b.Number < k.Number:
			list = append([]record.Kept{b}, list...)
		default:
			list = append(list, b)
		}
	}
	own, known, err := s.chains(ctx)
	if err != nil {
		return none, err
	}
	w := s.verifier(ctx, "record "+whole, expect, true)
	w.InPart(known)
	for _, k := range list {
		w.Take(record.Examine(k))
	}
	v := w.Done(own)
	v.Shown = append(v.Shown, neighbours(list, whole)...)
	return v, nil
}

// neighbours says which neighbours were looked at.
func neighbours(list []record.Kept, id string) []string {
	var before, behind string
	seen := false
	for _, k := range list {
		switch {
		case k.Name == id:
			seen = true
		case seen:
			behind = k.Name
		default:
			before = k.Name
		}
	}
	if before == "" {
		before = "nothing"
	}
	if behind == "" {
		behind = "nothing, it is the newest"
	}
	return []string{fmt.Sprintf("before it in its chain: %s; behind it: %s", before, behind)}
}

func (s *Store) count(ctx context.Context) (n int, err error) {
	return n, s.db.QueryRowContext(ctx, "SELECT count(*) FROM record").Scan(&n)
}

// chains are those that the store knows, whether each came in part, and which is
// its own.
func (s *Store) chains(ctx context.Context) (own string, known map[string]bool, err error) {
	rows, err := s.db.QueryContext(ctx, "SELECT id, own FROM chain")
	if err != nil {
		return "", nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	known = map[string]bool{}
	for rows.Next() {
		var id string
		var is int
		if err := rows.Scan(&id, &is); err != nil {
			return "", nil, err
		}
		known[id] = is == chainInPart
		if is == chainOwn {
			own = id
		}
	}
	return own, known, rows.Err()
}

// place is where a walk through the records has come to.
type place struct {
	chain  string
	number int
	id     string
}

const keptColumns = `SELECT id, kind, created, asset, serial, customer, model, statement, follows, corrects,
	coalesce((SELECT words FROM listed AS l WHERE l.record = record.id AND l.kind = record.kind AND l.created = record.created AND l.asset = record.asset
		AND l.serial = record.serial AND l.customer = record.customer AND l.model = record.model AND l.statement = record.statement
		AND l.follows = record.follows AND l.corrects = record.corrects), ''),
	chain, number, seal, signature, packed_sha256, body FROM record`

// What follows a place: among the records of chains, and among the others.
const (
	sealedAfter   = " WHERE chain <> '' AND (chain, number, id) > ($1, $2, $3) ORDER BY chain, number, id LIMIT 1"
	unsealedAfter = " WHERE chain = '' AND id > $1 ORDER BY id LIMIT 1"
)

// nextSealed is the record after a place, in the order of chains and numbers.
func (s *Store) nextSealed(ctx context.Context, at *place) (record.Kept, error) {
	return s.nextKept(ctx, at, sealedAfter, at.chain, at.number, at.id)
}

// nextUnsealed is the next record that is in no chain.
func (s *Store) nextUnsealed(ctx context.Context, at *place) (record.Kept, error) {
	return s.nextKept(ctx, at, unsealedAfter, at.id)
}

func (s *Store) nextKept(ctx context.Context, at *place, where string, args ...any) (record.Kept, error) {
	k, err := s.kept(ctx, where, args...)
	if err == nil {
		*at = place{k.Chain, k.Number, k.Name}
	}
	return k, err
}

// kept reads one record as it lies there, with what stands beside it.
func (s *Store) kept(ctx context.Context, where string, args ...any) (record.Kept, error) {
	k, err := s.scanKept(s.db.QueryRowContext(ctx, keptColumns+where, args...))
	if err != nil {
		return k, err
	}
	k.Beside, err = s.beside(ctx, k.Name)
	return k, err
}

// beside reads what searches by date and by standard go by, to be compared with
// the record.
func (s *Store) beside(ctx context.Context, id string) (func(record.Record) []error, error) {
	var began, ended string
	err := s.db.QueryRowContext(ctx, "SELECT coalesce(min(began), ''), coalesce(max(ended), '') FROM listed WHERE record = $1", id).Scan(&began, &ended)
	if err != nil {
		return nil, err
	}
	kept := map[listedStandard]bool{}
	err = each(ctx, s.db, func(scan func(...any) error) error {
		var x listedStandard
		err := scan(&x.name, &x.serial, &x.certificate, &x.created, &x.role, &x.points)
		kept[x] = true
		return err
	}, "SELECT s.name, s.serial, s.certificate, u.created, u.role, u.points FROM record_standard AS u JOIN standard AS s ON s.id = u.standard WHERE u.record = $1", id)
	if err != nil {
		return nil, err
	}
	return func(r record.Record) (wrong []error) {
		if from, to := span(r); from != began || to != ended {
			wrong = append(wrong, fmt.Errorf("searches by date have it from %q to %q; the record says %q to %q", began, ended, from, to))
		}
		for _, x := range restsOn(r) {
			if !kept[x] {
				wrong = append(wrong, fmt.Errorf("searches do not find it by standard %q, which %d of its points rest on", x.name, x.points))
			}
			delete(kept, x)
		}
		for x := range kept {
			wrong = append(wrong, fmt.Errorf("searches find it by standard %q for %d points, which is not what the record says", x.name, x.points))
		}
		return wrong
	}, nil
}

// scanKept reads a record as it lies there; damage does not stop it.
func (s *Store) scanKept(row *sql.Row) (record.Kept, error) {
	var k record.Kept
	var sum, listed string
	var packed, seal, signature []byte
	names := record.IndexNames()
	values := make([]string, len(names))
	to := make([]any, 0, len(names)+6)
	for i := range values {
		to = append(to, &values[i])
	}
	if err := row.Scan(append(to, &listed, &k.Chain, &k.Number, &seal, &signature, &sum, &packed)...); err != nil {
		return k, err
	}
	k.Index, k.Filed = map[string]string{}, text
	for i, name := range names {
		k.Index[name] = values[i]
	}
	k.Name = k.Index["id"]
	if listed != words(k.Index["asset"], k.Index["serial"], k.Index["customer"], k.Index["model"]) {
		k.Damage = append(k.Damage, errors.New("lists and searches do not show it as it is kept"))
	}
	if len(seal) > 0 && sum != record.Hash(packed) || len(seal) == 0 && sum != "" && sum != record.Hash(packed) {
		k.Damage = append(k.Damage, errors.New("what is kept of it (compressed) is not what was kept: its SHA-256 differs"))
	}
	body, err := unpack(packed)
	if err != nil {
		k.Damage = append(k.Damage, fmt.Errorf("it can't be unpacked: %w", err))
	}
	if k.Sealed, err = record.NewSealed(body, seal, signature); err != nil {
		k.Damage = append(k.Damage, fmt.Errorf("its seal can't be read: %w", err))
		k.Seal = record.Seal{}
	}
	return k, nil
}

// original is what the journal of a run still holds.
func (s *Store) original(ctx context.Context, run string) (record.Original, error) {
	var text string
	if err := s.db.QueryRowContext(ctx, "SELECT header FROM run WHERE id = $1", run).Scan(&text); err != nil {
		return record.Original{}, err
	}
	h, err := decode[Header](text)
	if err != nil {
		return record.Original{}, err
	}
	e, err := s.Earlier(ctx, run)
	if err != nil {
		return record.Original{}, err
	}
	return record.Original{Job: h.Job, Procedure: h.Procedure, Bench: h.Bench, Overdue: h.Overdue, Points: e.Points, Outcomes: e.Outcomes, Entries: e.Entries, Events: e.Events}, nil
}

// checkWhole lets SQLite look through all pages and indexes; a server does that
// for itself.
func (s *Store) checkWhole(ctx context.Context) error {
	if s.dialect != sqliteDialect {
		return nil
	}
	return checkPages(ctx, s.db, "integrity_check")
}

// pipeline examines records on all processors and hands them on in order.
type pipeline struct {
	take  func(record.Examined)
	under []chan record.Examined
}

func (p *pipeline) add(k record.Kept) {
	done := make(chan record.Examined, 1)
	go func() { done <- record.Examine(k) }()
	p.under = append(p.under, done)
	if len(p.under) > runtime.GOMAXPROCS(0) {
		p.first()
	}
}

func (p *pipeline) first() {
	p.take(<-p.under[0])
	p.under = p.under[1:]
}

// end waits for what is under way.
func (p *pipeline) end() {
	for len(p.under) > 0 {
		p.first()
	}
}

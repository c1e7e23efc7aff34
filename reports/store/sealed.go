package store

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/ed25519"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"bandproof/reports/record"

	"github.com/google/uuid"
)

// What the store is to a chain: it came with an archive that had all of it up to
// some record, the store adds to it, or it came in part.
const (
	chainWhole = iota
	chainOwn
	chainInPart
)

// Head is the end of a chain of records: the hash of its newest seal and how many
// records it has. Without them a tail that was cut off can't be noticed.
type Head struct {
	Chain string `json:"chain"`
	Hash  string `json:"head"`
	Count int    `json:"count"`
}

// Add seals a record as the next of the store's chain and keeps it, whole.
// before, where it is not nil, is called with the sealed record before that is
// final: a process that is killed in it has not added the record.
func (s *Store) Add(ctx context.Context, r record.Record, key ed25519.PrivateKey, now time.Time, before func(record.Sealed)) (record.Sealed, error) {
	ready, err := prepare(r)
	var sealed record.Sealed
	if err == nil {
		sealed, err = s.append(ctx, ready, key, now, before)
	}
	if err != nil {
		return record.Sealed{}, wrap(s.file, "add record "+r.ID, err)
	}
	return sealed, nil
}

// prepared is a record with all that takes time done, so that nobody waits for it
// who adds to the chain too.
type prepared struct {
	record record.Record
	draft  record.Draft
	packed
	lines lines
}

// packed is a record's bytes, compressed, and the SHA-256 of what that gave.
type packed struct {
	body []byte
	sum  string
}

func newPacked(body []byte) packed { return packed{body, record.Hash(body)} }

func prepare(r record.Record) (p prepared, err error) {
	p.record, p.lines = r, linesOf(r)
	if p.draft, err = r.Draft(); err != nil {
		return p, err
	}
	body, err := pack(p.draft.Bytes)
	p.packed = newPacked(body)
	return p, err
}

func (s *Store) append(ctx context.Context, p prepared, key ed25519.PrivateKey, now time.Time, before func(record.Sealed)) (sealed record.Sealed, err error) {
	err = s.within(ctx, func(tx txn) error {
		at, err := s.nextLink(ctx, tx)
		if err == nil {
			err = correctable(ctx, tx, p.record)
		}
		if err != nil {
			return err
		}
		if sealed, err = p.draft.Seal(at, now, key); err != nil {
			return err
		}
		if err := insertRecord(ctx, tx, p.lines, sealed, p.packed); err != nil || before == nil {
			return err
		}
		before(sealed)
		return nil
	})
	return sealed, err
}

// nextLink is the place of the next record in the store's own chain, which is
// begun with the first. Until the transaction ends nobody else takes that place.
func (s *Store) nextLink(ctx context.Context, tx txn) (record.Link, error) {
	if s.dialect.lockChain != "" {
		if _, err := tx.ExecContext(ctx, s.dialect.lockChain); err != nil {
			return record.Link{}, err
		}
	}
	var at record.Link
	var seal string
	err := tx.QueryRowContext(ctx, `SELECT chain.id, coalesce(newest.number, 0), coalesce(newest.seal, '') FROM chain
		LEFT JOIN record AS newest ON newest.chain = chain.id AND newest.chain <> '' AND newest.number = (SELECT max(number) FROM record WHERE record.chain = chain.id AND record.chain <> '')
		WHERE own = 1`).Scan(&at.Chain, &at.Number, &seal)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		at.Chain = uuid.NewString()
		_, err = tx.ExecContext(ctx, "INSERT INTO chain (id, own) VALUES ($1, 1)", at.Chain)
	case at.Number > 0:
		at.Previous = record.Hash([]byte(seal))
	}
	at.Number++
	return at, err
}

// querier is a database or a transaction.
type querier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func headOf(ctx context.Context, q querier, chain string) (Head, error) {
	h := Head{Chain: chain}
	var seal string
	err := q.QueryRowContext(ctx, "SELECT number, seal FROM record WHERE chain = $1 AND chain <> '' ORDER BY number DESC LIMIT 1", chain).Scan(&h.Count, &seal)
	if errors.Is(err, sql.ErrNoRows) {
		return h, nil
	}
	h.Hash = record.Hash([]byte(seal))
	return h, err
}

func insertRecord(ctx context.Context, tx txn, l lines, s record.Sealed, p packed) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO record (id, kind, created, asset, serial, customer, model, statement, follows, corrects, chain, number, seal, signature, packed_sha256, body)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)`,
		l.id, l.kind, l.created, l.asset, l.serial, l.customer, l.model, l.statement, l.follows, l.corrects,
		s.Seal.Chain, s.Seal.Number, string(s.SealBytes), s.Signature, p.sum, p.body)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "DELETE FROM open_run WHERE run = $1", l.id); err != nil {
		return err
	}
	return list(ctx, tx, l)
}

// Head is the end of the chain that a record stands in.
func (s *Store) Head(ctx context.Context, chain string) (Head, error) {
	h, err := headOf(ctx, s.db, chain)
	if err != nil {
		return h, wrap(s.file, "head of chain "+chain, err)
	}
	return h, nil
}

// Record returns one record by its id, or by the beginning or the end of an id
// that only one record has. It is not verified.
func (s *Store) Record(ctx context.Context, id string) (record.Record, error) {
	sealed, err := s.Sealed(ctx, id)
	if err != nil {
		return record.Record{}, err
	}
	r, err := sealed.Record()
	if err != nil {
		return record.Record{}, wrap(s.file, "record "+id, err)
	}
	return r, nil
}

// Sealed returns one record as it is kept, by the same ids as Record.
func (s *Store) Sealed(ctx context.Context, id string) (record.Sealed, error) {
	whole, err := s.whole(ctx, id)
	if err != nil {
		return record.Sealed{}, wrap(s.file, "record "+id, err)
	}
	var seal string
	var packed, signature []byte
	err = s.db.QueryRowContext(ctx, "SELECT seal, signature, body FROM record WHERE id = $1", whole).Scan(&seal, &signature, &packed)
	if err != nil {
		return record.Sealed{}, wrap(s.file, "record "+id, err)
	}
	body, err := unpack(packed)
	if err != nil {
		return record.Sealed{}, wrap(s.file, "record "+id, err)
	}
	sealed, err := record.NewSealed(body, []byte(seal), signature)
	if err != nil {
		return record.Sealed{}, wrap(s.file, "record "+id, err)
	}
	return sealed, nil
}

// whole finds the id that begins or ends as given.
func (s *Store) whole(ctx context.Context, id string) (string, error) {
	var ids []string
	ends := s.dialect.endsWith
	if utf8.RuneCountInString(id) >= 8 { // by the index
		ends = s.dialect.tail("record") + " = " + s.dialect.tail("$1") + " AND " + ends
	}
	for _, where := range []string{"record = $1", "record >= $1 AND record < $1 || '􏿿'", ends} {
		if id == "" {
			break
		}
		err := s.each(ctx, func(scan func(...any) error) error {
			var one string
			err := scan(&one)
			if !slices.Contains(ids, one) {
				ids = append(ids, one)
			}
			return err
		}, "SELECT record FROM listed WHERE "+where+" LIMIT 3", id)
		if err != nil {
			return "", err
		}
		if len(ids) > 0 && ids[0] == id {
			return id, nil
		}
	}
	switch len(ids) {
	case 0:
		return "", fmt.Errorf("%w; \"records list\" shows what there is", ErrNotFound)
	case 1:
		return ids[0], nil
	}
	return "", fmt.Errorf("%w: several begin or end so (%s, …); give more of it", ErrNotFound, strings.Join(ids, ", "))
}

// mostBytes bounds what a record may unpack to.
const mostBytes = 4 << 30

func pack(body []byte) ([]byte, error) {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write(body)
	if err = errors.Join(err, w.Close()); err != nil {
		return nil, fmt.Errorf("pack record: %w", err)
	}
	return b.Bytes(), nil
}

// unpack gives the bytes of a record; those from before there were seals are
// not packed.
func unpack(packed []byte) ([]byte, error) {
	if !bytes.HasPrefix(packed, []byte{0x1f, 0x8b}) {
		return packed, nil
	}
	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, fmt.Errorf("is damaged: %w", err)
	}
	body, err := io.ReadAll(io.LimitReader(r, mostBytes))
	if err != nil {
		return nil, fmt.Errorf("is damaged: %w", err)
	}
	return body, nil
}

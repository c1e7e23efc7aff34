package store

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"database/sql"
	_ "embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"bandproof/reports/record"
)

//go:embed archive.txt
var archiveText []byte

// ErrNotProven: a record that is to be exported, or is imported, does not hold.
var ErrNotProven = errors.New("does not prove")

// Export is what goes into an archive.
type Export struct {
	// IDs are those of records, whole or as Record takes them; empty: everything.
	IDs []string
	// Salvage leaves out what can't be read, and says so, where else the export
	// ends.
	Salvage bool
	Now     time.Time
}

// Export writes an archive: records with their seals, the public keys that signed
// them, journals and wire logs of their runs, and, where everything is exported,
// all journals, the bench log, imported results and logos. It is there whole or
// not at all. Memory does not grow with what is in it, but for its list of names.
func (s *Store) Export(ctx context.Context, to string, x Export) (Manifest, error) {
	m, err := s.export(ctx, to, x)
	if err != nil {
		return m, wrap(s.file, "export to "+to, err)
	}
	return m, nil
}

func (s *Store) export(ctx context.Context, to string, x Export) (m Manifest, err error) {
	ids := make([]string, len(x.IDs))
	for k, id := range x.IDs {
		if ids[k], err = s.whole(ctx, id); err != nil {
			return m, err
		}
	}
	slices.Sort(ids)
	ids = slices.Compact(ids)
	a, dir, err := newArchive(to, x.Now)
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, a.close()) }()
	// One view of the store, whatever is written meanwhile.
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true, Isolation: s.dialect.snapshot})
	if err != nil {
		return m, err
	}
	defer func() { _ = tx.Rollback() }() // nothing was written
	e := &exporting{s: s, tx: tx, a: a, salvage: x.Salvage, keys: map[string]bool{}, chains: map[string]*ArchivedChain{}}
	e.m = Manifest{Schema: ArchiveSchema, Program: record.Version, Made: x.Now.UTC(), Whole: len(ids) == 0, Chains: []ArchivedChain{}}
	if err := e.all(ctx, ids); err != nil {
		return m, err
	}
	if err := a.finish(e.m); err != nil {
		return m, err
	}
	return e.m, rename(filepath.Join(dir, "archive"), to)
}

// exporting is an archive in the making.
type exporting struct {
	s       *Store
	tx      *sql.Tx
	a       *archiveWriter
	m       Manifest
	salvage bool
	keys    map[string]bool // in hex
	chains  map[string]*ArchivedChain
}

func (e *exporting) all(ctx context.Context, ids []string) error {
	if err := e.a.bytes(archiveReadme, archiveText); err != nil {
		return err
	}
	if err := e.records(ctx, ids); err != nil {
		return err
	}
	if err := e.heads(ctx); err != nil {
		return err
	}
	if err := e.publicKeys(); err != nil {
		return err
	}
	for _, part := range []func(context.Context, []string) error{e.runs, e.benchLog, e.imported, e.logos} {
		if err := part(ctx, ids); err != nil {
			if !e.salvage {
				return err
			}
			e.m.LeftOut = append(e.m.LeftOut, LeftOut{Why: err.Error()})
		}
	}
	return nil
}

// records writes those asked for, or all: each chain in order, then what has no seal.
func (e *exporting) records(ctx context.Context, ids []string) error {
	if e.m.Whole && !e.salvage {
		for _, where := range []string{sealedAfter, unsealedAfter} {
			for at := new(place); ; {
				args := []any{at.chain, at.number, at.id}
				if where == unsealedAfter {
					args = args[2:]
				}
				k, err := e.s.scanKept(e.tx.QueryRowContext(ctx, keptColumns+where, args...))
				if errors.Is(err, sql.ErrNoRows) {
					break
				}
				if err != nil {
					return err
				}
				*at = place{k.Chain, k.Number, k.Name}
				if err := e.record(k); err != nil {
					return err
				}
			}
		}
		return nil
	}
	next := e.given(ids)
	if e.m.Whole {
		next = e.readable
		e.m.Whole = false // perhaps
	}
	for last := ""; ; {
		id, err := next(ctx, last)
		if err != nil || id == "" {
			return err
		}
		k, err := e.s.scanKept(e.tx.QueryRowContext(ctx, keptColumns+" WHERE id = $1", id))
		if err == nil {
			err = e.record(k)
		}
		if err != nil && !e.salvage {
			return err
		}
		if err != nil {
			e.m.LeftOut = append(e.m.LeftOut, LeftOut{id, err.Error()})
		}
		last = id
	}
}

// given walks through a sorted list of ids.
func (e *exporting) given(ids []string) func(context.Context, string) (string, error) {
	return func(_ context.Context, last string) (string, error) {
		k, _ := slices.BinarySearch(ids, last+"\x00")
		if k == len(ids) {
			return "", nil
		}
		return ids[k], nil
	}
}

// readable is the next id that an index still has.
func (e *exporting) readable(ctx context.Context, last string) (id string, err error) {
	err = e.tx.QueryRowContext(ctx, "SELECT id FROM record WHERE id > $1 ORDER BY id LIMIT 1", last).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	if err != nil { // the end of what can be found
		e.m.LeftOut = append(e.m.LeftOut, LeftOut{"after " + last, err.Error()})
		return "", nil
	}
	return id, nil
}

// record writes one with its seal, if it holds.
func (e *exporting) record(k record.Kept) error {
	if findings := record.Examine(k).Findings; len(findings) > 0 {
		return fmt.Errorf("record %s %w: %s; \"records verify\" says more, \"--salvage\" leaves it out", k.Name, ErrNotProven, findings[0].Text)
	}
	e.m.Records++
	base := fmt.Sprintf("records/%06d-%s", e.m.Records, inName(k.Name))
	if err := e.a.bytes(base+".json", k.Bytes); err != nil {
		return err
	}
	if !k.IsSealed() {
		e.m.Unsealed++
		return nil
	}
	e.keys[k.Seal.Key] = true
	c := e.chains[k.Seal.Chain]
	if c == nil {
		c = &ArchivedChain{Head: Head{Chain: k.Seal.Chain}}
		e.chains[k.Seal.Chain] = c
	}
	c.Records++
	if err := e.a.bytes(base+".seal", k.SealBytes); err != nil {
		return err
	}
	return e.a.bytes(base+".sig", k.Signature)
}

var notInName = regexp.MustCompile(`[^0-9A-Za-z]+`)

// inName is an id as part of a name: every system takes it.
func inName(id string) string {
	id = strings.Trim(notInName.ReplaceAllString(id, "-"), "-")
	if len(id) > 40 {
		id = id[:40]
	}
	if id == "" {
		return "x"
	}
	return id
}

// heads are those of the chains as they are, not as far as they are in the archive.
func (e *exporting) heads(ctx context.Context) error {
	for _, id := range slices.Sorted(maps.Keys(e.chains)) {
		h, err := headOf(ctx, e.tx, id)
		if err != nil && !e.salvage {
			return err
		}
		c := e.chains[id]
		if c.Head = h; c.Records != h.Count {
			e.m.Whole = false // the store has it in part
		}
		e.m.Chains = append(e.m.Chains, *c)
	}
	return nil
}

func (e *exporting) publicKeys() error {
	for _, key := range slices.Sorted(maps.Keys(e.keys)) {
		public, err := hex.DecodeString(key)
		if err != nil {
			return err
		}
		text, err := record.PublicPEM(ed25519.PublicKey(public))
		if err != nil {
			return err
		}
		if err := e.a.bytes("keys/"+record.Fingerprint(public)+".pem", text); err != nil {
			return err
		}
	}
	return nil
}

// wanted tells whether the run of a record that is exported.
func wanted(ids []string, run string) bool {
	_, in := slices.BinarySearch(ids, run)
	return len(ids) == 0 || in
}

// runs writes journals and wire logs.
func (e *exporting) runs(ctx context.Context, ids []string) error {
	for last := ""; ; {
		var id string
		err := e.tx.QueryRowContext(ctx, "SELECT id FROM run WHERE id > $1 ORDER BY id LIMIT 1", last).Scan(&id)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		if err != nil {
			return err
		}
		last = id
		if !wanted(ids, id) {
			continue
		}
		err = e.run(ctx, id)
		if err != nil && !e.salvage {
			return fmt.Errorf("run %s: %w", id, err)
		}
		if err != nil {
			e.m.LeftOut = append(e.m.LeftOut, LeftOut{Why: fmt.Sprintf("run %s: %v", id, err)})
		}
	}
}

func (e *exporting) run(ctx context.Context, id string) error {
	r := runLine{ID: id}
	var header string
	if err := e.tx.QueryRowContext(ctx, "SELECT kind, started, header FROM run WHERE id = $1", id).Scan(&r.Kind, &r.Started, &header); err != nil {
		return err
	}
	r.Header = rawOf(header)
	e.m.Runs++
	base := fmt.Sprintf("runs/%06d-%s", e.m.Runs, inName(r.ID))
	err := e.a.member(base+".jsonl", false, func(w io.Writer) error {
		if err := writeLine(w, r); err != nil {
			return err
		}
		return each(ctx, e.tx, func(scan func(...any) error) error {
			var l journalLine
			var body string
			if err := scan(&l.What, &body); err != nil {
				return err
			}
			l.Body = rawOf(body)
			return writeLine(w, l)
		}, "SELECT what, body FROM journal WHERE run = $1 ORDER BY seq", r.ID)
	})
	if err != nil {
		return err
	}
	var parts int
	if err := e.tx.QueryRowContext(ctx, "SELECT count(*) FROM wire_log WHERE run = $1", r.ID).Scan(&parts); err != nil || parts == 0 {
		return err
	}
	return e.a.member(base+".wire.gz", true, func(w io.Writer) error {
		return each(ctx, e.tx, func(scan func(...any) error) error {
			var part []byte
			if err := scan(&part); err != nil {
				return err
			}
			_, err := w.Write(part)
			return err
		}, "SELECT body FROM wire_log WHERE run = $1 ORDER BY seq", r.ID)
	})
}

func (e *exporting) benchLog(ctx context.Context, ids []string) error {
	if len(ids) > 0 {
		return nil
	}
	return e.a.member(archiveBenchLog, false, func(w io.Writer) error {
		return each(ctx, e.tx, func(scan func(...any) error) error {
			var l benchLine
			var body string
			if err := scan(&l.Entry, &l.What, &l.At, &l.Serial, &l.Procedure, &l.AsFound, &body); err != nil {
				return err
			}
			l.Body = rawOf(body)
			return writeLine(w, l)
		}, "SELECT entry, what, at, serial, procedure, as_found, body FROM bench_log ORDER BY seq")
	})
}

// imported writes files of earlier results as they came, and what was read from them.
func (e *exporting) imported(ctx context.Context, ids []string) error {
	if len(ids) > 0 {
		return nil
	}
	var list []importedLine
	err := each(ctx, e.tx, func(scan func(...any) error) error {
		var l importedLine
		err := scan(&l.SHA256, &l.Name, &l.Imported, &l.Who, &l.Separator, &l.Decimal)
		list = append(list, l)
		return err
	}, "SELECT sha256, name, imported, who, separator, decimal_mark FROM imported_file ORDER BY imported, sha256")
	if err != nil {
		return err
	}
	for _, l := range list {
		var body []byte
		if err := e.tx.QueryRowContext(ctx, "SELECT body FROM imported_file WHERE sha256 = $1", l.SHA256).Scan(&body); err != nil {
			return err
		}
		if err := e.a.bytes("imported/"+l.SHA256, body); err != nil {
			return err
		}
	}
	return e.a.member(archiveImported, false, func(w io.Writer) error {
		for _, l := range list {
			l.Results = []resultLine{}
			if err := each(ctx, e.tx, func(scan func(...any) error) error {
				var r resultLine
				var body string
				err := scan(&r.SHA256, &r.Line, &r.Asset, &r.Serial, &body)
				r.Body = rawOf(body)
				l.Results = append(l.Results, r)
				return err
			}, "SELECT sha256, line, asset, serial, body FROM imported_result WHERE file = $1 ORDER BY line, sha256", l.SHA256); err != nil {
				return err
			}
			if err := writeLine(w, l); err != nil {
				return err
			}
		}
		return nil
	})
}

// logos writes the pictures that records name.
func (e *exporting) logos(ctx context.Context, _ []string) error {
	var list []string
	err := each(ctx, e.tx, func(scan func(...any) error) error {
		var sum string
		err := scan(&sum)
		list = append(list, sum)
		return err
	}, "SELECT sha256 FROM logo ORDER BY sha256")
	if err != nil {
		return err
	}
	for _, sum := range list {
		var body []byte
		if err := e.tx.QueryRowContext(ctx, "SELECT body FROM logo WHERE sha256 = $1", sum).Scan(&body); err != nil {
			return err
		}
		if record.Hash(body) != sum {
			return fmt.Errorf("logo %.16s… is damaged: its SHA-256 differs", sum)
		}
		if err := e.a.member("logos/"+sum, true, func(w io.Writer) error {
			_, err := io.Copy(w, bytes.NewReader(body))
			return err
		}); err != nil {
			return err
		}
	}
	return nil
}

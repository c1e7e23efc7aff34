package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"bandproof/reports/record"
)

// ErrConflict: the store has something else under the same name.
var ErrConflict = errors.New("is in the store already, and differs")

// Taken is what an import has put into the store.
type Taken struct {
	Manifest Manifest `json:"manifest"`
	Records  int      `json:"records"` // new ones
	Known    int      `json:"known"`   // records that were there, the very same
	Runs     int      `json:"runs"`    // journals that were new or are longer now
	Files    int      `json:"files"`   // imported results and logos that were new
	// SignedBy counts the records that each key has signed, by its fingerprint.
	SignedBy map[string]int `json:"signed_by"`
}

// Import puts an archive into the store, all of it or nothing: before anything
// is written every hash, signature and chain in it is proven. What the store has
// already is passed over where it is the same, and refused where it differs. Its
// chains stay what they are: the store goes on adding to its own. keys are the
// fingerprints of those that may have signed; any, where none is named.
func (s *Store) Import(ctx context.Context, file string, keys ...string) (Taken, error) {
	t, err := s.importArchive(ctx, file, keys)
	if err != nil {
		return Taken{}, wrap(s.file, "import of "+file, err)
	}
	return t, nil
}

func (s *Store) importArchive(ctx context.Context, file string, keys []string) (t Taken, err error) {
	a, err := openArchive(file)
	if err != nil {
		return t, err
	}
	defer func() { err = errors.Join(err, a.close()) }()
	t.Manifest = a.manifest
	p, err := a.prove(ctx, keys)
	if err != nil {
		return t, err
	}
	t.SignedBy = p.signedBy
	err = s.within(ctx, func(tx txn) error {
		if s.dialect.lockChain != "" {
			if _, err := tx.ExecContext(ctx, s.dialect.lockChain); err != nil {
				return err
			}
		}
		i := &importing{a: a, tx: tx, t: &t, chains: p.chains}
		for _, name := range a.names {
			if err := i.member(ctx, name); err != nil {
				return err
			}
		}
		return i.gaps(ctx)
	})
	return t, err
}

// prove reads every member, and proves the records and their chains.
func (a *archiveReader) prove(ctx context.Context, keys []string) (*proving, error) {
	p := &proving{keys: keys, chains: map[string]*ArchivedChain{}, signedBy: map[string]int{}}
	for _, name := range a.names {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		base, isRecord := strings.CutSuffix(name, ".json")
		var err error
		switch {
		case isRecord:
			var k record.Kept
			if k, err = a.kept(name, base); err == nil {
				err = p.take(k, a.manifest.Whole)
			}
		case (strings.HasSuffix(name, ".seal") || strings.HasSuffix(name, ".sig")) && a.members[name[:strings.LastIndex(name, ".")]+".json"] == nil:
			err = fmt.Errorf("%s has no record", name)
		default:
			err = a.read(name)
		}
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrArchive, err)
		}
	}
	if err := p.agrees(a.manifest); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrArchive, err)
	}
	return p, nil
}

// read reads a member to its end, and so its sum.
func (a *archiveReader) read(name string) error {
	r, err := a.open(name)
	if err != nil {
		return err
	}
	_, err = io.Copy(io.Discard, r)
	return errors.Join(err, r.Close())
}

// proving holds the records of an archive against each other.
type proving struct {
	records, unsealed int
	chains            map[string]*ArchivedChain // by id; Count is the number of the last one
	keys              []string                  // that may have signed; any where empty
	signedBy          map[string]int
}

func (p *proving) take(k record.Kept, whole bool) error {
	p.records++
	if findings := record.Examine(k).Findings; len(findings) > 0 {
		return fmt.Errorf("%s %w: %s", k.Name, ErrNotProven, findings[0].Text)
	}
	if !k.IsSealed() {
		p.unsealed++
		return nil
	}
	key := k.Seal.KeyFingerprint()
	if len(p.keys) > 0 && !slices.Contains(p.keys, key) {
		return fmt.Errorf("%s is signed by key %s; expected %s", k.Name, key, strings.Join(p.keys, " or "))
	}
	p.signedBy[key]++
	c := p.chains[k.Seal.Chain]
	if c == nil {
		c = &ArchivedChain{Head: Head{Chain: k.Seal.Chain}}
		p.chains[k.Seal.Chain] = c
	}
	if whole || k.Seal.Number == c.Count+1 && (c.Count > 0 || k.Seal.Number == 1) {
		if err := k.Follows(record.Link{Chain: c.Chain, Number: c.Count + 1, Previous: c.Hash}); err != nil {
			return err
		}
	}
	c.Count, c.Hash, c.Records = k.Seal.Number, k.Sealed.Head(), c.Records+1
	return nil
}

// agrees compares what was found with what the manifest says.
func (p *proving) agrees(m Manifest) error {
	if p.records != m.Records || p.unsealed != m.Unsealed || len(p.chains) != len(m.Chains) {
		return fmt.Errorf("%s tells of %d records in %d chains, and %d without seal; there are %d in %d, and %d", archiveManifest, m.Records, len(m.Chains), m.Unsealed, p.records, len(p.chains), p.unsealed)
	}
	for _, want := range m.Chains {
		c := p.chains[want.Chain]
		if c == nil || c.Records != want.Records || m.Whole && c.Head != want.Head {
			return fmt.Errorf("%s tells of %d records of chain %s, the last one number %d; that is not what is here", archiveManifest, want.Records, want.Chain, want.Count)
		}
	}
	return nil
}

// importing puts members into the store within one transaction.
type importing struct {
	a  *archiveReader
	tx txn
	t  *Taken
	// chains are those of the archive.
	chains map[string]*ArchivedChain
}

func (i *importing) member(ctx context.Context, name string) error {
	base, isRecord := strings.CutSuffix(name, ".json")
	switch {
	case isRecord:
		k, err := i.a.kept(name, base)
		if err != nil {
			return err
		}
		return i.record(ctx, k)
	case strings.HasPrefix(name, "runs/") && strings.HasSuffix(name, ".jsonl"):
		return i.run(ctx, name)
	case name == archiveBenchLog:
		return i.a.lines(name, func(line []byte) error { return i.benchLine(ctx, line) })
	case name == archiveImported:
		return i.a.lines(name, func(line []byte) error { return i.importedLine(ctx, line) })
	case strings.HasPrefix(name, "logos/"):
		return i.logo(ctx, name)
	}
	return nil // read beside another one, or of use to people alone
}

func (i *importing) record(ctx context.Context, k record.Kept) error {
	r, err := k.Record()
	if err != nil {
		return err
	}
	var seal string
	var packed, signature []byte
	err = i.tx.QueryRowContext(ctx, "SELECT seal, signature, body FROM record WHERE id = $1", r.ID).Scan(&seal, &signature, &packed)
	if err == nil {
		body, err := unpack(packed)
		if err != nil {
			return fmt.Errorf("record %s of the store: %w", r.ID, err)
		}
		if !bytes.Equal(body, k.Bytes) || seal != string(k.SealBytes) || !bytes.Equal(signature, k.Signature) {
			return fmt.Errorf("record %s %w: one of both is not the one that was sealed first, or both were; keep the archive, and put it into another store", r.ID, ErrConflict)
		}
		i.t.Known++
		return nil
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	if k.IsSealed() {
		if err := i.chain(ctx, k); err != nil {
			return err
		}
	}
	// Otherwise a withdrawal could be hidden by another correction of the same record.
	if err := correctable(ctx, i.tx, r); err != nil {
		return fmt.Errorf("record %s: %w, which the one in the archive does not know of", r.ID, err)
	}
	if k.Signature == nil {
		k.Signature = []byte{}
	}
	i.t.Records++
	packed, err = pack(k.Bytes)
	if err != nil {
		return err
	}
	return insertRecord(ctx, i.tx, linesOf(r), k.Sealed, newPacked(packed))
}

// chain makes the chain of a record known, and its place sure.
func (i *importing) chain(ctx context.Context, k record.Kept) error {
	var id string
	switch err := i.tx.QueryRowContext(ctx, "SELECT id FROM record WHERE chain = $1 AND chain <> '' AND number = $2", k.Seal.Chain, k.Seal.Number).Scan(&id); {
	case err == nil:
		return fmt.Errorf("number %d of chain %s %w: there it is record %s, in the archive %s; two stores have gone on with one chain", k.Seal.Number, k.Seal.Chain, ErrConflict, id, k.Seal.ID)
	case !errors.Is(err, sql.ErrNoRows):
		return err
	}
	came := chainWhole
	if c := i.chains[k.Seal.Chain]; c.Records != c.Count {
		came = chainInPart
	}
	_, err := i.tx.ExecContext(ctx, "INSERT INTO chain (id, own) SELECT $1, $2 WHERE NOT EXISTS (SELECT 1 FROM chain WHERE id = $1)", k.Seal.Chain, came)
	return err
}

// gaps refuses an archive that would leave a hole in a chain that has had none:
// it would look as if records had been taken out.
func (i *importing) gaps(ctx context.Context) error {
	for _, id := range slices.Sorted(maps.Keys(i.chains)) {
		var n, last int
		err := i.tx.QueryRowContext(ctx, `SELECT count(*), coalesce(max(number), 0) FROM record WHERE chain = $1 AND chain <> ''
			AND NOT EXISTS (SELECT 1 FROM chain WHERE id = $1 AND own = $2)`, id, chainInPart).Scan(&n, &last)
		if err != nil {
			return err
		}
		if n != last {
			return fmt.Errorf("%w: it has record number %d of chain %s, of which the store would then lack %d before that one; export those too, or all", ErrArchive, last, id, last-n)
		}
	}
	return nil
}

// run takes a journal that is new, or goes on where that of the store ends.
func (i *importing) run(ctx context.Context, name string) error {
	var r runLine
	var have []string // hashes of the entries that the store has
	n, added := 0, false
	err := i.a.lines(name, func(line []byte) (err error) {
		if n++; n == 1 {
			if r, err = readLine[runLine](line); err != nil {
				return err
			}
			have, added, err = i.begin(ctx, r)
			return err
		}
		l, err := readLine[journalLine](line)
		if err != nil {
			return err
		}
		if at := n - 2; at < len(have) {
			if have[at] != record.Hash([]byte(l.What+"\n"+l.Body.text())) {
				return fmt.Errorf("journal of run %s %w", r.ID, ErrConflict)
			}
			return nil
		}
		added = true
		_, err = i.tx.ExecContext(ctx, "INSERT INTO journal (run, what, body) VALUES ($1, $2, $3)", r.ID, l.What, l.Body.text())
		return err
	})
	if err != nil {
		return err
	}
	if n == 0 {
		return fmt.Errorf("%w: %s is empty", ErrArchive, name)
	}
	if added {
		i.t.Runs++
	}
	return i.wireLog(ctx, strings.TrimSuffix(name, ".jsonl")+".wire.gz", r.ID)
}

// begin makes the run known, or tells which entries of it there are.
func (i *importing) begin(ctx context.Context, r runLine) (have []string, isNew bool, err error) {
	if stamp, err := parseStamp(r.Started); err != nil || stamp != r.Started {
		return nil, false, fmt.Errorf("run %s began at %q, which is no time", r.ID, r.Started)
	}
	var kind, started, header string
	err = i.tx.QueryRowContext(ctx, "SELECT kind, started, header FROM run WHERE id = $1", r.ID).Scan(&kind, &started, &header)
	if errors.Is(err, sql.ErrNoRows) {
		if _, err = i.tx.ExecContext(ctx, "INSERT INTO run (id, kind, started, header) VALUES ($1, $2, $3, $4)", r.ID, r.Kind, r.Started, r.Header.text()); err == nil {
			_, err = i.tx.ExecContext(ctx, "INSERT INTO open_run (run) SELECT $1 WHERE NOT EXISTS (SELECT 1 FROM record WHERE id = $1)", r.ID)
		}
		return nil, true, err
	}
	if err != nil {
		return nil, false, err
	}
	if kind != r.Kind || started != r.Started || header != r.Header.text() {
		return nil, false, fmt.Errorf("run %s %w", r.ID, ErrConflict)
	}
	err = each(ctx, i.tx, func(scan func(...any) error) error {
		var what, body string
		err := scan(&what, &body)
		have = append(have, record.Hash([]byte(what+"\n"+body)))
		return err
	}, "SELECT what, body FROM journal WHERE run = $1 ORDER BY seq", r.ID)
	return have, false, err
}

// wireLog takes a wire log where the store has none of the run.
func (i *importing) wireLog(ctx context.Context, name, run string) error {
	if i.a.members[name] == nil {
		return nil
	}
	var has bool
	if err := i.tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM wire_log WHERE run = $1)", run).Scan(&has); err != nil || has {
		return err
	}
	text, err := i.a.all(name, mostMember)
	if err != nil {
		return err
	}
	_, err = i.tx.ExecContext(ctx, "INSERT INTO wire_log (run, body) VALUES ($1, $2)", run, text)
	return err
}

func (i *importing) benchLine(ctx context.Context, line []byte) error {
	l, err := readLine[benchLine](line)
	if err != nil {
		return err
	}
	args := []any{l.Entry, l.What, l.At, l.Serial, l.Procedure, l.AsFound, l.Body.text()}
	var has bool
	err = i.tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM bench_log WHERE entry = $1 AND what = $2 AND at = $3 AND serial = $4 AND procedure = $5
		AND as_found = $6 AND body = $7)`, args...).Scan(&has)
	if err != nil || has {
		return err
	}
	_, err = i.tx.ExecContext(ctx, "INSERT INTO bench_log (entry, what, at, serial, procedure, as_found, body) VALUES ($1, $2, $3, $4, $5, $6, $7)", args...)
	return err
}

func (i *importing) importedLine(ctx context.Context, line []byte) error {
	l, err := readLine[importedLine](line)
	if err != nil {
		return err
	}
	var has bool
	if err := i.tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM imported_file WHERE sha256 = $1)", l.SHA256).Scan(&has); err != nil || has {
		return err
	}
	body, err := i.a.all("imported/"+l.SHA256, mostMember)
	if err != nil {
		return err
	}
	if record.Hash(body) != l.SHA256 {
		return fmt.Errorf("imported/%s is not what its name says", l.SHA256)
	}
	if _, err := i.tx.ExecContext(ctx, `INSERT INTO imported_file (sha256, name, imported, who, separator, decimal_mark, body)
		VALUES ($1, $2, $3, $4, $5, $6, $7)`, l.SHA256, l.Name, l.Imported, l.Who, l.Separator, l.Decimal, body); err != nil {
		return err
	}
	i.t.Files++
	for _, r := range l.Results {
		if _, err := i.tx.ExecContext(ctx, `INSERT INTO imported_result (sha256, file, line, asset, serial, body) SELECT $1, $2, $3, $4, $5, $6
			WHERE NOT EXISTS (SELECT 1 FROM imported_result WHERE sha256 = $1)`, r.SHA256, l.SHA256, r.Line, r.Asset, r.Serial, r.Body.text()); err != nil {
			return err
		}
	}
	return nil
}

func (i *importing) logo(ctx context.Context, name string) error {
	sum := strings.TrimPrefix(name, "logos/")
	var has bool
	if err := i.tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM logo WHERE sha256 = $1)", sum).Scan(&has); err != nil || has {
		return err
	}
	body, err := i.a.all(name, mostMember)
	if err != nil {
		return err
	}
	if record.Hash(body) != sum {
		return fmt.Errorf("%s is not what its name says", name)
	}
	i.t.Files++
	_, err = i.tx.ExecContext(ctx, "INSERT INTO logo (sha256, body) VALUES ($1, $2)", sum, body)
	return err
}

// Summary says in one line what was taken.
func (t Taken) Summary() string {
	parts := []string{fmt.Sprintf("records taken: %d", t.Records)}
	for _, x := range []struct {
		n    int
		what string
	}{{t.Known, "records that were here already"}, {t.Runs, "journals"}, {t.Files, "other files"}} {
		if x.n > 0 {
			parts = append(parts, fmt.Sprintf("%s: %d", x.what, x.n))
		}
	}
	return strings.Join(slices.Clip(parts), ", ")
}

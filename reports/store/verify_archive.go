package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"bandproof/reports/record"
)

// VerifyArchive proves an archive without a store: every file, every record, and,
// in an archive of a whole store, every chain to its end. An error means that the
// file is no archive, or can't be read as one.
func VerifyArchive(ctx context.Context, file string, expect record.Expect) (v record.Verification, err error) {
	a, err := openArchive(file)
	if err != nil {
		return v, wrap(file, "verify archive", err)
	}
	defer func() { err = errors.Join(err, a.close()) }()
	w := record.NewVerifier(file, expect, !a.manifest.Whole)
	if !a.manifest.Whole {
		w.Selected()
	}
	for _, name := range a.inOrder(w) {
		if err := ctx.Err(); err != nil {
			return v, wrap(file, "verify archive", err)
		}
		k, err := a.kept(name, strings.TrimSuffix(name, ".json"))
		if err != nil {
			w.Found(record.RecordFinding{Finding: record.Finding{Text: err.Error()}})
			continue
		}
		w.Take(record.Examine(k))
	}
	v = w.Done("")
	if got := w.Records(); got != a.manifest.Records {
		v.Findings = append(v.Findings, record.RecordFinding{Finding: record.Finding{Text: fmt.Sprintf("%s tells of %d records, there are %d", archiveManifest, a.manifest.Records, got)}})
	}
	return v, nil
}

// inOrder lists the records, each chain by its numbers, and reads everything else
// to its end, and so its sum.
func (a *archiveReader) inOrder(w *record.Verifier) []string {
	type one struct {
		chain  string
		number int
		name   string
	}
	var list []one
	for _, name := range a.names {
		base, isRecord := strings.CutSuffix(name, ".json")
		if !isRecord {
			if err := a.read(name); err != nil {
				w.Found(record.RecordFinding{Finding: record.Finding{Text: err.Error()}})
			}
			continue
		}
		x := one{name: name}
		if a.members[base+".seal"] != nil {
			if text, err := a.all(base+".seal", mostMember); err == nil {
				if s, err := record.NewSealed(nil, text, nil); err == nil {
					x.chain, x.number = s.Seal.Chain, s.Seal.Number
				}
			}
		}
		list = append(list, x)
	}
	slices.SortStableFunc(list, func(a, b one) int {
		return cmp.Or(strings.Compare(a.chain, b.chain), cmp.Compare(a.number, b.number))
	})
	names := make([]string, len(list))
	for k, x := range list {
		names[k] = x.name
	}
	return names
}

package main

import (
	"bytes"
	"errors"
	"fmt"

	"bandproof/reports/record"
	"bandproof/reports/sheet"
	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

// errAltered refuses papers of a record that is not as it was sealed.
var errAltered = errors.New("is not as it was sealed, and nothing is written of it; \"records verify\" tells what was changed")

// findSeals adds to a sheet what seals its records, and which others stand in
// their place. A record is sealed by the files beside it, or by the store. One
// that was changed since is refused; one that has lost its seal is told of.
func findSeals(c *cobra.Command, t *terminal, s *sheet.Sheet, storeFile string, names []string, records []record.Record) (*sheet.Sheet, error) {
	p, err := proven(c, t, storeFile, names, records)
	if err != nil {
		return nil, err
	}
	s = s.Sealed(p.seals, p.head.Hash, p.head.Count)
	if p.replaced != nil {
		s = s.Replaced(p.replaced)
	}
	return s, nil
}

// proof is what seals records, and which others stand in their place; nil where
// no store could tell.
type proof struct {
	seals    []record.Seal
	head     store.Head
	replaced map[string]record.Record
}

// proven finds it. A record that was changed since it was sealed is an error.
func proven(c *cobra.Command, t *terminal, storeFile string, names []string, records []record.Record) (proof, error) {
	var seals []record.Seal
	kept := map[string]bool{} // by the store
	for k, name := range names {
		if !isFile(name) {
			kept[records[k].ID] = true
			continue
		}
		set, err := readSet(name)
		if err != nil {
			return proof{}, usage{err}
		}
		seal, err := t.sealOf(records[k], set.Kept())
		if err != nil {
			return proof{}, usage{fmt.Errorf("%s: %w", name, err)}
		}
		seals = append(seals, seal)
	}
	if len(kept) == 0 && isThere(storeFile) != nil {
		return proof{seals: seals}, nil
	}
	head := store.Head{}
	replaced := map[string]record.Record{}
	err := withStore(c, storeFile, func(st *store.Store) error {
		for _, r := range records {
			if kept[r.ID] {
				one, err := st.Sealed(c.Context(), r.ID)
				if err != nil {
					return err
				}
				seal, err := t.sealOf(r, record.Kept{Sealed: one, Name: r.ID})
				if err != nil {
					return fmt.Errorf("record %s: %w", r.ID, err)
				}
				seals = append(seals, seal)
				if seal.ID != "" && head.Chain == "" {
					if head, err = st.Head(c.Context(), seal.Chain); err != nil {
						return err
					}
				}
			}
			newest, err := st.Newest(c.Context(), r.ID)
			if !kept[r.ID] && errors.Is(err, store.ErrNotFound) {
				continue // a file from elsewhere
			}
			if err != nil {
				return err
			}
			if newest.ID != r.ID {
				replaced[r.ID] = newest
				t.note("warning: record %s has been %s by record %s (%s)", r.ID, wordOf(newest.Corrects), newest.ID, newest.Corrects.Reason)
			}
		}
		return nil
	})
	if len(kept) == 0 && err != nil {
		t.note("warning: whether newer records stand in the place of these is not known: %v", err)
		err = nil
	}
	return proof{seals, head, replaced}, err
}

// sealOf is the seal of a record, none where it has none.
func (t *terminal) sealOf(r record.Record, k record.Kept) (record.Seal, error) {
	same := func() bool {
		one, err := k.Record()
		if err != nil {
			return false
		}
		a, errA := r.Encode()
		b, errB := one.Encode()
		return errA == nil && errB == nil && bytes.Equal(a, b)
	}
	switch {
	case len(k.Damage) > 0 || k.IsSealed() && len(k.Verify()) > 0 || !same():
		return record.Seal{}, errAltered
	case k.IsSealed():
		return k.Seal, nil
	case len(record.Examine(k).Findings) > 0:
		t.note("warning: record %s has no seal, which every record of its kind has: nothing shows that it is as it was sealed", r.ID)
	}
	return record.Seal{}, nil
}

// isFile tells how a record was found: a file goes before an id.
func isFile(name string) bool {
	_, err := readable(name)
	return err == nil || isRecordFile(name)
}

func wordOf(c *record.Correction) string {
	if c.Withdrawn {
		return "withdrawn"
	}
	return "replaced"
}

package main

import (
	"errors"
	"path/filepath"
	"strings"

	"bandproof/reports/record"
	"bandproof/reports/sheet"
	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

// findSeals adds to a sheet what seals its records, and which others stand in
// their place. A record is sealed by the files beside it, or by the store. One
// that is not as it was sealed is told of, and its seal is not printed.
func findSeals(c *cobra.Command, t *terminal, s *sheet.Sheet, storeFile string, names []string, records []record.Record) (*sheet.Sheet, error) {
	var seals []record.Seal
	var kept []record.Record
	add := func(r record.Record, one record.Sealed, err error) {
		switch {
		case err != nil:
			t.note("warning: the seal of record %s could not be read: %v", r.ID, err)
		case !one.IsSealed():
		case len(one.Verify()) > 0:
			t.note("warning: record %s is not as it was sealed; \"records verify\" tells what was changed", r.ID)
		default:
			seals = append(seals, one.Seal)
		}
	}
	for k, name := range names {
		if isRecordFile(name) {
			one, err := sealBeside(name)
			add(records[k], one, err)
			continue
		}
		kept = append(kept, records[k])
	}
	if len(kept) == 0 {
		return s.Sealed(seals, "", 0), nil
	}
	err := withStore(c, storeFile, func(st *store.Store) error {
		head := store.Head{}
		replaced := map[string]record.Record{}
		for _, r := range kept {
			one, err := st.Sealed(c.Context(), r.ID)
			add(r, one, err)
			if err == nil && one.IsSealed() && head.Chain == "" {
				if head, err = st.Head(c.Context(), one.Seal.Chain); err != nil {
					return err
				}
			}
			newest, err := st.Newest(c.Context(), r.ID)
			if err != nil {
				return err
			}
			if newest.ID != r.ID {
				replaced[r.ID] = newest
				t.note("warning: record %s has been %s by record %s (%s)", r.ID, wordOf(newest.Corrects), newest.ID, newest.Corrects.Reason)
			}
		}
		s = s.Sealed(seals, head.Hash, head.Count).Replaced(replaced)
		return nil
	})
	return s, err
}

// sealBeside reads a record file with its seal; without one it is not sealed.
func sealBeside(name string) (record.Sealed, error) {
	set, err := readSet(strings.TrimSuffix(name, filepath.Ext(name)))
	if err != nil {
		return record.Sealed{}, err
	}
	k := set.Kept()
	return k.Sealed, errors.Join(k.Damage...)
}

func wordOf(c *record.Correction) string {
	if c.Withdrawn {
		return "withdrawn"
	}
	return "replaced"
}

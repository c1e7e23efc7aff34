package main

import (
	"fmt"
	"strings"
	"time"

	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

func recordsExport(t *terminal, file *string) *cobra.Command {
	var to string
	var x store.Export
	var all, asJSON bool
	c := &cobra.Command{Use: "export RECORD… | --all", Short: "write a record as files, or records and all that belongs to them as one archive (ZIP)",
		Long: `Write one record as a JSON file with its seal beside it; or, with a name that ends
in .zip, with several records or with --all, an archive: records, seals,
signatures, public keys, journals, wire logs, the bench log, imported results and
logos in open formats, with a page that tells a stranger how to check them by
hand. "records import" puts an archive into another store, of either kind.`,
		Example: "  bandproof records export 435bca06\n  bandproof records export --all --to 2026.zip\n  bandproof records export --all --to moved.zip --store postgres://bench@server/bandproof",
		Args: func(_ *cobra.Command, args []string) error {
			if all == (len(args) > 0) {
				return usage{fmt.Errorf("export takes the ids of records, or --all")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if !all && len(args) == 1 && !strings.HasSuffix(to, ".zip") {
				return withStore(c, *file, func(s *store.Store) error { return t.exportFiles(c.Context(), s, args[0], to) })
			}
			if to == "" {
				return usage{fmt.Errorf("--to: an archive needs a name, such as records.zip")}
			}
			x.IDs, x.Now = args, time.Now()
			do := func(s *store.Store) error {
				m, err := s.Export(c.Context(), to, x)
				if err != nil {
					return err
				}
				return t.exported(m, to, asJSON)
			}
			if x.Salvage {
				return salvage(c, *file, do)
			}
			return withStore(c, *file, do)
		}}
	c.Flags().StringVar(&to, "to", "", "file to write; an archive where it ends in .zip")
	c.Flags().BoolVar(&all, "all", false, "all that the store holds")
	c.Flags().BoolVar(&x.Salvage, "salvage", false, "leave out what can't be read or does not prove, and say so: for a damaged store, which stays as it is")
	c.Flags().BoolVar(&asJSON, "json", false, "print what is in the archive as JSON (schema \"bandproof archive 1\")")
	return c
}

// salvage opens a store file that may be damaged.
func salvage(c *cobra.Command, place string, do func(*store.Store) error) error {
	return withOpened(c, place, store.OpenToSalvage, do)
}

// exported says what went into an archive.
func (t *terminal) exported(m store.Manifest, to string, asJSON bool) error {
	for k, x := range m.LeftOut {
		if k == 20 {
			t.note("warning: and %d more, which the manifest names", len(m.LeftOut)-k)
			break
		}
		what := "something that is no record"
		if x.Record != "" {
			what = "record " + x.Record
		}
		t.note("warning: left out: %s: %s", what, x.Why)
	}
	if asJSON {
		return t.json(m)
	}
	t.print("wrote %s: records: %d, journals: %d", to, m.Records, m.Runs)
	for _, c := range m.Chains {
		t.print("chain %s: head %s, records %d, of them here %d", c.Chain, c.Hash, c.Count, c.Records)
	}
	return nil
}

func recordsImport(t *terminal, file *string) *cobra.Command {
	var f verifyFlags
	c := &cobra.Command{Use: "import FILE.zip", Short: "put an archive of \"records export\" into the store, all of it or nothing", Args: exactly(1, "an archive"),
		Long: `Put an archive into the store, which is made where there is none. Every hash,
signature and chain is proven before anything is written. What is there already,
the very same, is passed over; what differs is refused. Imported records keep
their chain; new ones are sealed in the store's own. Whose keys signed is told;
with --fingerprint or --public-key no other key's records are taken.`,
		RunE: func(c *cobra.Command, args []string) error {
			keys, err := f.keys()
			if err != nil {
				return usage{err}
			}
			s, err := t.openStore(c.Context(), *file)
			if err != nil {
				return err
			}
			defer func() { _ = s.Close() }()
			taken, err := s.Import(c.Context(), args[0], keys...)
			if err != nil {
				return err
			}
			if f.json {
				return t.json(map[string]any{"schema": "bandproof import 1", "import": taken})
			}
			t.print("%s", taken.Summary())
			for key, n := range sorted(taken.SignedBy) {
				t.print("signed by key %s: %d", key, n)
			}
			return nil
		}}
	f.keyFlags(c)
	c.Flags().BoolVar(&f.json, "json", false, "print as JSON (schema \"bandproof import 1\")")
	return c
}

func recordsBackup(t *terminal, file *string) *cobra.Command {
	var to string
	c := &cobra.Command{Use: "backup --to FILE", Short: "copy the store into a new file, also while a run writes to it", Args: exactly(0, "no arguments"),
		Long: `Copy a store that lies in a file into a new file, which is a store itself, also
while runs write to it: the copy is the store as it was at one instant. It is there
whole or not at all, and takes no other file's place. A store on a server is
backed up by its administrator (pg_dump), or by "records export --all".`,
		RunE: func(c *cobra.Command, _ []string) error {
			if to == "" {
				return usage{fmt.Errorf("--to: name the file that the backup goes to")}
			}
			return withStore(c, *file, func(s *store.Store) error {
				if err := s.Backup(c.Context(), to); err != nil {
					return err
				}
				t.print("wrote %s", to)
				return nil
			})
		}}
	c.Flags().StringVar(&to, "to", "", "file to write")
	return c
}

package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"bandproof/reports/imported"
	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

func recordsImportResults(t *terminal, file *string) *cobra.Command {
	var o imported.Options
	var separator, who string
	var dry, asJSON bool
	c := &cobra.Command{Use: "import-results FILE.csv", Short: "take earlier results, of other laboratories, from a CSV file",
		Long: `Take results that were not measured with this program from a CSV file, all or
none. They count in "records history", marked as imported wherever they are shown;
they never become records and are never sealed. The file itself is kept whole.

Columns, in any order (RFC 4180, UTF-8, the first line names them):
  date            2024-05-31
  asset, serial   one of them at least
  run             as-found, after-repair or as-left
  input           name of the input            } all three empty: the offset of the
  frequency       with its unit, "1 GHz"       } timebase itself, (actual − nominal)/
  level           "-20 dBm", may be empty      } nominal
  unit_reference  own (its own timebase) or external
  error           "12 Hz" or "0.2 ppm"; or instead of it
  reading, reference   "1.000 000 012 GHz"
  uncertainty, k  expanded, as the error, with its coverage factor; without it a
                  result is shown and enters no drift
  limit           of the magnitude of the error
  verdict         pass, conditional pass, conditional fail, fail, not judged, or empty
  laboratory, certificate`,
		Args: exactly(1, "a CSV file"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkCSVFlags(&o, separator); err != nil {
				return usage{err}
			}
			text, err := readFile(args[0], "results")
			if err != nil {
				return usage{err}
			}
			o.Today = time.Now()
			f, err := imported.Parse(filepath.Base(args[0]), text, o)
			if err != nil {
				return usage{err}
			}
			in := store.ImportedFile{File: f, Imported: o.Today.UTC(), Who: who}
			if dry && isThere(*file) == nil {
				err = withStore(c, *file, func(s *store.Store) error { return s.CheckImport(c.Context(), in) })
			} else if !dry {
				err = t.keepResults(c.Context(), *file, in)
			}
			if errors.Is(err, store.ErrImported) {
				return usage{err}
			}
			if err != nil {
				return err
			}
			return t.importedFile(f, dry, asJSON)
		}}
	c.Flags().StringVar(&separator, "separator", "", "comma or semicolon (found out unless stated)")
	c.Flags().StringVar(&o.Decimal, "decimal", "", "decimal mark of numbers: point or comma (found out unless stated)")
	c.Flags().StringVar(&who, "who", "", "who imports the results")
	c.Flags().BoolVar(&dry, "dry-run", false, "say what would be imported and what is wrong; keep nothing")
	c.Flags().BoolVar(&asJSON, "json", false, "print what was imported as JSON (schema \"bandproof imported 1\")")
	return c
}

// keepResults imports into a store, which is made where there is none yet.
func (t *terminal) keepResults(ctx context.Context, place string, f store.ImportedFile) error {
	s, err := t.openStore(ctx, place)
	if err != nil {
		return err
	}
	return errors.Join(s.ImportResults(ctx, f), s.Close())
}

func checkCSVFlags(o *imported.Options, separator string) error {
	marks := map[string]string{"": "", "comma": ",", "semicolon": ";"}
	mark, ok := marks[separator]
	if !ok {
		return fmt.Errorf("--separator: %q; expected comma or semicolon", separator)
	}
	o.Separator = mark
	if o.Decimal != "" && o.Decimal != "point" && o.Decimal != "comma" {
		return fmt.Errorf("--decimal: %q; expected point or comma", o.Decimal)
	}
	return nil
}

// importedFile says what a file of results held.
func (t *terminal) importedFile(f imported.File, dry, asJSON bool) error {
	if asJSON {
		return t.json(map[string]any{"schema": "bandproof imported 1", "file": f.Name, "sha256": f.SHA256, "separator": f.Separator, "decimal": f.Decimal, "dry_run": dry, "results": f.Results})
	}
	units := map[string]bool{}
	first, last := f.Results[0].Date, f.Results[0].Date
	for _, r := range f.Results {
		units[joined(", ", prefixed("serial ", r.Serial), prefixed("asset ", r.Asset))] = true
		if r.Date.Before(first.Time) {
			first = r.Date
		}
		if r.Date.After(last.Time) {
			last = r.Date
		}
	}
	does := "imported"
	if dry {
		does = "would import"
	}
	t.print("%s %s from %s, of %s to %s", does, countOf(len(f.Results), "result"), f.Name, first, last)
	t.print("  %s", strings.Join(strings.Split(listOf(units), ", serial "), "; serial "))
	t.print("  fields parted by %q, decimal %s; SHA-256 of the file %s", f.Separator, f.Decimal, f.SHA256)
	return nil
}

func prefixed(prefix, text string) string {
	if text == "" {
		return ""
	}
	return prefix + text
}

func recordsImported(t *terminal, file *string) *cobra.Command {
	c := &cobra.Command{Use: "imported [SHA256]", Short: "list the files of imported results, or write one as it was",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usage{fmt.Errorf("%s takes at most the SHA-256 of one file; see \"%s --help\"", c.CommandPath(), c.CommandPath())}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			return withStore(c, *file, func(s *store.Store) error {
				files, counts, err := s.ImportedFiles(c.Context())
				if err != nil {
					return err
				}
				if len(args) == 1 {
					return t.importedText(c.Context(), s, args[0], files)
				}
				w := t.table()
				fmt.Fprintln(w, "imported\tresults\tfile\tby\tSHA-256")
				for k, f := range files {
					fmt.Fprintln(w, visible(fmt.Sprintf("%s\t%d\t%s\t%s\t%s", date(f.Imported), counts[k], f.Name, wordOr(f.Who), f.SHA256)))
				}
				return w.Flush()
			})
		}}
	return c
}

// importedText writes a file that was imported, named by its hash or the beginning
// of one that only it has.
func (t *terminal) importedText(ctx context.Context, s *store.Store, hash string, files []store.ImportedFile) error {
	var fits []string
	for _, f := range files {
		if hash != "" && strings.HasPrefix(f.SHA256, hash) {
			fits = append(fits, f.SHA256)
		}
	}
	if len(fits) > 1 {
		return usage{fmt.Errorf("%q begins the SHA-256 of several files; give more of it", hash)}
	}
	text, err := s.ImportedText(ctx, append(fits, hash)[0])
	if err != nil {
		return err
	}
	if _, err := t.Write(text); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	return nil
}

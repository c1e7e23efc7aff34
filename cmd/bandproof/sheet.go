package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/reports/sheet"
	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

func sheetCommand(t *terminal) *cobra.Command {
	var file, to string
	var style sheet.Options
	c := &cobra.Command{
		Use:   "sheet RECORD...",
		Short: "write the data sheet of one or more runs of a unit, as PDF or CSV by the file's ending",
		Long:  "Write the data sheet of one or more runs of a unit, side by side.\nA RECORD is the id of a record in the store, or a record file (JSON).",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage{errors.New("sheet takes at least one record; \"records list\" shows what there is")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			records, err := findRecords(c, file, args)
			if err != nil {
				return err
			}
			s, err := sheet.New(records...)
			if err != nil {
				return usage{err}
			}
			if s, err = s.With(style); err != nil {
				return usage{err}
			}
			write, err := sheetWriter(s, to)
			if err != nil {
				return usage{err}
			}
			var b strings.Builder
			if err := write(&b); err != nil {
				return fmt.Errorf("data sheet: %w", err)
			}
			if err := writeFile(to, []byte(b.String())); err != nil {
				return usage{err}
			}
			t.print("wrote %s", to)
			return nil
		},
	}
	c.Flags().StringVar(&file, "store", "bandproof.db", "SQLite file that keeps the records")
	c.Flags().StringVar(&to, "to", "data-sheet.pdf", "file to write, ending in .pdf or .csv")
	styleFlags(c, &style)
	return c
}

// styleFlags say how a sheet is written; unless given it is as the bench file in
// the record says.
func styleFlags(c *cobra.Command, o *sheet.Options) {
	for _, f := range []struct {
		to        *string
		key, what string
	}{{&o.Language, "language", "language"}, {&o.Decimal, "decimal", "decimal sign"}, {&o.Thousands, "thousands", "what parts groups of digits"}, {&o.Paper, "paper", "paper"}} {
		c.Flags().StringVar(f.to, f.key, "", f.what+": "+strings.Join(procedures.SheetChoices()[f.key], ", ")+"; unless given as the bench file of the record says")
		_ = c.RegisterFlagCompletionFunc(f.key, cobra.FixedCompletions(procedures.SheetChoices()[f.key], cobra.ShellCompDirectiveNoFileComp))
	}
}

func sheetWriter(s *sheet.Sheet, to string) (func(io.Writer) error, error) {
	switch strings.ToLower(filepath.Ext(to)) {
	case ".pdf":
		return s.PDF, nil
	case ".csv":
		return s.CSV, nil
	}
	return nil, fmt.Errorf("--to %s: a data sheet is written as .pdf or .csv", to)
}

// findRecords reads each record from its file, else from the store.
func findRecords(c *cobra.Command, storeFile string, names []string) ([]record.Record, error) {
	list := make([]record.Record, len(names))
	var missing []int
	for k, name := range names {
		text, err := readable(name)
		if err != nil {
			if strings.ContainsAny(name, `./\`) { // no id looks so
				return nil, usage{fmt.Errorf("record file: %w", err)}
			}
			missing = append(missing, k)
			continue
		}
		if list[k], err = record.Decode(text); err != nil {
			return nil, usage{fmt.Errorf("%s: %w", name, err)}
		}
	}
	if len(missing) == 0 {
		return list, nil
	}
	return list, withStore(c, storeFile, func(s *store.Store) (err error) {
		for _, k := range missing {
			if list[k], err = s.Record(c.Context(), names[k]); err != nil {
				return err
			}
		}
		return nil
	})
}

// readable returns the content of a regular file.
func readable(file string) ([]byte, error) {
	info, err := os.Stat(file)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a file", file)
	}
	return os.ReadFile(file)
}

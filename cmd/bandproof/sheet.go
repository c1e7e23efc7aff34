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

// sheetFormats are what a data sheet can be written as, by the file's ending.
var sheetFormats = []struct {
	ending string
	write  func(*sheet.Sheet, io.Writer) error
}{
	{".pdf", (*sheet.Sheet).PDF},
	{".html", (*sheet.Sheet).HTML},
	{".xlsx", (*sheet.Sheet).XLSX},
	{".txt", (*sheet.Sheet).Text},
	{".csv", (*sheet.Sheet).CSV},
}

// sheetEndings lists them as words: ".pdf, .html or .csv".
func sheetEndings() string {
	var list []string
	for _, f := range sheetFormats {
		list = append(list, f.ending)
	}
	n := len(list) - 1
	return strings.Join(list[:n], ", ") + " or " + list[n]
}

func sheetCommand(t *terminal) *cobra.Command {
	var file, to, format, logo string
	var style sheet.Options
	var columns int
	c := &cobra.Command{
		Use:   "sheet RECORD...",
		Short: "write the data sheet of one or more runs of a unit, in the format of the file's ending",
		Long: "Write the data sheet of one or more runs of a unit, side by side, as " + sheetEndings() + " by the file's ending;\n" +
			"\"--to -\" writes to standard output, in the format that --format names.\nA RECORD is the id of a record in the store, or a record file (JSON).",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage{errors.New("sheet takes at least one record; \"records list\" shows what there is")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			write, err := sheetWriter(to, format)
			if err != nil {
				return usage{err}
			}
			records, err := findRecords(c, file, args)
			if err != nil {
				return err
			}
			s, err := newSheet(records, style)
			if err != nil {
				return err
			}
			if s, err = findSeals(c, t, s, file, args, records); err != nil {
				return err
			}
			if s, err = findLogo(c, t, s, file, logo); err != nil {
				return err
			}
			if c.Flags().Changed("columns") {
				if s, err = s.Columns(columns); err != nil {
					return usage{fmt.Errorf("--columns: %w", err)}
				}
			}
			return writeSheet(t, s, write, to)
		},
	}
	storeFlag(c, &file, false, "the records")
	c.Flags().StringVar(&to, "to", "data-sheet.pdf", "file to write, ending in "+sheetEndings()+"; \"-\" for standard output")
	c.Flags().StringVar(&format, "format", "", "format where no ending tells it: "+strings.ReplaceAll(sheetEndings(), ".", ""))
	logoFlag(c, &logo)
	c.Flags().IntVar(&columns, "columns", 100, fmt.Sprintf("how wide a .txt is at most, %d to %d", sheet.LeastColumns, sheet.MostColumns))
	styleFlags(c, &style)
	return c
}

// newSheet makes the data sheet of records, for itself or to be enclosed.
func newSheet(records []record.Record, style sheet.Options) (*sheet.Sheet, error) {
	s, err := sheet.New(records...)
	if err == nil {
		s, err = s.With(style)
	}
	if err != nil {
		return nil, usage{err}
	}
	return s, nil
}

// styleFlags say how a sheet is written; unless given it is as the bench file in
// the record says.
func styleFlags(c *cobra.Command, o *sheet.Options) {
	for _, f := range []struct {
		to        *string
		key, what string
	}{{&o.Language, "language", "language"}, {&o.Decimal, "decimal", "decimal sign"}, {&o.Thousands, "thousands", "what parts groups of digits"}, {&o.Paper, "paper", "paper"}} {
		c.Flags().Var(anyCase{f.to, procedures.SheetChoices()[f.key]}, f.key, f.what+": "+strings.Join(procedures.SheetChoices()[f.key], ", ")+"; unless given as the bench file of the record says")
		_ = c.RegisterFlagCompletionFunc(f.key, cobra.FixedCompletions(procedures.SheetChoices()[f.key], cobra.ShellCompDirectiveNoFileComp))
	}
}

// anyCase takes one of a list of words, written in capitals or not; what is none
// of them is left to the check of the options.
type anyCase struct {
	to *string
	of []string
}

func (a anyCase) Set(text string) error {
	*a.to = text
	for _, one := range a.of {
		if strings.EqualFold(one, text) {
			*a.to = one
		}
	}
	return nil
}

func (a anyCase) String() string { return "" }
func (a anyCase) Type() string   { return "string" }

// writeSheet writes to standard output or a file, that one whole or not at all.
func writeSheet(t *terminal, s *sheet.Sheet, write func(*sheet.Sheet, io.Writer) error, to string) error {
	if to == "-" {
		if err := write(s, t); err != nil {
			return fmt.Errorf("standard output: %w", err)
		}
		return nil
	}
	if err := writeFileBy(to, func(w io.Writer) error { return write(s, w) }); err != nil {
		return usage{err}
	}
	t.print("wrote %s", to)
	return nil
}

// sheetWriter finds the writer by the format named, else by the file's ending.
func sheetWriter(to, format string) (func(*sheet.Sheet, io.Writer) error, error) {
	ending := strings.ToLower(filepath.Ext(to))
	if format != "" {
		ending = "." + strings.TrimPrefix(strings.ToLower(format), ".")
	}
	for _, f := range sheetFormats {
		if f.ending == ending {
			return f.write, nil
		}
	}
	switch {
	case format != "":
		return nil, fmt.Errorf("--format %s: a data sheet is written as %s", format, strings.ReplaceAll(sheetEndings(), ".", ""))
	case to == "-":
		return nil, fmt.Errorf("--to -: say with --format what to write: %s", strings.ReplaceAll(sheetEndings(), ".", ""))
	}
	return nil, fmt.Errorf("--to %s: a data sheet is written as %s", to, sheetEndings())
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

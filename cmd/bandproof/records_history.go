package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"bandproof/reports/chart"
	"bandproof/reports/history"
	"bandproof/reports/record"
	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

// historyFlags are the flags of the command as written.
type historyFlags struct {
	of, plot, to string
	asJSON       bool
}

func recordsHistory(t *terminal, file *string) *cobra.Command {
	var f historyFlags
	c := &cobra.Command{Use: "history ASSET-OR-SERIAL", Short: "a unit over the years: drift, prediction, recommended interval",
		Long: `Show what became of a unit over the years: the drift of its timebase and of each
point from the as-left of one calibration to the as-found of the next, where they
will probably be, and when a limit will probably be crossed.

Imported results (records import-results) count like records. Corrected records are
replaced by what corrects them, withdrawn ones are left out. The recommended
interval is advice and appears on no data sheet and no label.`,
		Args: exactly(1, "an asset or a serial number"),
		RunE: func(c *cobra.Command, args []string) error {
			if f.plot != "" && !slices.Contains(chart.Formats, format(f.plot)) {
				return usage{fmt.Errorf("--plot: %q names no format; expected a file ending in .svg, .png or .pdf", f.plot)}
			}
			return withStore(c, *file, func(s *store.Store) error {
				h, err := historyOf(c.Context(), s, args[0])
				if err != nil {
					return err
				}
				return f.show(t, h)
			})
		}}
	c.Flags().StringVar(&f.of, "of", "", "show this result in full, such as \"timebase\" or \"B 1 GHz\" (default: the timebase, where its offset is known)")
	c.Flags().StringVar(&f.plot, "plot", "", "draw that result into this file: .svg, .png or .pdf")
	c.Flags().StringVar(&f.to, "to", "", "write all results as CSV into this file")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print as JSON (schema \"bandproof history 1\")")
	return c
}

// historyOf gathers all that the store has of a unit.
func historyOf(ctx context.Context, s *store.Store, name string) (history.History, error) {
	if name == "" {
		return history.History{}, usage{errors.New("the serial or asset number is empty")}
	}
	rows, err := s.List(ctx, store.Query{Serial: name})
	if err != nil {
		return history.History{}, err
	}
	byAsset, err := s.List(ctx, store.Query{Asset: name})
	if err != nil {
		return history.History{}, err
	}
	results, err := s.ImportedResults(ctx, name, name)
	if err != nil {
		return history.History{}, err
	}
	serial, err := oneUnit(name, rows, byAsset, results)
	if err != nil {
		return history.History{}, err
	}
	if rows, err = s.List(ctx, store.Query{Serial: serial}); err != nil {
		return history.History{}, err
	}
	if results, err = s.ImportedResults(ctx, "", serial); err != nil {
		return history.History{}, err
	}
	assets := map[string]bool{} // those of the unit's records
	var records []record.Record
	add := func(id string) error {
		if id == "" || slices.ContainsFunc(records, func(r record.Record) bool { return r.ID == id }) {
			return nil
		}
		r, err := s.Record(ctx, id)
		records = append(records, r)
		return err
	}
	for _, row := range rows {
		assets[row.Asset] = true
		if err := errors.Join(add(row.ID), add(row.CorrectedBy)); err != nil {
			return history.History{}, err
		}
	}
	delete(assets, "")
	for asset := range sorted(assets) {
		more, err := s.ImportedResults(ctx, asset, "")
		if err != nil {
			return history.History{}, err
		}
		results = append(results, slices.DeleteFunc(more, func(r store.ImportedResult) bool { return r.Serial != "" })...)
	}
	return history.New(serial, records, importedOf(results)), nil
}

func importedOf(results []store.ImportedResult) (list []history.Imported) {
	for _, r := range results {
		list = append(list, history.Imported{Result: r.Result, File: r.File})
	}
	return list
}

// oneUnit finds the serial number that a name stands for: itself where a unit has
// it, else that of the unit with this asset number.
func oneUnit(name string, bySerial, byAsset []store.Row, results []store.ImportedResult) (string, error) {
	if len(bySerial) > 0 || slices.ContainsFunc(results, func(r store.ImportedResult) bool { return r.Serial == name }) {
		return name, nil
	}
	serials := map[string]bool{}
	for _, r := range byAsset {
		serials[r.Serial] = true
	}
	for _, r := range results {
		serials[r.Serial] = true
	}
	some := len(serials) > 0
	delete(serials, "")
	switch {
	case !some:
		return "", usage{fmt.Errorf("nothing in the store is of %q; expected the serial or asset number of a unit, as \"records list\" shows them", name)}
	case len(serials) == 0:
		return "", usage{fmt.Errorf("what the store has of %q states no serial number, so that nothing shows that it is of one unit", name)}
	case len(serials) > 1:
		return "", usage{fmt.Errorf("%q stands for several units, with the serial numbers %s; give one of them", name, listOf(serials))}
	}
	return listOf(serials), nil
}

func listOf(serials map[string]bool) string {
	var list []string
	for s := range sorted(serials) {
		list = append(list, s)
	}
	return strings.Join(list, ", ")
}

func (f *historyFlags) show(t *terminal, h history.History) error {
	s, err := h.Of(f.of)
	if err != nil {
		return usage{fmt.Errorf("--of: %w", err)}
	}
	if f.to != "" {
		text, err := historyCSV(h)
		if err == nil {
			err = writeFile(f.to, text)
		}
		if err != nil {
			return usage{fmt.Errorf("--to: %w", err)}
		}
		t.note("wrote %s", f.to)
	}
	if f.plot != "" {
		var picture bytes.Buffer
		if s == nil {
			return usage{errors.New("--plot: there is no result to draw")}
		}
		if err := chart.WriteCourse(&picture, format(f.plot), courseOf(h, *s)); err != nil {
			return usage{fmt.Errorf("--plot: %w", err)}
		}
		if err := writeFile(f.plot, picture.Bytes()); err != nil {
			return usage{fmt.Errorf("--plot: %w", err)}
		}
		t.note("wrote %s", f.plot)
	}
	if f.asJSON {
		return t.json(h)
	}
	return t.history(h, s)
}

// historyCSV is one line for each result, in base units (RFC 4180).
func historyCSV(h history.History) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	lines := [][]string{{"result", "unit", "at", "run", "record", "imported", "found", "expanded_uncertainty", "limit", "side", "verdict", "stretch", "not_fitted_because"}}
	for _, s := range h.Series {
		for _, v := range s.Values {
			limit, u := "", ""
			if v.Limit != nil {
				limit = v.Limit.String()
			}
			if v.Expanded > 0 {
				u = strconv.FormatFloat(v.Expanded, 'g', -1, 64)
			}
			lines = append(lines, []string{sheetSafe(s.Name), s.Unit, v.At.UTC().Format(time.RFC3339), string(v.Run), v.Record, sheetSafe(v.Imported), v.Found.String(), u, limit, string(v.Side), string(v.Verdict.Word), strconv.Itoa(v.Stretch), sheetSafe(v.Why)})
		}
	}
	if err := w.WriteAll(lines); err != nil {
		return nil, fmt.Errorf("history as CSV: %w", err)
	}
	return b.Bytes(), nil
}

// sheetSafe keeps a spreadsheet from taking a text for a formula.
func sheetSafe(text string) string {
	if text == "" || !strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return text
	}
	return "'" + text
}

// courseOf is the picture of one result.
func courseOf(h history.History, s history.Series) chart.Course {
	unit, factor := shownIn(s.Unit)
	scale := factor.Float()
	title := s.What
	if h.Invented {
		title = "INVENTED: " + title
	}
	c := chart.Course{Title: fmt.Sprintf("%s (serial %s)", title, named(h.Serial)), Y: s.Name + " / " + unit}
	c.Sets = []chart.Set{{Name: "as-found", Mark: 'o'}, {Name: "as-left", Mark: 'x'}, {Name: "after repair", Mark: '+'},
		{Name: "not fitted", Mark: '?'}, {Name: "as-found, imported", Mark: 'O'}, {Name: "as-left, imported", Mark: 'X'}}
	for _, v := range s.Values {
		k := map[string]int{"as-found": 0, "as-left": 1, "after-repair": 2}[string(v.Run)]
		switch {
		case k == 2:
		case v.Stretch < 0:
			k = 3
		case v.Imported != "":
			k += 4
		}
		c.Sets[k].Dots = append(c.Sets[k].Dots, chart.Dot{At: v.At, Y: v.Found.Float() * scale, U: v.Expanded * scale})
	}
	d := s.Drift
	if d == nil {
		c.Notes = []string{s.TooFew}
		return c
	}
	for _, l := range s.Lines() {
		c.Lines = append(c.Lines, chart.Stretch{From: l.From, To: l.To, A: l.A * scale, B: l.B * scale})
	}
	for _, p := range d.Ahead(60) {
		c.Ahead = append(c.Ahead, chart.Band{At: p.At, Y: p.Value * scale, Half: p.Half * scale})
	}
	if d.Limit != nil {
		limit := d.Limit.Float() * scale
		if c.Limits = []float64{limit}; d.Side == "within ±" {
			c.Limits = []float64{limit, -limit}
		}
	}
	for _, words := range driftWords(s) {
		c.Notes = append(c.Notes, wrapped(words, 130)...)
	}
	return c
}

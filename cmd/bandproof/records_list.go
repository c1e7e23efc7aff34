package main

import (
	"context"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

const (
	// shownRows is how many lines a list shows unless more are asked for.
	shownRows = 100
	// countedRows is how far the others are counted.
	countedRows = 1000
)

func recordsList(t *terminal, file *string) *cobra.Command {
	var q store.Query
	var since, until string
	var asJSON bool
	c := &cobra.Command{Use: "list", Short: "list the records, newest first; find them by unit, date, statement or standard", Args: exactly(0, "no arguments"),
		Example: "  bandproof records list --find dc3\n  bandproof records list --standard C-2026-117 --since 2026-03-01\n  bandproof records list --statement outside --until 2026-06-30",
		RunE: func(c *cobra.Command, _ []string) (err error) {
			if q.Since, err = day("--since", since, 0); err != nil {
				return err
			}
			if q.Until, err = day("--until", until, 1); err != nil { // that day is meant with all of it
				return err
			}
			if asJSON && !c.Flags().Changed("limit") {
				q.Limit = 0
			}
			return withStore(c, *file, func(s *store.Store) error { return t.records(c.Context(), s, q, asJSON) })
		}}
	c.Flags().StringVar(&q.Asset, "asset", "", "only this asset number")
	c.Flags().StringVar(&q.Serial, "serial", "", "only this serial number")
	c.Flags().StringVar(&q.Customer, "customer", "", "only this customer")
	c.Flags().StringVar(&q.Words, "find", "", "only with these parts of asset, serial number, customer or model, in any order, upper or lower case")
	c.Flags().StringVar(&q.Kind, "run", "", "only as-found, after-repair or as-left records")
	c.Flags().StringVar(&q.Statement, "statement", "", "only where the statement begins so: outside, within, incomplete, \"not obtainable\"")
	c.Flags().StringVar(&q.Standard, "standard", "", "only what rests on this standard: its name in the bench file, its serial number, or the number of a certificate")
	c.Flags().StringVar(&since, "since", "", "only runs that ended on this day (such as 2026-03-01) or later")
	c.Flags().StringVar(&until, "until", "", "only runs that began on this day or earlier")
	c.Flags().StringVar(&q.After, "after", "", "only what stands behind this record in the list")
	c.Flags().IntVar(&q.Limit, "limit", shownRows, "how many are listed; 0: all, as with --json")
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON (schema \"bandproof records 1\")")
	return c
}

// day is the beginning of a day at this place, or of one some days later.
func day(flag, is string, later int) (time.Time, error) {
	if is == "" {
		return time.Time{}, nil
	}
	d, err := time.ParseInLocation(time.DateOnly, is, time.Local)
	if err != nil {
		return d, usage{fmt.Errorf("%s: %q is no date such as 2026-03-01", flag, is)}
	}
	return d.AddDate(0, 0, later), nil
}

// records lists those that match, and the runs that were interrupted.
func (t *terminal) records(ctx context.Context, s *store.Store, q store.Query, asJSON bool) error {
	rows, err := s.List(ctx, q)
	if err != nil {
		return err
	}
	open, err := s.Interrupted(ctx)
	if err != nil {
		return err
	}
	if asJSON {
		return t.json(map[string]any{"schema": "bandproof records 1", "records": rows, "interrupted": interruptedRows(open, underWay(ctx, s))})
	}
	defer t.open(open, s.File(), underWay(ctx, s))
	w := tabwriter.NewWriter(t, 0, 0, 2, ' ', 0)
	head, standard := "record\trun\tcreated\tasset\tserial\tstatement", q.Standard != ""
	if standard {
		head = "record\trun\tcreated\tasset\tserial\tpoints\tstatement"
	}
	fmt.Fprintln(w, head)
	for _, r := range rows { // the end of an id names it everywhere; --json has it whole
		line := fmt.Sprintf("%s\t%s\t%s\t%s\t%s\t", shortID(r.ID), r.Kind, r.Created[:16]+"Z", cell(r.Asset), cell(r.Serial))
		if standard {
			line += fmt.Sprintf("%d\t", r.Points)
		}
		fmt.Fprintln(w, line+r.Statement+due(r))
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	if len(rows) < q.Limit || q.Limit == 0 {
		return nil
	}
	return t.others(ctx, s, q, rows)
}

// cell is a text on one line of a table, and not too long for it.
func cell(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	if r := []rune(text); len(r) > 40 {
		return string(r[:39]) + "…"
	}
	return text
}

// others says that more records match than are listed.
func (t *terminal) others(ctx context.Context, s *store.Store, q store.Query, rows []store.Row) error {
	q.After = rows[len(rows)-1].ID
	n, err := s.Count(ctx, q, countedRows+1)
	if err != nil || n == 0 {
		return err
	}
	more := fmt.Sprint(n)
	if n > countedRows {
		more = fmt.Sprintf("more than %d", countedRows)
	}
	t.note("note: older records that match too: %s; --after %s lists the next ones, --limit 0 all", more, shortID(q.After))
	return nil
}

package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"bandproof/reports/record"
	"bandproof/reports/sheet"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/spf13/cobra"
)

func noticeCommand(t *terminal) *cobra.Command {
	var file, to, format, logo string
	var significant float64
	var style sheet.Options
	c := &cobra.Command{
		Use:   "notice RECORD",
		Short: "write the out-of-tolerance notice for the owner of a unit that was found outside tolerance",
		Long: "Write the notice to the owner of a unit whose as-found record lies outside tolerance: where and by how much it was out, since when at most,\n" +
			"by which standards, and what is not concerned; the owner judges the effect. The newest earlier record of the unit within tolerance is looked for\n" +
			"in the store. (Events that a bench tells somebody of are \"notices\".)",
		Args: exactly(1, "one as-found record"),
		RunE: func(c *cobra.Command, args []string) error {
			write, err := sheetWriter(to, format)
			if err != nil || strings.HasSuffix(strings.ToLower(to), ".csv") || format == "csv" {
				return usage{errors.Join(err, errors.New("a notice is written as .pdf, .html, .xlsx or .txt"))}
			}
			records, err := findRecords(c, file, args)
			if err != nil {
				return err
			}
			s, err := sheet.OutOfTolerance(records[0], t.lastGood(c, file, records[0]), significant)
			if err == nil {
				s, err = s.With(style)
			}
			if err != nil {
				return usage{fmt.Errorf("no notice: %w", err)}
			}
			if s, err = findSeals(c, t, s, file, args, records); err != nil {
				return err
			}
			if s, err = findLogo(c, t, s, file, logo); err != nil {
				return err
			}
			return writeSheet(t, s, write, to)
		},
	}
	storeFlag(c, &file, false, "the records")
	c.Flags().StringVar(&to, "to", "notice.pdf", "file to write, ending in .pdf, .html, .xlsx or .txt; \"-\" for standard output")
	c.Flags().StringVar(&format, "format", "", "format where no ending tells it: pdf, html, xlsx or txt")
	c.Flags().Float64Var(&significant, "significant", sheet.UsuallySignificant, "how many limits off a result is called significant")
	logoFlag(c, &logo)
	styleFlags(c, &style)
	return c
}

// lastGood finds the newest record of the unit that ended before this one began
// and was within tolerance. Without a store, or a number by which the unit is
// known, that is not known.
func (t *terminal) lastGood(c *cobra.Command, place string, r record.Record) (last sheet.LastGood) {
	serial := r.Job.Serial
	if serial == "" || isThere(place) != nil {
		return last
	}
	err := withStore(c, place, func(st *store.Store) error {
		rows, err := st.List(c.Context(), store.Query{Serial: serial, Statement: "within", Until: r.Run.Started})
		if err != nil {
			return err
		}
		for _, row := range rows {
			if row.CorrectedBy != "" || row.ID == r.ID || row.Kind == string(runner.AfterRepair) {
				continue
			}
			earlier, err := st.Record(c.Context(), row.ID)
			if err != nil {
				return err
			}
			withdrawn := earlier.Corrects != nil && earlier.Corrects.Withdrawn
			if !withdrawn && len(earlier.Run.Only) == 0 && earlier.Run.Finished.Before(r.Run.Started.Add(time.Nanosecond)) {
				last = sheet.LastGood{ID: earlier.ID, Kind: earlier.Run.Kind, At: earlier.Run.Finished}
				return nil
			}
		}
		return nil
	})
	if err != nil {
		t.note("warning: when the unit was last within tolerance could not be looked up: %v", err)
	}
	return last
}

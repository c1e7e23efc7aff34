package main

import (
	"bytes"

	"bandproof/reports/sheet"

	"github.com/spf13/cobra"
)

func labelCommand(t *terminal) *cobra.Command {
	var file, to, size string
	var style sheet.Options
	c := &cobra.Command{
		Use:   "label RECORD",
		Short: "write the sticker for a calibrated, limited or rejected unit, as PDF",
		Long: "Write the sticker for a unit as PDF: calibrated, limited or rejected, as the record allows. A due date stands on it only where the\n" +
			"customer agreed to one. The code holds the record's id and the beginning of its hash. A RECORD is the id of a record in the store,\nor a record file (JSON).",
		Args: exactly(1, "one record"),
		RunE: func(c *cobra.Command, args []string) error {
			measure, err := sheet.ParseLabelSize(size)
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
			var b bytes.Buffer
			l, err := s.Label(measure)
			if err == nil {
				err = l.PDF(&b)
			}
			if err == nil {
				err = writeFile(to, b.Bytes())
			}
			if err != nil {
				return usage{err}
			}
			t.print("wrote %s", to)
			return nil
		},
	}
	storeFlag(c, &file, false, "the records")
	c.Flags().StringVar(&to, "to", "label.pdf", "file to write (PDF)")
	c.Flags().StringVar(&size, "size", "50x25mm", "width and height of the label")
	c.Flags().StringVar(&style.Language, "language", "", "language, as of the data sheet")
	return c
}

package main

import (
	"fmt"
	"text/tabwriter"

	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

// recordsBench lists what was done at the bench outside any run.
func recordsBench(t *terminal, file *string) *cobra.Command {
	var serial string
	var asJSON bool
	c := &cobra.Command{Use: "bench-log", Short: "list holds, adjustments and looks inside, which are no part of any run, newest first", Args: exactly(0, "no arguments"),
		RunE: func(c *cobra.Command, _ []string) error {
			return withStore(c, *file, func(s *store.Store) error {
				list, err := s.BenchLog(c.Context(), serial)
				if err != nil {
					return err
				}
				if asJSON {
					return t.json(map[string]any{"schema": "bandproof bench log 1", "entries": list})
				}
				w := tabwriter.NewWriter(t, 0, 0, 2, ' ', 0)
				fmt.Fprintln(w, "began\twhat\tserial\tinput\tfrequency\tlevel\tend")
				for _, l := range list {
					end, frequency, level := l.How, l.Frequency.String(), l.Level.String()
					if l.Record != "" {
						level = ""
						if l.Input == "" {
							frequency = ""
						}
					}
					switch {
					case l.Record != "":
						end = joined(", ", fmt.Sprintf("%q", l.Text), l.Who, "of record "+shortID(l.Record))
					case l.Ended.IsZero():
						end = "cut off"
					case l.Tries > 0:
						end += fmt.Sprintf(", tries: %d", l.Tries)
					}
					fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", l.Began.UTC().Format("2006-01-02T15:04Z"), l.What, l.Serial, l.Input, frequency, level, end)
				}
				if err := w.Flush(); err != nil {
					return fmt.Errorf("standard output: %w", err)
				}
				return nil
			})
		}}
	c.Flags().StringVar(&serial, "serial", "", "only of this unit")
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON (schema \"bandproof bench log 1\")")
	return c
}

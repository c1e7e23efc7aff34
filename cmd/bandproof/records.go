package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"bandproof/drivers"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner/kinds"

	"github.com/spf13/cobra"
)

func recordsCommand(t *terminal) *cobra.Command {
	var file string
	c := &cobra.Command{Use: "records", Short: "list, show, verify, correct, compare and export the records of a store, and the history of a unit",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage{fmt.Errorf("records has no command %q; there are %s", args[0], strings.Join(names(c.Commands()), ", "))}
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() }}
	storeFlag(c, &file, true, "the records")
	c.AddCommand(
		recordsList(t, &file),
		recordsShow(t, &file),
		recordsVerify(t, &file),
		recordsCorrect(t, &file),
		recordsExport(t, &file),
		recordsImport(t, &file),
		recordsBackup(t, &file),
		recordsCompare(t, &file),
		recordsHistory(t, &file),
		recordsImportResults(t, &file),
		recordsImported(t, &file),
		recordsBench(t, &file),
		recordsWireLog(t, &file),
	)
	return c
}

func names(list []*cobra.Command) (names []string) {
	for _, c := range list {
		names = append(names, c.Name())
	}
	return names
}

// due says what is still to be done after a record, and whether it still holds.
func due(r store.Row) string {
	text := ""
	switch {
	case r.CorrectedBy != "" && r.Withdrawn:
		text = "; withdrawn by " + shortID(r.CorrectedBy)
	case r.CorrectedBy != "":
		text = "; replaced by " + shortID(r.CorrectedBy)
	case r.Withdrawn:
		text = "; WITHDRAWN"
	case r.Corrects != "":
		text = "; amends " + shortID(r.Corrects)
	}
	if r.Due {
		text += "; adjusted since: as-left run due"
	}
	return text
}

func recordsShow(t *terminal, file *string) *cobra.Command {
	var asJSON bool
	var point, task string
	c := &cobra.Command{Use: "show RECORD", Short: "show one record", Args: exactly(1, "the id of a record"),
		RunE: func(c *cobra.Command, args []string) error {
			return withStore(c, *file, func(s *store.Store) error {
				r, err := s.Record(c.Context(), args[0])
				if err != nil {
					return err
				}
				switch {
				case point != "":
					return showPoint(t, r, point)
				case task != "":
					return showTaskOf(t, r, task)
				case asJSON:
					return writeRecord(t, r)
				}
				t.summary(summarise(r))
				return nil
			})
		}}
	c.Flags().BoolVar(&asJSON, "json", false, "print the whole record as JSON (schema \"bandproof record 2\")")
	c.Flags().StringVar(&point, "point", "", "show one point with readings, limit, uncertainty budget and verdict, such as B-007")
	c.Flags().StringVar(&task, "task", "", "show one task of another measurement with findings, budgets, settings and readings, such as B-sensitivity-001")
	c.MarkFlagsMutuallyExclusive("json", "point", "task")
	return c
}

// showTaskOf finds a task by its id.
func showTaskOf(t *terminal, r record.Record, id string) error {
	first := "none: the run took no other measurement"
	for k, o := range r.Run.Outcomes {
		if k == 0 {
			first = o.Task.ID
		}
		if o.Task.ID == id {
			showTask(t, o)
			return nil
		}
	}
	return usage{fmt.Errorf("record %s has no task %q; tasks are such as %s", r.ID, id, first)}
}

// showPoint writes everything about one point of a record.
func showPoint(t *terminal, r record.Record, id string) error {
	for _, p := range r.Run.Points {
		if p.Point.ID != id {
			continue
		}
		t.print("point %s of the %s run: input %s at %s, %s at the input, gate %s", id, r.Run.Kind, p.Point.Input, p.Point.Frequency, p.Point.Levels.Input, p.Gate)
		t.print("source %s through %s, locked: %s", p.Point.Source, p.Point.Path, p.Setting.Locked)
		if says := r.Run.Topology[p.Point.Source].Says; says != "" {
			t.print("%s", says)
		}
		t.showAids(p)
		levels, err := r.LevelBudget(p, kinds.Tables()...)
		if err != nil {
			t.print("level budget: can't be had: %v", err)
		} else if err := printLevelBudget(t, levels); err != nil {
			return err
		}
		for _, x := range p.Readings {
			text := x.Text
			if x.Mark != drivers.None {
				text += " (" + string(x.Mark) + ")"
			}
			t.print("reading %s: %s", x.Use, text)
		}
		for _, note := range p.Notes {
			t.print("note: %s", note)
		}
		if p.Symptom != "" {
			t.print("symptom: %s", p.Symptom)
		}
		return printReasoning(t, r.Run.Rule, p.Judgement, nil)
	}
	return usage{fmt.Errorf("record %s has no point %q; points are such as %s", r.ID, id, firstPoint(r))}
}

func firstPoint(r record.Record) string {
	if len(r.Run.Points) == 0 {
		return "none: the run took no point"
	}
	return r.Run.Points[0].Point.ID
}

func writeRecord(t *terminal, r record.Record) error {
	text, err := r.Encode()
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := json.Indent(&b, text, "", "  "); err != nil {
		return fmt.Errorf("record %s: %w", r.ID, err)
	}
	b.WriteByte('\n')
	if _, err := b.WriteTo(t); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	return nil
}

// exportFiles writes one record as files.
func (t *terminal) exportFiles(ctx context.Context, s *store.Store, id, to string) error {
	sealed, err := s.Sealed(ctx, id)
	if err != nil {
		return err
	}
	r, err := sealed.Record()
	if err != nil {
		return err
	}
	if to == "" {
		to = string(r.Run.Kind) + "-" + shortID(r.ID) + ".json"
	}
	files := append([]outFile{{to, sealed.Bytes}}, sealFiles(strings.TrimSuffix(to, ".json"), sealed)...)
	written, err := writeFiles(files)
	for _, f := range written {
		t.print("wrote %s", f)
	}
	if err != nil {
		return usage{err}
	}
	return nil
}

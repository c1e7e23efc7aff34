package main

import (
	"fmt"
	"strings"

	"bandproof/drivers/profile"
	"bandproof/drivers/virtual"
	"bandproof/procedures"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/record"
	"bandproof/runner/isolate"
	"bandproof/runner/kinds"

	"github.com/spf13/cobra"
)

func schemaCommand(t *terminal) *cobra.Command {
	files := append(procedures.Schemas(), "profile", "scenario", "budget", "block-model")
	files = append(files, record.Schemas()...)
	return &cobra.Command{
		Use:       "schema " + strings.Join(files, "|"),
		Short:     "print the JSON Schema of a file, for an editor to complete and check it, or of a record or its seal",
		ValidArgs: files,
		Args:      exactly(1, "one of "+strings.Join(files, ", ")),
		RunE: func(_ *cobra.Command, args []string) error {
			var s []byte
			var err error
			switch args[0] {
			case "profile":
				s, err = profile.JSONSchema()
			case "scenario":
				s, err = virtual.JSONSchema()
			case "budget":
				s, err = uncertainty.JSONSchema()
			case "block-model":
				s, err = isolate.JSONSchema()
			case "record", "seal":
				s, err = record.JSONSchema(args[0])
			default:
				s, err = procedures.JSONSchema(args[0], kinds.Tables()...)
			}
			if err != nil {
				return usage{fmt.Errorf("%w, profile, scenario, budget, block-model, record, seal", err)}
			}
			if _, err := t.Write(s); err != nil {
				return fmt.Errorf("standard output: %w", err)
			}
			return nil
		},
	}
}

package main

import (
	"fmt"
	"strings"

	"bandproof/procedures"

	"github.com/spf13/cobra"
)

func schemaCommand(t *terminal) *cobra.Command {
	return &cobra.Command{
		Use:       "schema procedure|bench|job",
		Short:     "print the JSON Schema of a file, for an editor to complete and check it",
		ValidArgs: procedures.Schemas(),
		Args:      exactly(1, "one of "+strings.Join(procedures.Schemas(), ", ")),
		RunE: func(_ *cobra.Command, args []string) error {
			s, err := procedures.JSONSchema(args[0])
			if err != nil {
				return usage{err}
			}
			if _, err := t.out.Write(s); err != nil {
				return fmt.Errorf("standard output: %w", err)
			}
			return nil
		},
	}
}

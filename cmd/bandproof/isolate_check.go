package main

import (
	"bandproof/reports/diagram"

	"github.com/spf13/cobra"
)

func isolateCheck(t *terminal) *cobra.Command {
	var asJSON bool
	var svg string
	c := &cobra.Command{
		Use:   "check MODEL",
		Short: "check a block model, and say what could be found in such a unit at all",
		Long: `Read a block model, tell its mistakes with line and key, and report how well such a
unit can be tested: stages that nothing reaches, faults that nothing shows, faults of
different stages that look alike, and where one more test point would tell them apart.`,
		Args: exactly(1, "a block model (TOML)"),
		RunE: func(_ *cobra.Command, args []string) error {
			n, err := loadModel(args[0])
			if err != nil {
				return err
			}
			if svg != "" {
				if err := t.diagram(n, diagram.Options{}, svg); err != nil {
					return err
				}
			}
			if asJSON {
				return t.json(n.Check())
			}
			t.modelCheck(n.Check())
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON (schema \"bandproof model check 1\")")
	c.Flags().StringVar(&svg, "svg", "", "file to draw the block diagram to")
	return c
}

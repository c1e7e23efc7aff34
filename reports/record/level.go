package record

import (
	"fmt"

	"bandproof/procedures"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
)

// LevelBudget is what makes the level at a point's input uncertain, in dB, from
// the procedure and bench files that the record keeps.
func (r Record) LevelBudget(p runner.PointResult) (uncertainty.Budget, error) {
	procedure, err := procedures.LoadProcedure(r.Procedure.File, []byte(r.Procedure.Text))
	if err != nil {
		return nil, fmt.Errorf("procedure of record %s: %w", r.ID, err)
	}
	bench, err := procedures.LoadBench(r.Bench.File, []byte(r.Bench.Text))
	if err != nil {
		return nil, fmt.Errorf("bench of record %s: %w", r.ID, err)
	}
	i, _ := procedure.Input(p.Point.Input)
	return bench.LevelBudget(i, p.Point)
}

package record

import (
	"fmt"

	"bandproof/procedures"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
)

// LevelBudget is what makes the level at a point's input uncertain, in dB, from
// the procedure and bench files that the record keeps. kinds are those of the
// procedure's measurements.
func (r Record) LevelBudget(p runner.PointResult, kinds ...procedures.MeasureKind) (uncertainty.Budget, error) {
	procedure, err := procedures.LoadProcedure(r.Procedure.File, []byte(r.Procedure.Text), kinds...)
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

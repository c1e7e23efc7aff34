// Package kinds lists the kinds of measurement beyond the band sweep. A new one
// is a package below runner and one line here.
package kinds

import (
	"bandproof/procedures"
	"bandproof/runner"
	"bandproof/runner/edge"
	"bandproof/runner/gate"
	"bandproof/runner/levelrange"
	"bandproof/runner/observation"
	"bandproof/runner/overlap"
	"bandproof/runner/selftest"
	"bandproof/runner/sensitivity"
	"bandproof/runner/timebase"
)

// All returns every kind.
func All() []runner.MeasureKind {
	return []runner.MeasureKind{
		edge.Kind{},
		gate.Kind{},
		overlap.Kind{},
		timebase.Kind{},
		selftest.Kind{},
		observation.Kind{},
		sensitivity.Kind{},
		levelrange.Kind{},
	}
}

// Tables are the same kinds as the reader of procedures wants them.
func Tables() []procedures.MeasureKind {
	var list []procedures.MeasureKind
	for _, k := range All() {
		list = append(list, k)
	}
	return list
}

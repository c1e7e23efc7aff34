package procedures

import (
	"fmt"

	"bandproof/procedures/quantity"
)

// AtFrequency returns a point as it would be at another frequency (the nearest
// that its source can be set to): same path, gate and readings, at least the
// same level at the input. The error says why that can't be had.
func (pl *Plan) AtFrequency(p *Procedure, b *Bench, as Point, f quantity.Frequency) (Point, error) {
	l := &planner{p: p, b: b, plan: pl}
	i, ok := p.Input(as.Input)
	path, led := b.Path(as.Path)
	source, there := b.Source(path.Source)
	if !ok || !led || !there {
		return Point{}, fmt.Errorf("point %s: no input %q, path %q or source %q", as.ID, as.Input, as.Path, path.Source)
	}
	level := as.Levels.Input
	got, err := l.onPath(i, Sweep{Input: i.Name, Gate: GateTime{Fixed: as.Gate}, Readings: as.Readings, Level: &level}, f, level, path, source)
	if err != nil {
		return Point{}, fmt.Errorf("%s at %s: %w", level, f, err)
	}
	got.ID, got.Seconds = as.ID, as.Seconds
	return got, nil
}

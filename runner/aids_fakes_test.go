package runner_test

import (
	"context"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// mover is a switch that has moved by itself when it is asked after the points
// of position 2.
type mover struct {
	drivers.Switch
	at    string
	asked int
}

func (m *mover) Route(ctx context.Context, position string) error {
	m.at, m.asked = position, 0
	return m.Switch.Route(ctx, position)
}

func (m *mover) Position(ctx context.Context) (string, error) {
	if m.asked++; m.at == "2" && m.asked > 1 {
		return "5", nil
	}
	return m.Switch.Position(ctx)
}

// watchful calls before each reading of the unit.
func watchful(c drivers.Counter, before func()) drivers.Counter {
	return struct {
		drivers.Counter
		drivers.ReferenceReporter
	}{eager{c, before}, c.(drivers.ReferenceReporter)}
}

type eager struct {
	drivers.Counter
	before func()
}

func (e eager) Read(ctx context.Context) (drivers.Reading, error) {
	e.before()
	return e.Counter.Read(ctx)
}

func inputOf(r *rig, name string) procedures.Input {
	i, _ := r.Setup.Procedure.Input(name)
	return i
}

func with(p procedures.Point, level quantity.Level) procedures.Point {
	p.Levels.Input = level
	return p
}

// finder is a power meter behind the coupler of input C that finds one level at
// the input, whatever the frequency.
type finder struct {
	drivers.PowerMeter
	dbm  float64
	mark drivers.Mark
	at   quantity.Frequency
}

func (f *finder) SetFrequency(_ context.Context, at quantity.Frequency) error {
	f.at = at
	return nil
}

func (f *finder) Measure(context.Context) (drivers.LevelReading, error) {
	offset := 10 + 0.4*(f.at.Float()-1e9)/17e9
	return drivers.LevelReading{Level: quantity.DBmLevel(f.dbm-offset, 4), Mark: f.mark}, nil
}

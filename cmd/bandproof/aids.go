package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"bandproof/drivers"
	"bandproof/drivers/profile"
	"bandproof/procedures"
	"bandproof/runner"
)

// aidProfiles are the profiles of switches, power meters, thermometers and the
// monitor, by name in the bench file.
type aidProfiles struct {
	switches, powerMeters, thermometers map[string]*profile.Profile
	monitor                             *profile.Profile
}

// loadAids finds the profiles of the bench's aids; wrong is told what does not
// fit together.
func (f *files) loadAids(load func(key string, c procedures.Connection, role string) *profile.Profile, wrong func(key string, err error)) {
	a := aidProfiles{map[string]*profile.Profile{}, map[string]*profile.Profile{}, map[string]*profile.Profile{}, nil}
	for _, s := range f.bench.Switches {
		a.switches[s.Name] = load(fmt.Sprintf("switch %q", s.Name), s.Connection, profile.RoleSwitch)
	}
	for _, m := range f.bench.PowerMeters {
		a.powerMeters[m.Name] = load(fmt.Sprintf("power_meter %q", m.Name), m.Connection, profile.RolePowerMeter)
	}
	for _, t := range f.bench.Thermometers {
		a.thermometers[t.Name] = load(fmt.Sprintf("thermometer %q", t.Name), t.Connection, profile.RoleThermometer)
	}
	unknown := func(key, name, what string, known []string) {
		if len(known) > 0 && !slices.Contains(known, name) {
			wrong(key, fmt.Errorf("%q is no %s that the profile knows; it knows %s", name, what, strings.Join(known, ", ")))
		}
	}
	for _, p := range f.bench.Paths {
		if s := a.switches[p.Switch]; s != nil {
			unknown(fmt.Sprintf("path %q.position", p.Name), p.Position, "position", s.Capability().Positions)
		}
	}
	if m := f.bench.Monitor; m != nil {
		if a.monitor = load("monitor", m.Connection, profile.RoleCounter); a.monitor != nil {
			unknown("monitor.input", m.Input, "input", a.monitor.Capability().Inputs)
		}
	}
	f.aids = a
}

// openAids opens what else stands on the bench. A thermometer that does not
// answer is done without, and the record says so.
func (f *files) openAids(ctx context.Context, w wiring, in *instruments) (err error) {
	in.aids = runner.Aids{Switches: map[string]drivers.Switch{}, PowerMeters: map[string]drivers.PowerMeter{},
		Thermometers: map[string]drivers.Thermometer{}, Silent: map[string]error{}}
	for _, s := range f.bench.Switches {
		if err = opened(ctx, w, "switch", s.Name, s.Connection, f.aids.switches[s.Name], (*profile.Profile).OpenSwitch, in.aids.Switches); err != nil {
			return err
		}
	}
	for _, m := range f.bench.PowerMeters {
		if err = opened(ctx, w, "power meter", m.Name, m.Connection, f.aids.powerMeters[m.Name], (*profile.Profile).OpenPowerMeter, in.aids.PowerMeters); err != nil {
			return err
		}
	}
	for _, t := range f.bench.Thermometers {
		if err = opened(ctx, w, "thermometer", t.Name, t.Connection, f.aids.thermometers[t.Name], (*profile.Profile).OpenThermometer, in.aids.Thermometers); err != nil {
			if ctx.Err() != nil {
				return err
			}
			in.aids.Silent[t.Name] = err
		}
	}
	if m := f.bench.Monitor; m != nil {
		counters := map[string]drivers.Counter{}
		err = opened(ctx, w, "monitor", procedures.MonitorName, m.Connection, f.aids.monitor, (*profile.Profile).OpenCounter, counters)
		in.aids.Monitor = counters[procedures.MonitorName]
	}
	return err
}

// opened opens one instrument and keeps it by its name.
func opened[I drivers.Instrument](ctx context.Context, w wiring, what, name string, c procedures.Connection, p *profile.Profile,
	open func(*profile.Profile, context.Context, profile.Opening) (I, error), into map[string]I) error {
	o, err := w.opening(ctx, name, c, p)
	if err != nil {
		return fmt.Errorf("%w: %s %s: %w", runner.ErrBench, what, name, err)
	}
	i, err := open(p, ctx, o)
	if err != nil {
		return fmt.Errorf("%w: %s %w", runner.ErrBench, what, err)
	}
	into[name] = i
	return nil
}

// openOf gives what is open of the aids.
func openOf(a runner.Aids) (open []drivers.Instrument) {
	for _, s := range a.Switches {
		open = append(open, s)
	}
	for _, m := range a.PowerMeters {
		open = append(open, m)
	}
	for _, t := range a.Thermometers {
		open = append(open, t)
	}
	if a.Monitor != nil {
		open = append(open, a.Monitor)
	}
	return open
}

// printAids says what on the bench does without a person, or measures beside
// the unit.
func printAids(t *terminal, f *files, p *procedures.Plan) {
	count := func(of func(procedures.Point) bool) (n int) {
		for _, x := range p.Points {
			if of(x) {
				n++
			}
		}
		return n
	}
	for _, path := range f.bench.Paths {
		if n := count(func(x procedures.Point) bool { return x.Path == path.Name }); path.Switch != "" && n > 0 {
			t.print("path %s: over switch %s, position %s (%d points)", path.Name, path.Switch, path.Position, n)
		}
	}
	if n := count(func(x procedures.Point) bool { return x.Metered }); n > 0 {
		t.print("level: measured by power meter at %d of %d points", n, len(p.Points))
	}
	if n := count(func(x procedures.Point) bool { return x.Watched }); n > 0 {
		t.print("monitor: counts source %s at %d of %d points", f.bench.Monitor.Source, n, len(p.Points))
	}
}

// showAids writes where the switch stood, what the power meter found and what
// the monitor counted at a point.
func (t *terminal) showAids(p runner.PointResult) {
	if p.Route != nil {
		t.print("switch %s: position %s, read back", p.Route.Switch, p.Route.Position)
	}
	if l := p.Level; l != nil {
		t.print("power meter %s: %s; level at the input %s, U = %.2g dB (k = 2); computed %s", l.Meter, l.Reading.Text, l.Input, l.Uncertainty, p.Point.Levels.Input)
	}
	for _, w := range p.Monitor {
		text := w.Text
		if w.Mark != drivers.None {
			text += " (" + string(w.Mark) + ")"
		}
		good := "as expected"
		if !w.Good {
			good = "NOT as expected"
		}
		t.print("monitor %s: %s, %s (%s Hz ± %s Hz)", w.Use, text, good, group(w.Expected.Fixed(2)), group(w.Allowed.Fixed(3)))
	}
}

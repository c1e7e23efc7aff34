package runner

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"

	"bandproof/drivers"
	"bandproof/procedures"
)

// Aids are the instruments beside the unit and its sources, by name in the
// bench file. Each may be absent.
type Aids struct {
	Switches     map[string]drivers.Switch
	PowerMeters  map[string]drivers.PowerMeter
	Thermometers map[string]drivers.Thermometer
	Monitor      drivers.Counter
	// Silent says of thermometers that could not even be opened why.
	Silent map[string]error
}

// identifyAids asks each who it is; one that is another than its certificate
// belongs to ends the run. A thermometer that does not answer is done without.
func (r *run) identifyAids(ctx context.Context) error {
	r.result.Aids = map[string]drivers.Identity{}
	ask := func(what string, i drivers.Instrument, spec procedures.Standard) error {
		id, err := i.Identify(ctx)
		if err != nil {
			return fmt.Errorf("%w: %s does not say who it is: %w", ErrBench, what, err)
		}
		r.result.Aids[i.Name()] = id
		if wrong := differs(id, spec.Model, spec.Serial); wrong != "" {
			return fmt.Errorf("%w: %s at %s: %s in the bench file; are two addresses swapped?", ErrBench, what, i.Address(), wrong)
		}
		return nil
	}
	for _, name := range slices.Sorted(maps.Keys(r.Switches)) {
		spec, _ := r.Bench.Switch(name)
		if err := ask("switch "+name, r.Switches[name], spec.Standard); err != nil {
			return err
		}
	}
	for _, name := range slices.Sorted(maps.Keys(r.PowerMeters)) {
		spec, _ := r.Bench.PowerMeter(name)
		if err := ask("power meter "+name, r.PowerMeters[name], spec.Standard); err != nil {
			return err
		}
	}
	for _, name := range slices.Sorted(maps.Keys(r.Silent)) {
		r.unheard(ctx, name, r.Silent[name])
	}
	for _, name := range slices.Sorted(maps.Keys(r.Thermometers)) {
		spec, _ := r.Bench.Thermometer(name)
		t := r.Thermometers[name]
		if _, err := t.Identify(ctx); err != nil {
			r.unheard(ctx, name, err)
			continue
		}
		if err := ask("thermometer "+name, t, spec.Standard); err != nil {
			return err
		}
	}
	if r.Monitor == nil {
		return nil
	}
	return ask("the monitor", r.Monitor, r.Bench.Monitor.Standard)
}

// prepareAids zeroes the power meters, while RF is off, and sets the monitor up.
func (r *run) prepareAids(ctx context.Context) error {
	for _, name := range slices.Sorted(maps.Keys(r.PowerMeters)) {
		meter := r.PowerMeters[name]
		z, ok := meter.(drivers.Zeroer)
		if !ok {
			continue
		}
		if err := r.retryLink(ctx, meter, func() error { return z.Zero(ctx) }); err != nil {
			return fmt.Errorf("%w: power meter %s: %w", ErrBench, name, err)
		}
	}
	if r.Monitor == nil {
		return nil
	}
	spec := r.Bench.Monitor
	err := r.aim(ctx, spec.Input, spec.Gate)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrBench, err)
	}
	if what, err := r.monitorReference(ctx); err != nil || what != "" {
		return cmp.Or(err, fmt.Errorf("%w: %s; connect it or mend the bench file", ErrBench, what))
	}
	return nil
}

// monitorReference asks the monitor, where it can tell, which reference it runs
// from; "" where that is what the bench file says.
func (r *run) monitorReference(ctx context.Context) (what string, err error) {
	if r.Monitor == nil {
		return "", nil
	}
	want := "external"
	if r.Bench.Monitor.Reference == "own" {
		want = "own"
	}
	got, told, err := r.tellReference(ctx, r.Monitor)
	if err != nil || !told || got == want {
		return "", err
	}
	return fmt.Sprintf("the monitor reports that it runs from its %s reference, the bench file says %s (%s)", got, r.Bench.Monitor.Reference, want), nil
}

// signalTries is how often the source is set at one go where power meter or
// monitor say that it is not good; the point is put off after that.
const signalTries = 2

// arrive brings the source to a point and lets monitor and power meter say
// whether it is there.
func (r *run) arrive(ctx context.Context, at *place, p procedures.Point, res *PointResult) (bench Reason, err error) {
	pause := firstPause
	for try := 1; ; try++ {
		if bench, err = r.setSource(ctx, at, p, &res.Setting); bench != "" || err != nil {
			return bench, err
		}
		if bench, err = r.level(ctx, at, p, res); bench == "" && err == nil {
			bench, err = r.watch(ctx, p, res)
		}
		if bench == "" || err != nil || try == signalTries {
			return bench, err
		}
		res.Setting.Refused++
		r.Log.Warn("signal not good yet", "point", p.ID, "why", string(bench), "try", try)
		if err = r.Clock.Sleep(ctx, pause); err != nil {
			return "", err
		}
		pause *= 4
	}
}

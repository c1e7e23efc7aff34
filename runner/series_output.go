package runner

import (
	"context"
	"fmt"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// OutputSeries is the monitor that reads the unit's timebase output.
type OutputSeries struct {
	r        *run
	out      procedures.Output
	readings []Reading
}

// Output has the monitor read the unit's timebase output; bench tells why it
// can't.
func (s *Station) Output(ctx context.Context, o procedures.Output) (x *OutputSeries, bench Reason, err error) {
	r := s.r
	if r.Monitor == nil {
		return nil, "", fmt.Errorf("%w: the monitor is not open", ErrBench)
	}
	x = &OutputSeries{r: r, out: o}
	if err := r.aim(ctx, o.Input, o.Gate); err != nil {
		bench, err = r.broken(ctx, err)
		return x, bench, err
	}
	for range r.Monitor.Discard() {
		if _, _, bench, err = x.read(ctx, Discarded); bench != "" || err != nil {
			return x, bench, err
		}
	}
	return x, "", nil
}

// aim has the monitor measure at one of its inputs.
func (r *run) aim(ctx context.Context, input string, gate quantity.Duration) error {
	return r.retryLink(ctx, r.Monitor, func() error {
		if err := r.Monitor.SelectInput(ctx, input); err != nil {
			return err
		}
		got, err := r.Monitor.SetGate(ctx, gate)
		if err == nil && gateDiffers(got, gate) {
			err = fmt.Errorf("%w: gate %s is in force, not %s as the bench file says", drivers.ErrInstrument, got, gate)
		}
		return err
	})
}

// Read takes one reading of the output.
func (x *OutputSeries) Read(ctx context.Context) (got Reading, good bool, bench Reason, err error) {
	return x.read(ctx, Counted)
}

func (x *OutputSeries) read(ctx context.Context, use Use) (got Reading, good bool, bench Reason, err error) {
	r := x.r
	err = r.retryLink(ctx, r.Monitor, func() error {
		one, err := r.Monitor.Read(ctx)
		if err == nil && one.Mark == drivers.None && one.Frequency.Sign() == 0 {
			one.Mark = drivers.NoSignal
		}
		got = Reading{one, use}
		return err
	})
	if err != nil {
		bench, err = r.broken(ctx, err)
		return Reading{}, false, bench, err
	}
	x.readings = append(x.readings, got)
	return got, got.Mark == drivers.None, "", nil
}

// Again looks anew at what the monitor measures.
func (x *OutputSeries) Again(ctx context.Context) (bench Reason, err error) {
	if err = x.r.aim(ctx, x.out.Input, x.out.Gate); err != nil {
		bench, err = x.r.broken(ctx, err)
	}
	return bench, err
}

// Prove does nothing: the monitor's answers are asked for one by one.
func (x *OutputSeries) Prove(context.Context) error { return nil }

// Course is all that was read so far.
func (x *OutputSeries) Course() Course {
	return Course{By: procedures.MonitorName, Frequency: x.out.Frequency, Gate: x.out.Gate, Expected: x.out.Expected, Resolution: x.out.Resolution.Exact(), Readings: x.readings}
}

// End has the monitor watch its source again, where the bench file says.
func (x *OutputSeries) End(ctx context.Context) error {
	m := x.r.Bench.Monitor
	if err := x.r.aim(ctx, m.Input, m.Gate); err != nil {
		return fmt.Errorf("%w: %w", ErrBench, err)
	}
	return nil
}

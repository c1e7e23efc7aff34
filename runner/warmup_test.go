package runner_test

import (
	"context"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/virtual"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

const untilSteady = `origin = "Invented for the tests."
[warm_up_until]
input = "B"
frequency = "1 GHz"
gate = "1 s"
every = "10 s"
drift = "0.1 ppm"
per = "1 h"
over = "10 min"
longest = "2 h"
otherwise = "warn"
`

// cold builds a rig whose unit was switched on when the run begins: its timebase
// is 1.5 ppm off and comes in with a time constant of 8 min.
func cold(t *testing.T, pairs ...string) *rig {
	return newRig(t, options{Procedure: append([]string{`origin = "Invented for the tests."`, untilSteady}, pairs...),
		Scenario: []string{`powered_for = "2 d"`, `powered_for = "0 s"`, "seed = 1\n", "seed = 1\nage_by_clock = true\n"}})
}

// The drift of exp(−t/8 min)·1.5 ppm is 11.25 ppm/h·exp(−t/8 min), averaged over
// the last 10 min 1.5 ppm·6/h·(exp(−(t − 10 min)/8 min) − exp(−t/8 min)); with U
// it must have come down to 0.1 ppm/h: by hand, without U, at 43.7 min.
func TestWarmUpByDrift(t *testing.T) {
	r := cold(t)
	got := r.Run()
	w := got.WarmUp
	require.NotNil(t, w)
	require.True(t, w.Steady, w.Ended)
	mean := func(on float64) float64 { return 9e-6 * (math.Exp(-(on-600)/480) - math.Exp(-on/480)) } // per hour
	last := w.Readings[len(w.Readings)-1]
	require.Greater(t, last.On, 43.7*60-90.0)
	require.Less(t, last.On, 43.7*60+20*60.0)
	require.InDelta(t, mean(last.On), math.Abs(last.Drift.Slope)*3600, 2*last.Drift.U*3600)
	require.LessOrEqual(t, math.Abs(last.Drift.Slope)+last.Drift.U, 0.1e-6/3600)
	require.Greater(t, last.Drift.U*3600, 0.01e-6, "the slope is not known better than the counts allow")
	for _, x := range w.Readings[:len(w.Readings)-1] {
		if d := x.Drift; d != nil {
			require.Greater(t, math.Abs(d.Slope)+d.U, 0.1e-6/3600, "it would have been good after %g s", x.On)
		}
	}
	require.Nil(t, w.Readings[30].Drift, "five minutes tell nothing of ten")
	require.NotNil(t, w.Readings[62].Drift)
	// The curve is that of the model: a timebase that is low makes readings high.
	require.InDelta(t, 1.5e-6-0.12e-6-30*0.5e-9, w.Readings[0].Offset, 0.1e-6)
	require.InDelta(t, last.On, got.OnFor.Float(), 5)
	require.Equal(t, []string{"MW", "house standard"}, w.Standards)
	curves := w.Curves()
	require.Len(t, curves[0].Lines[0].X, len(w.Readings))
	require.InDelta(t, last.On/60, curves[0].Lines[0].X[len(w.Readings)-1], 0.2)
	require.InDelta(t, 0.1, curves[1].Marks[0].Y, 1e-9)
	require.InDelta(t, -0.1, curves[1].Marks[1].Y, 1e-9)
	require.Len(t, r.Journal.Steps, len(w.Readings)+1)
	require.Equal(t, runner.WithinAll, got.Statement, "a warm unit is within tolerance")
	require.Equal(t, []string{"MW to B", "LF to A"}, r.Operator.Moves, "the cable of the warm-up stays where it is")
	require.NotContains(t, got.Inputs[0].ReferenceCheck, "not asked")
}

// A unit that is warm already has shown so after the time that is asked for; one
// that must be on for longer is read until then.
func TestWarmUpOfAWarmUnit(t *testing.T) {
	r := newRig(t, options{Procedure: []string{`origin = "Invented for the tests."`, untilSteady}, Scenario: []string{"seed = 1\n", "seed = 1\nage_by_clock = true\n"}})
	w := r.Run().WarmUp
	require.True(t, w.Steady)
	require.InDelta(t, 600, w.Readings[len(w.Readings)-1].On, 300)

	r = newRig(t, options{Procedure: []string{`origin = "Invented for the tests."`, "warm_up = \"40 min\"\n" + untilSteady}, Scenario: []string{"seed = 1\n", "seed = 1\nage_by_clock = true\n"}})
	r.Setup.OnFor = quantity.MustParse[quantity.Second]("5 min")
	got := r.Run()
	require.True(t, got.WarmUp.Steady)
	require.GreaterOrEqual(t, got.OnFor.Float(), 2400.0)
	require.Less(t, got.OnFor.Float(), 3600.0)
	good := 0
	for _, x := range got.WarmUp.Readings {
		if d := x.Drift; d != nil && math.Abs(d.Slope)+d.U <= 0.1e-6/3600 {
			good++
		}
	}
	require.Greater(t, good, 1, "it was steady before it had been on for long enough")
	require.InDelta(t, 300, got.WarmUp.Readings[0].On, 20)
}

func TestWarmUpThatDoesNotComeDown(t *testing.T) {
	short := []string{`longest = "2 h"`, `longest = "20 min"`}
	got := cold(t, short...).Run()
	require.False(t, got.WarmUp.Steady)
	require.Contains(t, strings.Join(got.Warnings, "\n"), "the drift has not come down to 0.1 ppm in 1 h within 20 min; last: ")
	require.True(t, got.Complete)

	r := cold(t, append(short, `otherwise = "warn"`, `otherwise = "stop"`)...)
	got, err := runner.Run(t.Context(), r.Setup)
	require.ErrorIs(t, err, runner.ErrBench)
	require.ErrorContains(t, err, "the procedure says to stop then")
	require.Empty(t, got.Points)
	require.False(t, got.WarmUp.Steady)
	r.Always(got)

	r = cold(t, append(short, `otherwise = "warn"`, `otherwise = "ask"`)...)
	r.Operator.Answers = []bool{true}
	got = r.Run()
	require.True(t, got.Complete)
	require.Contains(t, got.WarmUp.Ended, "helper went on")

	r = cold(t, append(short, `otherwise = "warn"`, `otherwise = "ask"`)...)
	_, err = runner.Run(t.Context(), r.Setup)
	require.ErrorContains(t, err, "nobody said to go on")
}

// Where nobody moves the cable the longest time is waited for instead.
func TestWarmUpThatNobodyCanWatch(t *testing.T) {
	r := cold(t)
	r.Operator.Away = true
	begun := r.Clock.Now()
	got := r.Run()
	require.Contains(t, got.WarmUp.Ended, "could not be watched")
	require.GreaterOrEqual(t, r.Clock.Now().Sub(begun).Hours(), 2.0)
	require.InDelta(t, 7200, got.OnFor.Float(), 5)
}

// watchedClock tells somebody of each wait.
type watchedClock struct {
	*virtual.InstantClock
	tell func()
}

func (c watchedClock) Sleep(ctx context.Context, d time.Duration) error {
	c.tell()
	return c.InstantClock.Sleep(ctx, d)
}

// A source that is not locked for a while costs time and no more: what was read
// then does not count.
func TestWarmUpWithASourceThatLosesLock(t *testing.T) {
	r := cold(t)
	lock := func(faults ...string) {
		var list []virtual.Fault
		for _, text := range faults {
			f, err := virtual.ParseFault(text)
			require.NoError(t, err)
			list = append(list, f)
		}
		require.NoError(t, r.Bench.SetFaults(list))
	}
	begun, stage := r.Clock.Now(), 0
	r.Setup.Clock = watchedClock{r.Clock, func() {
		switch on := r.Clock.Now().Sub(begun); {
		case stage == 0 && on > 20*time.Minute:
			lock("source-unlock:instrument=MW")
			stage++
		case stage == 1 && on > 30*time.Minute:
			lock()
			stage++
		}
	}}
	w := r.Run().WarmUp
	require.True(t, w.Steady, w.Ended)
	void := 0
	for _, x := range w.Readings {
		if x.Use != runner.Counted {
			void++
			require.Nil(t, x.Drift)
			require.Zero(t, x.Offset)
		}
		require.False(t, x.On > 20*60+15 && x.On < 30*60 && x.Use == runner.Counted)
	}
	require.Equal(t, 1, void)
}

// Cut off at a reading, it goes on with what was kept; cut off after its end, it
// is not taken again.
func TestWarmUpGoesOn(t *testing.T) {
	whole := cold(t).Run().WarmUp
	for _, at := range []int{1, 100, len(whole.Readings), len(whole.Readings) + 1} {
		r := cold(t)
		ctx, cancel := context.WithCancel(t.Context())
		n := 0
		r.Journal.OnStep = func() {
			if n++; n == at {
				cancel()
			}
		}
		first, err := runner.Run(ctx, r.Setup)
		require.NoError(t, err)
		require.False(t, first.Complete)
		kept := map[string][]json.RawMessage{}
		for _, s := range r.Journal.Steps {
			task, body, _ := strings.Cut(s, " ")
			kept[task] = append(kept[task], json.RawMessage(body))
		}
		require.Len(t, kept[runner.WarmUpSteps], at)
		r.Journal.OnStep = nil
		r.Setup.Steps, r.Setup.OnFor = kept, first.OnFor
		if at <= len(whole.Readings) {
			last := first.WarmUp.Readings[len(first.WarmUp.Readings)-1]
			r.Setup.OnFor = quantity.Of[quantity.Second](int64(last.On), 0)
		}
		got := r.Run()
		w := got.WarmUp
		require.True(t, w.Steady, "%d", at)
		require.Equal(t, first.WarmUp.Readings, w.Readings[:min(at, len(whole.Readings))], "%d", at)
		if at > len(whole.Readings) {
			require.Equal(t, whole.Readings[len(whole.Readings)-1].On, w.Readings[len(w.Readings)-1].On)
			require.Equal(t, whole.Ended, w.Ended)
			continue
		}
		require.Contains(t, w.Notes[0], "interrupted after")
		require.Nil(t, w.Readings[at+10].Drift, "the time without drift begins anew")
		require.Greater(t, w.Readings[len(w.Readings)-1].On, w.Readings[at-1].On+600)
	}
}

// A run that is resumed does not warm the unit up again, unless it has been off.
func TestWarmUpAfterResume(t *testing.T) {
	r := cold(t)
	whole := r.Run().WarmUp
	kept := map[string][]json.RawMessage{}
	for _, s := range r.Journal.Steps {
		task, body, _ := strings.Cut(s, " ")
		kept[task] = append(kept[task], json.RawMessage(body))
	}
	began := r.Clock.Now().Add(-2 * time.Hour)
	r.Setup.Earlier = &runner.Earlier{Steps: kept, Sessions: []runner.Session{{Began: began, Ended: r.Clock.Now(), How: "cut off"}}, Last: r.Clock.Now()}
	got := r.Run().WarmUp
	require.Equal(t, whole.Readings, got.Readings)
	require.Equal(t, whole.Ended, got.Ended)

	off := quantity.MustParse[quantity.Second]("1 min")
	r.Setup.OnNow = &off
	got = r.Run().WarmUp
	require.True(t, got.Steady)
	require.Greater(t, len(got.Readings), len(whole.Readings)+50)
	require.Contains(t, got.Notes[0], "the unit has been off since")

	// A record that is made of the journal alone has the curve too.
	r.Setup.OnNow = nil
	ended, err := runner.Finish(t.Context(), r.Setup, "helper", nil)
	require.NoError(t, err)
	require.Equal(t, whole.Readings, ended.WarmUp.Readings)
	require.Equal(t, whole.Ended, ended.WarmUp.Ended)
}

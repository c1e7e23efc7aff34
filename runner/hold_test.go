package runner_test

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// park plans a point of input B and holds it for 15 min in model time.
func parked(t *testing.T, r *rig, level string) runner.Hold {
	t.Helper()
	w := procedures.Want{Frequency: quantity.MustParse[quantity.Hertz]("1 GHz"), Gate: quantity.MustParse[quantity.Second]("10 s")}
	if level != "" {
		l, err := quantity.ParseLevel(level)
		require.NoError(t, err)
		w.Level = &l
	}
	p, err := r.Setup.Plan.Park(r.Setup.Procedure, r.Setup.Bench, procedures.Options{}, "B", w, true)
	require.NoError(t, err)
	return runner.Hold{Point: p, For: quantity.MustParse[quantity.Second]("15 min")}
}

// rfOff holds that RF is off everywhere and nothing was harmed.
func rfOff(t *testing.T, r *rig) {
	t.Helper()
	for _, name := range []string{"LF", "MW"} {
		require.Equal(t, "0", runnertest.Ask(t, r.Bench, name, "OUTP?"), name)
	}
	require.Empty(t, r.Bench.Events())
}

// The time is over after 15 minutes: RF goes off first, then somebody is asked;
// each yes gives another 15.
func TestHoldIsLimitedInTime(t *testing.T) {
	r := newRig(t, options{})
	h := parked(t, r, "")
	r.Operator.Answers = []bool{true, false}
	var seen []runner.Live
	h.Live = func(l runner.Live) { seen = append(seen, l) }
	begun := r.Clock.Now()
	held, err := runner.Park(t.Context(), r.Setup, h)
	require.NoError(t, err)
	require.Equal(t, "the time was over", held.Ended)
	require.InDelta(t, 30, r.Clock.Now().Sub(begun).Minutes(), 2)
	require.Len(t, r.Operator.Asked, 2)
	require.Contains(t, r.Operator.Asked[0], "15 min are over, RF is off. Go on for another 15 min?")
	rfOff(t, r)
	require.Empty(t, r.Journal.Points)
	require.Empty(t, r.Journal.Events, "no part of any run")
	// The unit is 0.135 ppm high: it reads 135 Hz low. One count is 3.2 Hz.
	last := seen[len(seen)-1]
	require.InDelta(t, -0.135, last.PPM, 0.004)
	require.InDelta(t, -135, last.Error.Float(), 4)
	require.Equal(t, 0, last.Places)
	require.InDelta(t, -10, last.Level.DBm(quantity.Dbm50()), 0.2)
	require.Less(t, math.Abs(last.Trend.Slope), last.Trend.U, "it is steady")
	require.Nil(t, seen[2].Trend, "three readings tell no trend")
	require.Less(t, last.Left, 20*time.Second)
	require.Equal(t, len(seen), held.Readings)
}

// However it ends, RF is off: the person, the context, nobody there, a note that
// can't be kept, a link that is dead.
func TestHoldAlwaysSwitchesRFOff(t *testing.T) {
	dead := errors.New("disk full")
	for _, c := range []struct {
		name  string
		how   func(r *rig, h *runner.Hold, cancel func())
		ended string
		err   error
	}{
		{"person", func(_ *rig, h *runner.Hold, _ func()) {
			h.Heard = func() (runner.Note, bool) { return runner.Note{Last: true}, true }
		}, "ended by the person", nil},
		{"context", func(_ *rig, h *runner.Hold, cancel func()) {
			n := 0
			h.Live = func(runner.Live) {
				if n++; n == 3 {
					cancel()
				}
			}
		}, "ended from outside", nil},
		{"nobody", func(r *rig, _ *runner.Hold, _ func()) {}, "the time was over", nil},
		{"note", func(r *rig, h *runner.Hold, _ func()) {
			h.Heard = func() (runner.Note, bool) { return runner.Note{}, true }
			h.Noted = func(runner.Note, []runner.HeldReading) error { return dead }
		}, "disk full", dead},
		{"away", func(r *rig, _ *runner.Hold, _ func()) { r.Operator.Away = true }, "", runner.ErrNoOperator},
	} {
		r := newRig(t, options{})
		h := parked(t, r, "")
		ctx, cancel := context.WithCancel(t.Context())
		c.how(r, &h, cancel)
		held, err := runner.Park(ctx, r.Setup, h)
		cancel()
		if c.err == nil {
			require.NoError(t, err, c.name)
		} else {
			require.ErrorIs(t, err, c.err, c.name)
		}
		require.Contains(t, held.Ended, c.ended, c.name)
		rfOff(t, r)
	}
}

// The unit dies at the bench while it is held, and comes back; the source loses
// lock: the hold goes on, and says what is wrong.
func TestHoldShowsWhatIsWrong(t *testing.T) {
	r := newRig(t, options{Faults: []string{"source-slow-lock:instrument=MW,amount=20"}})
	h := parked(t, r, "")
	bad := 0
	h.Live = func(l runner.Live) {
		if l.Bench != "" {
			bad++
			require.False(t, l.Good)
		}
	}
	held, err := runner.Park(t.Context(), r.Setup, h)
	require.NoError(t, err)
	require.Positive(t, bad)
	require.Greater(t, held.Readings, 50)
	rfOff(t, r)
}

// A level that comes too near to what destroys the input is not to be had.
func TestHoldLevelGoesThroughTheInterlock(t *testing.T) {
	r := newRig(t, options{})
	level := quantity.DBmLevel(19, 1)
	_, err := r.Setup.Plan.Park(r.Setup.Procedure, r.Setup.Bench, procedures.Options{}, "B", procedures.Want{Frequency: quantity.MustParse[quantity.Hertz]("1 GHz"), Gate: quantity.MustParse[quantity.Second]("1 s"), Level: &level}, false)
	require.ErrorContains(t, err, "level too near to the damage level")
	h := parked(t, r, "5 dBm")
	h.Point.Levels.Source = quantity.DBmLevel(20, 1) // as a slip in the program would
	_, err = runner.Park(t.Context(), r.Setup, h)
	require.Error(t, err)
	rfOff(t, r)
}

// While a trimmer is turned each try has the values before and after.
func TestTriesOfAnAdjustment(t *testing.T) {
	r := newRig(t, options{})
	h := parked(t, r, "")
	n := 0
	var tries []runner.Try
	expected := h.Point.Frequency.Exact()
	turned := []string{"0.3 ppm", "-0.05 ppm", "0.001 ppm"}
	h.Live = func(runner.Live) {
		if n++; n%10 == 4 && n/10 < len(turned) {
			r.Bench.Repair(quantity.MustParse[quantity.One](turned[n/10]))
		}
	}
	h.Heard = func() (runner.Note, bool) {
		if n%10 != 0 || len(tries) == n/10 {
			return runner.Note{}, false
		}
		return runner.Note{At: r.Clock.Now(), Last: len(tries) == 3}, true
	}
	h.Noted = func(note runner.Note, read []runner.HeldReading) error {
		x := runner.Try{Ended: note.At, Before: runner.FirstSettled(read, expected)}
		if k := len(tries); k > 0 {
			x.Began, x.Before = tries[k-1].Ended, tries[k-1].After
		}
		x.After = runner.SettledAt(read, expected, x.Began, x.Ended)
		tries = append(tries, x)
		return nil
	}
	_, err := runner.Park(t.Context(), r.Setup, h)
	require.NoError(t, err)
	require.Len(t, tries, 4)
	for k, want := range []float64{-0.135, -0.3, 0.05, -0.001} {
		require.InDelta(t, want, tries[k].Before.PPM, 0.004)
		require.Equal(t, 3, tries[k].After.Readings)
	}
	require.InDelta(t, -0.001, tries[3].After.PPM, 0.004)
	rfOff(t, r)
}

// A fault of the program while RF is on unwinds through the switching off.
func TestRFIsOffAfterAFaultOfTheProgram(t *testing.T) {
	r := newRig(t, options{})
	h := parked(t, r, "")
	h.Live = func(runner.Live) {
		require.Equal(t, "1", runnertest.Ask(t, r.Bench, "MW", "OUTP?"))
		panic("fault")
	}
	require.PanicsWithValue(t, "fault", func() { _, _ = runner.Park(t.Context(), r.Setup, h) })
	rfOff(t, r)

	r = newRig(t, options{})
	r.Setup.Watcher = faulty{}
	require.PanicsWithValue(t, "fault", func() { _, _ = runner.Run(t.Context(), r.Setup) })
	rfOff(t, r)
}

// faulty is a watcher that panics at the first point.
type faulty struct{}

func (faulty) Progress(int, int, time.Duration, runner.PointResult) { panic("fault") }
func (faulty) Measured(runner.Outcome)                              {}
func (faulty) Says(string)                                          {}

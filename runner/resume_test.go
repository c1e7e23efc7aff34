package runner_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// errPower is a power cut as the journal sees it: nothing is written any more.
var errPower = errors.New("power cut")

// cut is a journal that writes no more after so many points.
type cut struct {
	runner.Journal
	left int
	dead bool
}

func (c *cut) Point(ctx context.Context, p runner.PointResult) error {
	if c.left--; c.left < 0 {
		c.dead = true
		return errPower
	}
	return c.Journal.Point(ctx, p)
}

func (c *cut) PutOff(ctx context.Context, p runner.PutOff) error {
	if c.left <= 0 {
		c.dead = true
		return errPower
	}
	return c.Journal.PutOff(ctx, p)
}

func (c *cut) Session(ctx context.Context, s runner.Session) error {
	if c.dead {
		return errPower // how it ended is not said either
	}
	return c.Journal.Session(ctx, s)
}

func (c *cut) Event(ctx context.Context, e runner.Event) error {
	if c.dead {
		return errPower
	}
	return c.Journal.Event(ctx, e)
}

// interrupted is a rig whose run lost its power after n points, with what its
// journal holds, a while later.
func interrupted(t *testing.T, o options, n int, later time.Duration) *rig {
	t.Helper()
	r := newRig(t, o)
	journal := r.Setup.Journal
	r.Setup.Journal = &cut{Journal: journal, left: n}
	_, err := runner.Run(t.Context(), r.Setup)
	require.ErrorIs(t, err, runner.ErrJournal)
	e, err := r.Journal.Earlier(r.Clock.Now())
	require.NoError(t, err)
	require.NoError(t, r.Clock.Sleep(t.Context(), later))
	r.Setup.Journal, r.Setup.Earlier = journal, e
	r.Operator.Asked = nil
	return r
}

// identified is a unit that says something else of itself.
type identified struct {
	drivers.Counter
	change func(*drivers.Identity)
}

func (c identified) Identify(ctx context.Context) (drivers.Identity, error) {
	id, err := c.Counter.Identify(ctx)
	c.change(&id)
	return id, err
}

// A run that lost its power after any number of points ends with the verdicts of
// one that did not, each point once; sources that do not lock at once included,
// so that points are put off when it happens.
func TestResumedAfterAnyPoint(t *testing.T) {
	o := options{Faults: []string{"source-slow-lock:instrument=MW,amount=5", "dead-above:input=B,from=850 MHz"}}
	want := newRig(t, o).Run()
	for n := 1; n < len(want.Points); n++ {
		r := interrupted(t, o, n, 10*time.Second)
		got := r.Run()
		require.True(t, got.Complete, "after %d: %s", n, got.Ended)
		require.Equal(t, want.Statement, got.Statement, "after %d", n)
		for _, input := range []string{"A", "B"} {
			require.ElementsMatch(t, verdicts(want, input), verdicts(got, input), "after %d", n)
		}
		ids := map[string]bool{}
		for _, p := range got.Points {
			require.False(t, ids[p.Point.ID], "after %d: %s twice", n, p.Point.ID)
			ids[p.Point.ID] = true
		}
		for k := range want.Inputs {
			require.Equal(t, want.Inputs[k].ReferenceCheck, got.Inputs[k].ReferenceCheck, "after %d", n)
			require.Equal(t, want.Inputs[k].HeldCheck, got.Inputs[k].HeldCheck, "after %d", n)
			require.Equal(t, want.Inputs[k].Coverage, got.Inputs[k].Coverage, "after %d", n)
		}
		require.Len(t, got.Sessions, 2)
		require.Equal(t, "cut off", got.Sessions[0].How)
		require.Equal(t, "finished", got.Sessions[1].How)
	}
}

// Another unit or another source can't go on with the record; another firmware is for a
// person to decide.
func TestWorldHasChanged(t *testing.T) {
	t.Run("another unit", func(t *testing.T) {
		r := interrupted(t, options{}, 3, 10*time.Second)
		r.Setup.Counter = identified{r.Setup.Counter, func(id *drivers.Identity) { id.Serial = "other" }}
		_, err := runner.Run(t.Context(), r.Setup)
		require.ErrorIs(t, err, runner.ErrBench)
		require.ErrorContains(t, err, "the unit says it is")
		require.Empty(t, r.Operator.Asked, "nobody may allow that")
	})
	for _, row := range []struct {
		name    string
		answers []bool
		goes    bool
		says    string
	}{{"allowed", []bool{true}, true, ""}, {"refused", []bool{false}, false, "put it back as it was"}, {"nobody there", nil, false, "nobody has said that the run may go on"}} {
		t.Run("another firmware, "+row.name, func(t *testing.T) {
			r := interrupted(t, options{}, 3, 10*time.Second)
			r.Setup.Counter = identified{r.Setup.Counter, func(id *drivers.Identity) { id.Firmware = "9.9" }}
			r.Operator.Answers = row.answers
			got, err := runner.Run(t.Context(), r.Setup)
			require.Contains(t, r.Operator.Asked[0], `the unit says firmware "9.9"`)
			require.Equal(t, row.goes, got.Complete)
			if !row.goes {
				require.ErrorIs(t, err, runner.ErrBench)
				require.ErrorContains(t, err, row.says)
				require.Len(t, got.Points, 3)
				return
			}
			require.NoError(t, err)
			require.Contains(t, got.Warnings[len(got.Warnings)-1], "firmware", "the record says so")
		})
	}
	t.Run("a file", func(t *testing.T) {
		r := interrupted(t, options{}, 3, 10*time.Second)
		r.Setup.Changed = []string{"procedure file p.toml is no longer the one that the run began with"}
		_, err := runner.Run(t.Context(), r.Setup)
		require.ErrorContains(t, err, "p.toml")
	})
}

// A unit that may have gone cold is warmed up anew, unless somebody knows that it
// was on, or the time it has been on is stated.
func TestGoneCold(t *testing.T) {
	warm := options{Procedure: []string{"revision =", "warm_up = \"30 min\"\nrevision ="}}
	on := quantity.MustParse[quantity.Second]("2 h")
	for _, row := range []struct {
		name    string
		gap     time.Duration
		answers []bool
		onNow   *quantity.Duration
		waits   bool
		asked   int
	}{
		{"at once", 30 * time.Second, nil, nil, false, 0},
		{"hours later, it was on", 3 * time.Hour, []bool{true}, nil, false, 1},
		{"hours later, it was off", 3 * time.Hour, []bool{false}, nil, true, 1},
		{"hours later, nobody knows", 3 * time.Hour, nil, nil, true, 1},
		{"hours later, stated", 3 * time.Hour, nil, &on, false, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := interrupted(t, warm, 3, row.gap)
			r.Operator.Answers, r.Setup.OnNow = row.answers, row.onNow
			began := r.Clock.Now()
			got := r.Run()
			require.True(t, got.Complete)
			require.Equal(t, row.waits, r.Clock.Now().Sub(began) > 30*time.Minute)
			require.Len(t, r.Operator.Asked, row.asked)
			require.Equal(t, "30 min", got.OnFor.String(), "at the first point")
		})
	}
}

// Points that a dead link was booked at are taken once the run goes on, and what
// was read of them before stays.
func TestLinkFailedPointsAreTakenAgain(t *testing.T) {
	r := newRig(t, options{BenchFile: append([]string{"move_time", "link_patience = \"0 s\"\nmove_time"}, quickLinks...)})
	r.Setup.Watcher = watcher(func(p runner.PointResult) {
		if p.Point.ID == "B-002" {
			r.Pull("counter", true)
		}
	})
	got, err := runner.Run(t.Context(), r.Setup)
	require.ErrorIs(t, err, runner.ErrBench)
	require.Equal(t, []string{"pass", "pass", "not judged: link"}, verdicts(got, "B"))
	r.PutBack("counter")
	e, err := r.Journal.Earlier(r.Clock.Now())
	require.NoError(t, err)
	r.Setup.Earlier = e
	got = r.Run()
	require.True(t, got.Complete)
	require.ElementsMatch(t, all("pass", 6), verdicts(got, "B"))
	require.Contains(t, got.Sessions[0].How, "link")
}

// A run that was cut off between the head of its journal and its first entry.
func TestResumedBeforeItBegan(t *testing.T) {
	r := newRig(t, options{})
	r.Setup.Earlier = &runner.Earlier{}
	got := r.Run()
	require.True(t, got.Complete)
	require.Len(t, got.Sessions, 2)
	require.Equal(t, "cut off", got.Sessions[0].How)
}

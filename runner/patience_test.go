package runner_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/virtual"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// hooked is a model clock that tells after each sleep what time it is.
type hooked struct {
	*virtual.InstantClock
	slept func(now time.Time)
}

func (c hooked) Sleep(ctx context.Context, d time.Duration) error {
	err := c.InstantClock.Sleep(ctx, d)
	c.slept(c.Now())
	return err
}

// pulled pulls the link of an instrument after three points, and puts it back after
// a while; zero: never.
func (r *pulledRig) pulled(t *testing.T, instrument string, back time.Duration) {
	var since time.Time
	n := 0
	r.Setup.Watcher = watcher(func(runner.PointResult) {
		if n++; n == 3 {
			since = r.Clock.Now()
			r.Pull(instrument, true)
		}
	})
	r.Setup.Clock = hooked{r.Clock, func(now time.Time) {
		if back > 0 && !since.IsZero() && now.Sub(since) >= back {
			r.PutBack(instrument)
		}
	}}
}

type pulledRig struct{ *rig }

// A cable that is pulled and put back after some minutes does not end the night:
// the point under way is taken anew, RF is off meanwhile wherever it can be
// reached, and the verdicts are those of an undisturbed run.
func TestCablePutBack(t *testing.T) {
	undisturbed := newRig(t, options{}).Run()
	for _, instrument := range []string{"counter", "LF"} {
		t.Run(instrument, func(t *testing.T) {
			r := &pulledRig{newRig(t, options{BenchFile: quickLinks, Procedure: []string{"revision =", "warm_up = \"30 min\"\nrevision ="}})}
			r.pulled(t, instrument, 3*time.Minute)
			got := r.Run()
			require.True(t, got.Complete, got.Ended)
			require.Len(t, got.Points, len(undisturbed.Points))
			for k, p := range got.Points {
				require.Equal(t, undisturbed.Points[k].Point.ID, p.Point.ID)
				require.Equal(t, undisturbed.Points[k].Verdict, p.Verdict, p.Point.ID)
			}
			require.True(t, r.Journal.Said("the link to "+instrument+" is dead"))
			require.True(t, r.Journal.Said(instrument+" answers again after 3m"))
			require.Equal(t, instrument == "LF", r.Journal.Said("RF of source LF may be on meanwhile"))
			cold := false
			for _, w := range got.Warnings {
				cold = cold || strings.HasPrefix(w, "the unit did not answer for 3m") && strings.HasSuffix(w, "whether it was switched off, and has gone cold, it can't tell")
			}
			require.Equal(t, instrument == "counter", cold, "%q", got.Warnings)
		})
	}
}

// Nobody puts it back: the run ends when the patience of the bench is over.
func TestPatienceEnds(t *testing.T) {
	for _, x := range []struct {
		key   string
		least time.Duration
	}{{"", 5 * time.Minute}, {"link_patience = \"8 min\"\n", 8 * time.Minute}, {"link_patience = \"0 s\"\n", 0}} {
		r := &pulledRig{newRig(t, options{BenchFile: append([]string{"move_time", x.key + "move_time"}, quickLinks...)})}
		r.pulled(t, "counter", 0)
		began := r.Clock.Now()
		got, err := runner.Run(t.Context(), r.Setup)
		require.ErrorIs(t, err, runner.ErrBench)
		require.False(t, got.Complete)
		took := r.Clock.Now().Sub(began)
		require.Greater(t, took, x.least, x.key)
		require.Less(t, took, x.least+4*time.Minute, x.key)
	}
}

// quickLinks are dead sooner, so that nobody waits long for a test.
var quickLinks = []string{`profile = "scpi-counter"`, "profile = \"scpi-counter\"\ntimeout = \"50 ms\"", `profile = "scpi-source"`, "profile = \"scpi-source\"\ntimeout = \"50 ms\""}

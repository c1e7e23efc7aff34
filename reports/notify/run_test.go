package notify_test

import (
	"path/filepath"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/reports/notify"
	"bandproof/runner"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// watcher hands notices of a run on, and nothing else.
type watcher struct{ *notify.Notifier }

func (watcher) Progress(int, int, time.Duration, runner.PointResult) {}
func (watcher) Measured(runner.Outcome)                              {}
func (watcher) Says(string)                                          {}

// A run takes the same time, and gives the same, whether its receiver hangs or
// there is none; what it told waits.
func TestARunDoesNotWaitForItsReceiver(t *testing.T) {
	run := func(receivers ...procedures.Notify) (runner.Result, []notify.Waiting) {
		r := runnertest.New(t, runnertest.Options{Faults: []string{"dead-above:input=B,from=850 MHz"}})
		s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
		o := options(s.Outbox(), receivers...)
		o.Timeout = time.Hour
		n := start(t, o)
		r.Setup.Watcher = watcher{n}
		got := r.Run()
		_, err := n.Close(10 * time.Millisecond)
		require.NoError(t, err)
		list, err := s.Outbox().List(t.Context(), true)
		require.NoError(t, err)
		return got, list
	}
	alone, none := run()
	hanging := newReceiver(t, hangs)
	told, list := run(hook(hanging.at))
	require.Equal(t, alone, told)
	require.Empty(t, none)
	require.Positive(t, alone.Tally().Failed)
	require.Len(t, list, alone.Tally().Failed+1)
}

// What a run tells, as a receiver gets it.
func TestARunTells(t *testing.T) {
	for _, c := range []struct {
		name   string
		faults []string
		away   bool
		pull   bool
		want   map[string]int
	}{
		{"all well", nil, false, false, map[string]int{"finished": 1}},
		{"points fail", []string{"dead-above:input=B,from=850 MHz"}, false, false, map[string]int{"point failed": 3, "finished": 1}},
		{"nobody there", nil, true, false, map[string]int{"input given up": 2, "finished": 1}},
		{"a link is dead", nil, false, true, map[string]int{"bench error": 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := newReceiver(t, taken)
			s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
			n := start(t, options(s.Outbox(), hook(x.at)))
			r := runnertest.New(t, runnertest.Options{Faults: c.faults, BenchFile: []string{"[laboratory]", "link_patience = \"0 s\"\n\n[laboratory]", "profile = \"scpi-", "timeout = \"100 ms\"\nprofile = \"scpi-"}})
			r.Setup.Watcher, r.Operator.Away = watcher{n}, c.away
			if c.pull {
				r.Operator.Then = func(runner.Move) { r.Pull("counter", true) }
			}
			_, err := runner.Run(t.Context(), r.Setup)
			require.Equal(t, c.pull, err != nil)
			require.Equal(t, notify.Left{}, finish(t, n))
			got := map[string]int{}
			for _, e := range x.events() {
				got[e.Event]++
			}
			require.Equal(t, c.want, got)
		})
	}
}

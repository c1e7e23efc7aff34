package runner_test

import (
	"strings"
	"testing"

	"bandproof/procedures/decision"
	"bandproof/runner"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// changesAfter breaks something once a point has been taken.
func changesAfter(t *testing.T, r *rig, point string, list ...string) {
	t.Helper()
	r.Setup.Watcher = listener{point: func(p runner.PointResult) {
		if p.Point.ID == point {
			faults(t, r.Bench, list...)
		}
	}}
}

// The unit loses an input half-way: reported as changed within the run. What
// passed before stays, but the run does not end as within tolerance.
func TestUnitLosesAnInputHalfWay(t *testing.T) {
	t.Run("nobody can tell whether it was the unit or the cable", func(t *testing.T) {
		r := newRig(t, options{})
		changesAfter(t, r, "B-003", "dead-input:input=B")
		got := r.Run()
		require.Equal(t, append(all("pass", 3), all("not judged: path not proven", 3)...), verdicts(got, "B"))
		require.Equal(t, runner.Incomplete, got.Statement)
		require.Len(t, got.Changes, 2, "the last point that passed, and the first one")
		c := got.Changes[0]
		require.Equal(t, "B-003", c.Point)
		require.Equal(t, "pass", c.Earlier.String())
		require.Equal(t, "not judged: path not proven", c.Later.String())
		require.Equal(t, "to prove the path at point B-004", c.Why)
		require.Equal(t, "B-003", c.Before)
		require.True(t, c.EarlierAt.Before(c.LaterAt))
		require.Equal(t, "B-001", got.Changes[1].Point)
		text := strings.Join(got.Warnings, "\n")
		require.Contains(t, text, "input B changed within the run: point B-003, pass at ")
		require.Contains(t, text, "whether the unit or its signal was lost is not proven")
		for _, id := range []string{"B-001", "B-002", "B-003"} {
			require.Contains(t, notes(find(got, id)), "passed before the unit changed within the run: point B-003 is not judged: path not proven", id)
			require.Equal(t, notes(find(got, id)), notes(*r.Journal.Last(id)))
		}
		require.Contains(t, notes(find(got, "B-004")), "taken after point B-003 had changed within the run")
		require.NotContains(t, notes(find(got, "A-001")), "changed")
		failed, _, open := got.Worst()
		require.False(t, failed)
		require.True(t, open)
	})
	t.Run("the operator sees the signal arrive", func(t *testing.T) {
		r := newRig(t, options{})
		r.Operator.Answers = []bool{true, true, true}
		changesAfter(t, r, "B-003", "dead-input:input=B")
		got := r.Run()
		require.Equal(t, append(all("pass", 3), all("fail: no count", 3)...), verdicts(got, "B"))
		require.Equal(t, "fail: no count", got.Changes[0].Later.String())
		require.Equal(t, runner.Outside, got.Statement)
	})
	t.Run("only the upper half of it", func(t *testing.T) {
		r := newRig(t, options{})
		changesAfter(t, r, "B-004", "dead-above:input=B,from=300 MHz")
		got := r.Run()
		require.Equal(t, []string{"pass", "pass", "pass", "pass", "fail: no count", "fail: no count"}, verdicts(got, "B"))
		require.Empty(t, r.Operator.Asked, "the first point still reads right, which proves the path")
		require.Len(t, got.Changes, 1)
		require.Equal(t, "B-004", got.Changes[0].Point)
		require.Equal(t, "fail: no count", got.Changes[0].Later.String())
	})
}

// The closing check notices what changed after the last point, or where no later
// point showed it.
func TestClosingCheck(t *testing.T) {
	t.Run("a unit that is as it was", func(t *testing.T) {
		r := newRig(t, options{})
		got := r.Run()
		require.Empty(t, got.Changes)
		for _, p := range got.Points {
			want := 0
			if p.Point.ID == "A-001" || p.Point.ID == "B-001" {
				want = 1
			}
			require.Equal(t, want, uses(p)[runner.ClosingCheck], p.Point.ID)
			require.NotContains(t, notes(p), "closing")
			require.Equal(t, p.Point.Readings, p.Counted, "it enters neither mean nor verdict")
		}
	})
	t.Run("off where the procedure says so", func(t *testing.T) {
		on := newRig(t, options{})
		r := newRig(t, options{Procedure: []string{"[decision]", "closing_check = false\n\n[decision]"}})
		require.InDelta(t, (10+1)/60.0, on.Setup.Plan.Minutes-r.Setup.Plan.Minutes, 1e-9, "one gate more on each path")
		for _, p := range r.Run().Points {
			require.Zero(t, uses(p)[runner.ClosingCheck], p.Point.ID)
		}
	})
	for _, row := range []struct {
		name, fault, later string
		answers            []bool
		statement          runner.Statement
	}{
		{"the timebase jumps", "timebase-offset:amount=50 ppm", "fail: error outside the limit", nil, runner.Outside},
		{"dead below the last point", "dead-below:input=B,to=150 MHz", "fail: no count", nil, runner.Outside},
		{"dead, and nobody looks", "dead-input:input=B", "not judged: path not proven", nil, runner.Incomplete},
		{"dead, and the signal arrives", "dead-input:input=B", "fail: no count", []bool{true, true, true}, runner.Outside},
		{"dead, and no signal arrives", "dead-input:input=B", "not judged: path not proven", []bool{true, false, true}, runner.Incomplete},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := newRig(t, options{})
			r.Operator.Answers = row.answers
			changesAfter(t, r, "B-006", row.fault)
			got := r.Run()
			require.Equal(t, all("pass", 6), verdicts(got, "B"), "they were true when they were taken")
			var c *runner.Change
			for k := range got.Changes {
				if got.Changes[k].Point == "B-001" {
					c = &got.Changes[k]
				}
			}
			require.NotNil(t, c)
			require.Equal(t, "as closing check", c.Why)
			require.Equal(t, row.later, c.Later.String())
			require.Equal(t, "B-006", c.Before)
			require.Equal(t, row.statement, got.Statement)
			require.True(t, got.Complete)
			p := find(got, "B-001")
			require.Equal(t, 6, uses(p)[runner.ClosingCheck], "one, and then as many as the point has")
			require.Contains(t, notes(p), "passed before the unit changed within the run")
			failed, _, open := got.Worst()
			require.Equal(t, row.statement == runner.Outside, failed)
			require.Equal(t, row.statement == runner.Incomplete, open)
		})
	}
	t.Run("a fault that comes and goes", func(t *testing.T) {
		seen := 0
		for seed := 1; seed <= 8; seed++ {
			r := newRig(t, options{Seed: seed})
			changesAfter(t, r, "B-006", "double-counting:input=B,to=50 MHz,probability=60 %")
			for _, c := range r.Run().Changes {
				seen++
				require.Equal(t, decision.Fail, c.Later.Word)
				require.Contains(t, c.Symptom, "intermittent: ")
			}
		}
		require.Positive(t, seen)
	})
	t.Run("the source is not good for it", func(t *testing.T) {
		r := newRig(t, options{})
		changesAfter(t, r, "B-006", "source-unlock:instrument=MW")
		got := r.Run()
		require.Empty(t, got.Changes)
		require.Contains(t, notes(find(got, "B-001")), "the closing check could not be made: source not locked")
		require.Equal(t, runner.WithinAll, got.Statement)
	})
	t.Run("a reference that changed is no change of the unit", func(t *testing.T) {
		r := newRig(t, options{})
		r.Setup.Watcher = listener{point: func(p runner.PointResult) {
			if p.Point.ID == "B-006" {
				faults(t, r.Bench, "double-counting:input=B")
				runnertest.Ask(t, r.Bench, "counter", "SENS:ROSC:SOUR EXT;SOUR?")
			}
		}}
		got := r.Run()
		require.Equal(t, all("not judged: reference changed", 6), verdicts(got, "B"))
		require.Len(t, got.Changes, 1)
		require.Equal(t, "not judged: reference changed", got.Changes[0].Later.String())
		require.Equal(t, runner.Incomplete, got.Statement)
	})
}

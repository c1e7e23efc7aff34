package runner_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// listener hears what the run says, and is told of each point.
type listener struct {
	says  func(string)
	point func(runner.PointResult)
}

func (l listener) Progress(_, _ int, _ time.Duration, p runner.PointResult) {
	if l.point != nil {
		l.point(p)
	}
}

func (l listener) Says(text string) {
	if l.says != nil {
		l.says(text)
	}
}
func (listener) Measured(runner.Outcome) {}

// breaks sets faults at one reading of the point after another; readings are
// counted from the end of that, discarded ones too. says hears what the run says.
func breaks(t *testing.T, r *rig, after string, at int, says func(string), list ...string) {
	t.Helper()
	n, on := 0, false
	r.Setup.Watcher = listener{says: says, point: func(p runner.PointResult) { on = on || p.Point.ID == after }}
	r.Setup.Counter = watchful(r.Setup.Counter, func() {
		if on {
			if n++; n == at {
				faults(t, r.Bench, list...)
			}
		}
	})
}

func uses(p runner.PointResult) map[runner.Use]int {
	n := map[runner.Use]int{}
	for _, x := range p.Readings {
		n[x.Use]++
	}
	return n
}

// The source loses its lock in the middle of a set: what was read is discarded,
// the point is taken anew once it locks.
func TestLockLostBetweenReadings(t *testing.T) {
	r := newRig(t, options{})
	breaks(t, r, "B-002", 3, func(text string) {
		if strings.Contains(text, "point B-003 at 400 MHz put off") {
			faults(t, r.Bench)
		}
	}, "source-unlock:instrument=MW")
	unlocked := 0 // if the set went on, the lock would be back before it ends
	r.Setup.Counter = watchful(r.Setup.Counter, func() {
		if len(r.Bench.Faults()) > 0 {
			if unlocked++; unlocked == 2 {
				faults(t, r.Bench)
			}
		}
	})
	got := r.Run()
	require.Equal(t, all("pass", 6), verdicts(got, "B"))
	p := find(got, "B-003")
	require.Contains(t, strings.Join(p.Notes, "\n"), "the source lost its lock between readings")
	require.Equal(t, 1, p.Setting.Refused)
	require.Equal(t, map[runner.Use]int{runner.Counted: 5, runner.Discarded: 1 + 2 + 1}, uses(p), "all are kept")
}

// Points put off are tried again with growing pauses, until the source locks.
func TestSourceThatLocksOnlyMuchLater(t *testing.T) {
	r := newRig(t, options{Faults: []string{"source-unlock:instrument=MW,from=300 MHz,to=500 MHz"}})
	var waits []string
	r.Setup.Watcher = listener{says: func(text string) {
		if strings.Contains(text, "is still not good") {
			if waits = append(waits, text[strings.LastIndex(text, " ")+1:]); len(waits) == 2 {
				faults(t, r.Bench)
			}
		}
	}}
	got := r.Run()
	require.Equal(t, all("pass", 6), verdicts(got, "B"))
	require.Equal(t, []string{"5s", "20s"}, waits)
	require.Equal(t, 13, find(got, "B-003").Setting.Tries)
	require.Equal(t, "B-003", got.Points[len(got.Points)-1].Point.ID)
}

// A source that never locks at one frequency does not hold up what waits for a
// point that passes.
func TestLaterRoundsProveThePathFirst(t *testing.T) {
	r := newRig(t, options{Faults: []string{"dead-above:input=B,from=300 MHz", "source-unlock:instrument=MW,to=200 MHz"}})
	r.Setup.Watcher = listener{says: func(text string) {
		if strings.Contains(text, "is still not good") {
			faults(t, r.Bench, "dead-above:input=B,from=300 MHz")
		}
	}}
	got := r.Run()
	require.Equal(t, []string{"pass", "pass", "fail: no count", "fail: no count", "fail: no count", "fail: no count"}, verdicts(got, "B"))
	require.Empty(t, r.Operator.Asked)
}

func TestIntermittentIsNamed(t *testing.T) {
	for _, row := range []struct{ fault, words string }{
		{"dead-input:input=B,probability=30 %", "gave no count"},
		{"double-counting:input=B,probability=20 %", "showed twice the frequency"},
		{"timebase-offset:input=B,amount=50 ppm,probability=20 %", "lay far off"},
	} {
		t.Run(row.fault, func(t *testing.T) {
			named := 0
			for seed := 1; seed <= 6; seed++ {
				r := newRig(t, options{Faults: []string{row.fault}, Seed: seed, Procedure: []string{"readings = 5", "readings = 10"}})
				r.Operator.Answers = []bool{true, true, true}
				for _, p := range r.Run().Points {
					good, bad, n := 0, 0, 0
					for _, x := range p.Readings {
						if x.Use != runner.Counted && x.Use != runner.FirstLook {
							continue
						}
						if n++; x.Mark == drivers.None && x.Frequency.Exact().Sub(p.Reference).Abs().Cmp(p.Limit.Total) <= 0 {
							good++
						} else {
							bad++
						}
					}
					if good == 0 || bad == 0 || !p.Judged() {
						require.NotContains(t, p.Symptom, "intermittent", p.Point.ID)
						continue
					}
					named++
					require.True(t, p.Verdict.Bad(), "%s: a reading that was wrong is not forgiven", p.Point.ID)
					require.Equal(t, fmt.Sprintf("intermittent: %d of %d readings %s", bad, n, row.words), p.Symptom, p.Point.ID)
				}
			}
			require.Greater(t, named, 5)
		})
	}
	t.Run("scatter is no intermittent fault", func(t *testing.T) {
		for seed := 1; seed <= 6; seed++ {
			r := newRig(t, options{Faults: []string{"noisy:input=B,amount=60"}, Seed: seed})
			for _, p := range r.Run().Points {
				require.NotContains(t, p.Symptom, "intermittent", p.Point.ID)
			}
		}
	})
}

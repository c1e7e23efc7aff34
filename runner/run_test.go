package runner_test

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/decision"
	"bandproof/runner"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// verdicts writes the verdict of each point of an input in order of frequency.
func verdicts(r runner.Result, input string) []string {
	list := map[string]string{}
	for _, p := range r.Points {
		list[p.Point.ID] = p.Verdict.String()
	}
	var out []string
	for k := 1; k <= len(list); k++ {
		if v, ok := list[fmt.Sprintf("%s-%03d", input, k)]; ok {
			out = append(out, v)
		}
	}
	return out
}

func all(text string, n int) []string {
	list := make([]string, n)
	for k := range list {
		list[k] = text
	}
	return list
}

func find(r runner.Result, id string) runner.PointResult {
	for _, p := range r.Points {
		if p.Point.ID == id {
			return p
		}
	}
	return runner.PointResult{}
}

func TestHealthyUnitPasses(t *testing.T) {
	r := newRig(t, options{})
	got := r.Run()
	require.True(t, got.Complete)
	require.Equal(t, all("pass", 4), verdicts(got, "A"))
	require.Equal(t, all("pass", 6), verdicts(got, "B"))
	require.Equal(t, runner.WithinAll, got.Statement)
	require.Equal(t, []string{"LF to A", "MW to B"}, r.Operator.Moves)
	for _, i := range got.Inputs {
		require.True(t, i.Coverage.Complete, i.Input.Name)
		require.Contains(t, i.HeldCheck, "no frequency with RF off")
		require.Equal(t, "unit reports own before and after", i.ReferenceCheck)
	}
	b := find(got, "B-006")
	require.Equal(t, "32", b.Limit.Resolution.String())
	require.Equal(t, 5, b.Counted)
	require.Equal(t, []string{"MW", "house standard"}, b.Standards)
	require.Equal(t, "yes", b.Setting.Locked)
	// 0.12 ppm fast timebase: the reading is low by that, to a count.
	require.InDelta(t, -0.12e-6*1.6e9, b.Error.Float(), 40)
	discarded := 0
	for _, x := range b.Readings {
		if x.Use == runner.Discarded {
			discarded++
		}
	}
	require.Equal(t, 1, discarded, "a reading whose gate may have begun before settling is kept as discarded")
}

func TestDeadBandIsNoCountOnceThePathIsProven(t *testing.T) {
	r := newRig(t, options{Faults: []string{"dead-above:input=B,from=850 MHz"}})
	got := r.Run()
	require.Equal(t, append(all("pass", 3), all("fail: no count", 3)...), verdicts(got, "B"))
	require.Equal(t, runner.Outside, got.Statement)
	p := find(got, "B-005")
	require.Contains(t, strings.Join(p.Notes, "\n"), "path proven: point B-003, repeated")
	require.Equal(t, runner.Proof, p.Readings[len(p.Readings)-1].Use)
}

// The lowest points read nothing: they are put off until others have passed.
func TestNoCountWaitsForAPointThatPasses(t *testing.T) {
	r := newRig(t, options{Faults: []string{"dead-below:input=B,to=150 MHz"}})
	got := r.Run()
	require.Equal(t, []string{"fail: no count", "fail: no count", "pass", "pass", "pass", "pass"}, verdicts(got, "B"))
	require.True(t, r.Journal.Said("2 points put off"))
}

func TestDeadInput(t *testing.T) {
	t.Run("nobody proves the path", func(t *testing.T) {
		r := newRig(t, options{Faults: []string{"dead-input:input=B"}})
		got := r.Run()
		require.Equal(t, all("not judged: path not proven", 6), verdicts(got, "B"))
		require.Equal(t, runner.Incomplete, got.Statement)
		require.Len(t, r.Operator.Asked, 1, "a person is asked once for the path, not at each point")
	})
	t.Run("the operator sees the signal arrive", func(t *testing.T) {
		r := newRig(t, options{Faults: []string{"dead-input:input=B"}})
		r.Operator.Answers = []bool{true, true, true}
		got := r.Run()
		require.Equal(t, all("fail: no count", 6), verdicts(got, "B"))
		require.Equal(t, runner.Outside, got.Statement)
	})
	t.Run("a source without output is not the unit's fault", func(t *testing.T) {
		r := newRig(t, options{Faults: []string{"source-no-output:instrument=MW"}})
		r.Operator.Answers = []bool{true, false, true}
		got := r.Run()
		require.Equal(t, all("not judged: path not proven", 6), verdicts(got, "B"))
	})
	t.Run("a unit that reads nothing anywhere is not obtainable", func(t *testing.T) {
		r := newRig(t, options{Faults: []string{"dead-input"}})
		r.Operator.Answers = []bool{true, true, true, true, true, true}
		got := r.Run()
		require.Equal(t, runner.NotObtainable, got.Statement)
		require.NotEmpty(t, got.Symptom)
		for _, p := range got.Points {
			require.Equal(t, "fail: not obtainable", p.Verdict.String(), p.Point.ID)
			require.NotEmpty(t, p.Symptom, p.Point.ID)
		}
		for _, i := range got.Inputs {
			require.Zero(t, i.Coverage.Share, i.Input.Name)
		}
		failed, _, _ := got.Worst()
		require.True(t, failed)
	})
}

func TestFaultOfTheSourceIsNeverBookedOnTheUnit(t *testing.T) {
	t.Run("does not lock", func(t *testing.T) {
		r := newRig(t, options{Faults: []string{"source-unlock:instrument=MW,from=300 MHz,to=500 MHz"}})
		got := r.Run()
		require.Equal(t, []string{"pass", "pass", "not judged: source not locked", "pass", "pass", "pass"}, verdicts(got, "B"))
		require.Equal(t, runner.Incomplete, got.Statement)
		require.Equal(t, 16, find(got, "B-003").Setting.Tries, "tried four times, put off, and four times again in each of three rounds")
	})
	t.Run("locks at the third try", func(t *testing.T) {
		r := newRig(t, options{Faults: []string{"source-slow-lock:instrument=MW,amount=2"}})
		got := r.Run()
		require.Equal(t, all("pass", 6), verdicts(got, "B"))
		require.Equal(t, 3, find(got, "B-002").Setting.Tries)
		require.Contains(t, strings.Join(find(got, "B-002").Notes, ""), "source was not good after 2 of 3 settings")
	})
	t.Run("reports another frequency", func(t *testing.T) {
		r := newRig(t, options{Faults: []string{"source-readback:instrument=MW"}})
		got := r.Run()
		require.Equal(t, all("not judged: source does not report what was set", 6), verdicts(got, "B"))
	})
}

func TestSymptoms(t *testing.T) {
	for _, c := range []struct{ name, fault, verdict, symptom string }{
		{"double counting", "double-counting:input=B", "fail: error outside the limit", "reads twice the frequency"},
		{"half", "wrong-prescale:input=B,amount=1/2", "fail: error outside the limit", "reads half the frequency"},
		{"scatter", "noisy:input=B", "fail: unstable", ""},
		{"over-range", "overload-at-low-level:input=B,amount=40 dB", "fail: no count", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, options{Faults: []string{c.fault}})
			r.Operator.Answers = []bool{true, true, true}
			got := r.Run()
			require.Equal(t, all(c.verdict, 6), verdicts(got, "B"))
			require.Equal(t, all("pass", 4), verdicts(got, "A"))
			require.Equal(t, c.symptom, find(got, "B-004").Symptom)
		})
	}
}

func TestScatterIsReadAnewOnceAndAllIsKept(t *testing.T) {
	r := newRig(t, options{Faults: []string{"noisy:input=B"}})
	p := find(r.Run(), "B-004")
	uses := map[runner.Use]int{}
	for _, x := range p.Readings {
		uses[x.Use]++
	}
	require.Equal(t, 5, uses[runner.Counted])
	require.Equal(t, 5, uses[runner.FirstLook])
}

func TestHeldReading(t *testing.T) {
	r := newRig(t, options{Faults: []string{"held-reading:input=B"}})
	got := r.Run()
	require.Equal(t, all("not judged: held reading", 6), verdicts(got, "B"))
	require.Contains(t, got.Inputs[1].HeldCheck, "still shows")
	require.Equal(t, runner.Incomplete, got.Statement)
}

func TestUnattendedLeavesOutWhatNeedsAHand(t *testing.T) {
	r := newRig(t, options{})
	r.Operator.Away = true
	got := r.Run()
	require.Equal(t, all("not judged: no operator", 4), verdicts(got, "A"))
	require.Equal(t, runner.Incomplete, got.Statement)
}

func TestUnitOnTheWrongReference(t *testing.T) {
	r := newRig(t, options{BenchFile: []string{"reference = \"own\"", "reference = \"house standard\""}})
	got, err := runner.Run(t.Context(), r.Setup)
	require.ErrorIs(t, err, runner.ErrBench)
	require.ErrorContains(t, err, "the unit reports that it runs from its own reference, the bench file says external")
	require.False(t, got.Complete)
	require.Equal(t, runner.Incomplete, got.Statement)
}

// mute hides what a counter could tell of its reference.
type mute struct{ drivers.Counter }

func TestUnitThatCannotTellItsReference(t *testing.T) {
	for _, c := range []struct {
		name    string
		answers []bool
		check   string
		err     bool
	}{
		{"a person looks", []bool{true, true}, "stated, not verified; connections and lamp confirmed by helper", false},
		{"nobody looks", nil, "stated, not verified; nobody looked", false},
		{"it does not", []bool{false}, "", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, options{})
			r.Setup.Counter = mute{r.Setup.Counter}
			r.Operator.Answers = c.answers
			got, err := runner.Run(t.Context(), r.Setup)
			r.Always(got)
			require.Equal(t, c.err, err != nil)
			require.Equal(t, c.check, got.Inputs[0].ReferenceCheck)
			if c.err {
				require.ErrorIs(t, err, runner.ErrBench)
			}
		})
	}
}

func TestReferenceThatChangesVoidsThePoints(t *testing.T) {
	r := newRig(t, options{})
	n := 0
	r.Setup.Watcher = watcher(func(p runner.PointResult) {
		if n++; p.Point.ID == "B-003" {
			runnertest.Ask(t, r.Bench, "counter", "SENS:ROSC:SOUR EXT;SOUR?")
		}
	})
	got := r.Run()
	require.Equal(t, all("pass", 4), verdicts(got, "A"))
	require.Equal(t, all("not judged: reference changed", 6), verdicts(got, "B"))
	require.Contains(t, strings.Join(find(got, "B-001").Notes, ""), "was pass before it was voided")
	require.Equal(t, decision.ReferenceChanged, r.Journal.Last("B-001").Verdict.Reason)
}

func TestInterruptedRunKeepsWhatThereIs(t *testing.T) {
	r := newRig(t, options{})
	ctx, stop := context.WithCancel(t.Context())
	r.Setup.Watcher = watcher(func(p runner.PointResult) {
		if p.Point.ID == "B-002" {
			stop()
		}
	})
	got, err := runner.Run(ctx, r.Setup)
	require.NoError(t, err)
	r.Always(got)
	require.False(t, got.Complete)
	require.Equal(t, "interrupted by the operator", got.Ended)
	require.Equal(t, runner.Incomplete, got.Statement)
	require.Equal(t, 6, len(got.Points))
}

func TestAJournalThatCannotBeWrittenEndsTheRun(t *testing.T) {
	r := newRig(t, options{})
	r.Journal.After = 3
	got, err := runner.Run(t.Context(), r.Setup)
	require.ErrorIs(t, err, runner.ErrJournal)
	require.ErrorIs(t, err, runnertest.ErrFull)
	r.Always(got)
	require.Len(t, got.Points, 3)
}

func TestSameSeedSameReadings(t *testing.T) {
	text := func(seed int) string {
		r := newRig(t, options{Seed: seed, Faults: []string{"noisy:input=A,amount=1,probability=30 %"}})
		data, err := json.Marshal(r.Run())
		require.NoError(t, err)
		return string(data)
	}
	one := text(7)
	require.Equal(t, one, text(7))
	require.NotEqual(t, one, text(8))
}

func TestWarmUpIsWaitedFor(t *testing.T) {
	r := newRig(t, options{Procedure: []string{"[decision]", "warm_up = \"30 min\"\n\n[decision]"}})
	r.Setup.OnFor = r.Setup.Procedure.WarmUp.Scale(1, 0).Sub(r.Setup.Procedure.WarmUp)
	start := r.Clock.Now()
	got := r.Run()
	require.GreaterOrEqual(t, got.Points[0].Started.Sub(start).Minutes(), 30.0)
	require.Equal(t, "30 min", got.OnFor.String())
}

func TestPulledLink(t *testing.T) {
	impatient := options{BenchFile: []string{"profile = \"scpi-", "timeout = \"100 ms\"\nprofile = \"scpi-"}}
	t.Run("plugged in again at once", func(t *testing.T) {
		r := newRig(t, options{})
		r.Setup.Watcher = watcher(func(p runner.PointResult) {
			if p.Point.ID == "B-002" {
				r.Pull("counter", false)
				r.Pull("MW", false)
			}
		})
		got := r.Run()
		require.Equal(t, all("pass", 6), verdicts(got, "B"))
		require.True(t, r.Journal.Said("clearing and trying again"))
	})
	t.Run("for good", func(t *testing.T) {
		r := newRig(t, impatient)
		r.Setup.Watcher = watcher(func(p runner.PointResult) {
			if p.Point.ID == "B-002" {
				r.Pull("counter", true)
			}
		})
		got, err := runner.Run(t.Context(), r.Setup)
		require.ErrorIs(t, err, runner.ErrBench)
		require.ErrorContains(t, err, "TCPIP0::127.0.0.1::5025::SOCKET")
		r.Always(got)
		require.Equal(t, []string{"pass", "pass", "not judged: link"}, verdicts(got, "B"))
		require.False(t, got.Complete)
	})
	t.Run("of the source", func(t *testing.T) {
		r := newRig(t, impatient)
		r.Setup.Watcher = watcher(func(p runner.PointResult) {
			if p.Point.ID == "B-002" {
				r.Pull("MW", true)
			}
		})
		got, err := runner.Run(t.Context(), r.Setup)
		require.ErrorIs(t, err, runner.ErrBench)
		require.True(t, r.Journal.Said("RF of source MW could not be switched off, do it by hand"))
		require.Contains(t, strings.Join(got.Warnings, ""), "do it by hand")
	})
}

// watcher calls back after each point.
type watcher func(runner.PointResult)

func (w watcher) Progress(_, _ int, _ time.Duration, last runner.PointResult) { w(last) }
func (w watcher) Says(string)                                                 {}
func (w watcher) Measured(runner.Outcome)                                     {}

package runner_test

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/manual"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/observation"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// sleeper is a person who is away for a while: a question that is put
// meanwhile is answered on return, if it still waits then.
type sleeper struct {
	runner.Operator
	clock     drivers.Clock
	gone, ret time.Time // zero: never away
	waits     bool      // notices, on return, that something was put off
	asked     []string
	lapses    []string // what was said of each question's end
}

// comes returns once the person is there.
func (s *sleeper) comes(ctx context.Context, what string) error {
	s.asked = append(s.asked, what)
	if l, ok := runner.LapseOf(ctx); ok {
		s.lapses = append(s.lapses, l.String())
	}
	now := s.clock.Now()
	if now.Before(s.gone) || !now.Before(s.ret) {
		return nil
	}
	return s.clock.Sleep(ctx, s.ret.Sub(now))
}

func (s *sleeper) Move(ctx context.Context, m runner.Move) error {
	if err := s.comes(ctx, m.Path); err != nil {
		return err
	}
	return s.Operator.Move(ctx, m)
}

func (s *sleeper) Confirm(ctx context.Context, q string) (bool, error) {
	if err := s.comes(ctx, q); err != nil {
		return false, err
	}
	return s.Operator.Confirm(ctx, q)
}

func (s *sleeper) Back() bool { return s.waits && !s.clock.Now().Before(s.ret) }

// heralds keeps notices.
type heralds struct {
	quiet
	mu   sync.Mutex
	list []runner.Notice
}

// quiet is a watcher that says nothing.
type quiet struct{}

func (quiet) Progress(int, int, time.Duration, runner.PointResult) {}
func (quiet) Measured(runner.Outcome)                              {}
func (quiet) Says(string)                                          {}

func (h *heralds) Happened(n runner.Notice) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.list = append(h.list, n)
}

// of gives the texts of notices of one kind.
func (h *heralds) of(event string) (list []string) {
	for _, n := range h.list {
		if n.Event == event {
			list = append(list, n.Text)
		}
	}
	return list
}

const skipping = "\n[prompts]\ntimeout = \"30 min\"\non_timeout = \"skip\"\n"

// away begins a rig whose person is away from the start for a time.
func away(t *testing.T, prompts string, gone time.Duration, o runnertest.Options) (*runnertest.Rig, *sleeper, *heralds) {
	t.Helper()
	o.Append = prompts + o.Append
	r := runnertest.New(t, o)
	s := &sleeper{Operator: r.Operator, clock: r.Clock, gone: r.Clock.Now(), ret: r.Clock.Now().Add(gone)}
	h := &heralds{}
	r.Setup.Operator, r.Setup.Watcher = s, h
	return r, s, h
}

// fixedB is a bench where input B needs no hand, so that a run can go on.
var fixedB = []string{"name = \"MW to B\"\n", "name = \"MW to B\"\nfixed = true\n"}

func connectB(t *testing.T, r *runnertest.Rig) { require.NoError(t, r.Bench.Connect("MW", "B")) }

// Nobody answers for input A; B needs nobody and is done meanwhile; at the end A
// is offered once more, and the person is back.
func TestOperatorAwayComesBack(t *testing.T) {
	r, s, h := away(t, skipping, 31*time.Minute, runnertest.Options{BenchFile: fixedB})
	connectB(t, r)
	began := r.Clock.Now()
	got := r.Run()
	require.True(t, got.Complete)
	require.Equal(t, all("pass", 4), verdicts(got, "A"))
	require.Equal(t, all("pass", 6), verdicts(got, "B"))
	require.Equal(t, "B", got.Points[0].Point.Input, "B was taken while nobody was there")
	require.Equal(t, began.Add(30*time.Minute), got.Entries[0].At)
	require.Equal(t, began, got.Entries[0].AskedAt)
	require.Contains(t, got.Entries[0].Asked, "connect source LF to input A (BNC) through cable 1, 1 m")
	require.Equal(t, "no answer within 30 min: skipped", got.Entries[0].Answer)
	require.Equal(t, "nobody", got.Entries[0].Who)
	require.Equal(t, "done", got.Entries[len(got.Entries)-1].Answer)
	require.Equal(t, "helper", got.Entries[len(got.Entries)-1].Who)
	require.True(t, r.Journal.Said("path LF to A put off to the end of the run: nobody answers"))
	require.True(t, r.Journal.Said("offered once more (path LF to A)"))
	require.Equal(t, "skipped at 00:30 if nobody answers", s.lapses[0])
	require.Equal(t, []string{"path LF to A put off to the end of the run: nobody answers"}, h.of(procedures.InputPutOff))
	require.Empty(t, h.of(procedures.InputGivenUp))
	require.Len(t, h.of(procedures.Finished), 1)
}

// Nobody comes back: the input is not judged, and the run has waited twice.
func TestOperatorAwayForGood(t *testing.T) {
	r, s, h := away(t, skipping, 1000*time.Hour, runnertest.Options{BenchFile: fixedB})
	connectB(t, r)
	began := r.Clock.Now()
	got := r.Run()
	require.True(t, got.Complete, "every point has a result")
	require.Equal(t, runner.Incomplete, got.Statement)
	require.Equal(t, all("not judged: no operator", 4), verdicts(got, "A"))
	require.Equal(t, all("pass", 6), verdicts(got, "B"))
	require.Equal(t, []string{"LF to A", "LF to A"}, s.asked, "and nothing else was asked of nobody")
	require.Less(t, got.Finished.Sub(began), 63*time.Minute)
	require.Greater(t, got.Finished.Sub(began), time.Hour)
	require.Len(t, h.of(procedures.InputGivenUp), 1)
	require.Contains(t, strings.Join(got.Points[len(got.Points)-1].Notes, " "), `no answer within 30 min to "connect source LF to input A`)
	require.Contains(t, got.Inputs[1].ReferenceCheck+got.Inputs[0].ReferenceCheck, "before and after", "the unit itself was asked")
}

// With several inputs that need a hand the second is not waited for: nobody is
// there.
func TestOperatorAwayIsAskedOnce(t *testing.T) {
	r, s, _ := away(t, skipping, 1000*time.Hour, runnertest.Options{})
	began := r.Clock.Now()
	got := r.Run()
	require.True(t, got.Complete)
	require.Equal(t, []string{"LF to A", "LF to A"}, s.asked)
	require.Less(t, got.Finished.Sub(began), 61*time.Minute)
	for _, p := range got.Points {
		require.Equal(t, decision.NoOperator, p.Verdict.Reason)
	}
}

// Somebody who shows up while the run goes on by itself is asked at the next
// change of path, not only at the end.
func TestOperatorShowsUp(t *testing.T) {
	r, s, _ := away(t, skipping, 30*time.Minute+time.Second, runnertest.Options{BenchFile: fixedB, Append: `
[[sweep]]
input = "B"
points = ["200 MHz"]
gate = "1 s"
level = "0 dBm"
`})
	connectB(t, r)
	s.waits = true
	got := r.Run()
	require.True(t, r.Journal.Said("helper is back"))
	require.False(t, r.Journal.Said("what was put off"))
	require.Equal(t, all("pass", 4), verdicts(got, "A"))
	require.Empty(t, r.Bench.Events())
}

func TestOperatorAwayStops(t *testing.T) {
	r, s, h := away(t, "\n[prompts]\ntimeout = \"20 min\"\non_timeout = \"stop\"\n", 1000*time.Hour, runnertest.Options{BenchFile: fixedB})
	got := r.Run() // no error: it is no fault of the bench
	require.False(t, got.Complete)
	require.Empty(t, got.Points)
	require.Contains(t, got.Ended, `no operator: no answer within 20 min to "connect source LF to input A`)
	require.Contains(t, got.Ended, "the run ends, as the procedure says")
	require.Equal(t, runner.Incomplete, got.Statement)
	require.Equal(t, "no answer within 20 min: the run ends", got.Entries[0].Answer)
	require.Equal(t, []string{"the run ends at 00:20 if nobody answers"}, s.lapses)
	require.Len(t, h.of(procedures.Stopped), 1)
	require.Empty(t, got.RFMayBeOn)
}

// To wait is to ring again, at growing intervals, until somebody comes.
func TestOperatorIsWaitedFor(t *testing.T) {
	r, s, h := away(t, "", 5*time.Hour, runnertest.Options{})
	began := r.Clock.Now()
	got := r.Run()
	require.True(t, got.Complete)
	require.Empty(t, s.lapses)
	var after []time.Duration
	for k, n := range h.list {
		if n.Event == procedures.PromptWaiting {
			require.Equal(t, k, n.Prompt.Reminder)
			require.Contains(t, n.Text, "connect source LF to input A")
			require.True(t, n.Prompt.Lapses.IsZero())
			after = append(after, n.At.Sub(began))
		}
	}
	m := time.Minute
	require.Equal(t, []time.Duration{m, 5 * m, 21 * m, 85 * m, 205 * m}, after)
	require.Equal(t, began, got.Entries[0].AskedAt)
	require.Equal(t, began.Add(5*time.Hour), got.Entries[0].At)
}

// A question that was answered at once is nothing to tell of.
func TestPresentOperatorIsNoNews(t *testing.T) {
	r, _, h := away(t, skipping, 0, runnertest.Options{})
	require.True(t, r.Run().Complete)
	require.Empty(t, h.of(procedures.PromptWaiting))
}

// A question of another kind that nobody answered is asked anew at the end.
func TestObservationIsOfferedOnceMore(t *testing.T) {
	table := `
[[measure]]
kind = "observation"
name = "outside"
asks = [{ question = "Do all segments light?" }]
`
	for gone, want := range map[time.Duration]string{31 * time.Minute: "pass", 1000 * time.Hour: "not judged: no operator"} {
		r, s, _ := away(t, skipping, gone, runnertest.Options{BenchFile: fixedB, Append: table, Kinds: []runner.MeasureKind{observation.Kind{}}})
		connectB(t, r)
		r.Operator.Answers = []bool{true}
		got := r.Run()
		require.Len(t, got.Outcomes, 1)
		require.Equal(t, want, got.Outcomes[0].Rows[0].Verdict.String(), gone)
		require.Equal(t, "Do all segments light?", s.asked[0])
		require.Len(t, got.Entries[:1], 1)
		require.Equal(t, "no answer within 30 min: skipped", got.Entries[0].Answer)
	}
}

// dozing is a technician who works the instruments and falls asleep.
type dozing struct {
	*technician
	clock     drivers.Clock
	after     int // answers
	gone      time.Duration
	until     time.Time
	questions int
}

func (d *dozing) Ask(ctx context.Context, q manual.Question) (string, error) {
	if d.questions++; d.questions > d.after {
		if d.until.IsZero() {
			d.until = d.clock.Now().Add(d.gone)
		}
		if left := d.until.Sub(d.clock.Now()); left > 0 {
			if err := d.clock.Sleep(ctx, left); err != nil {
				return "", err
			}
		}
	}
	return d.technician.Ask(ctx, q)
}

func (d *dozing) Move(ctx context.Context, m runner.Move) error { return nil }
func (d *dozing) Confirm(context.Context, string) (bool, error) { return true, nil }

// A person who reads the counter falls asleep in the middle of an input: what is
// left of it waits, and goes on when somebody answers again.
func TestReaderFallsAsleep(t *testing.T) {
	for gone, want := range map[time.Duration][]string{31 * time.Minute: {"pass", "pass", "pass", "pass"},
		1000 * time.Hour: {"pass", "pass", "not judged: no operator", "not judged: no operator"}} {
		t.Run(fmt.Sprint(gone), func(t *testing.T) {
			r := newRig(t, options{})
			require.NoError(t, r.Bench.Connect("LF", "A"))
			h := &technician{t: t, counter: r.Setup.Counter, sources: r.Setup.Sources}
			d := &dozing{technician: h, clock: r.Clock, after: 12, gone: gone}
			limit := quantity.MustParse[quantity.Second]("30 min")
			p := runner.NewPrompts(bothHands{d, r.Operator}, procedures.Prompts{Timeout: &limit, OnTimeout: procedures.SkipIt}, r.Clock)
			x, err := manual.OpenCounter(manual.Opening{Name: "counter", Panel: manual.Panel{Unit: "MHz"}, Person: p.Person(), Clock: r.Clock})
			require.NoError(t, err)
			r.Setup.Counter, r.Setup.Operator = x, p
			got := r.Run()
			require.Equal(t, want, verdicts(got, "A"))
			require.True(t, got.Complete)
			require.Equal(t, "no answer within 30 min: skipped", firstOf(got, "counter: ").Answer)
			require.True(t, r.Journal.Said("put off: no operator"))
		})
	}
}

// bothHands works the instruments, and has cables moved by another.
type bothHands struct {
	*dozing
	cables runner.Operator
}

func (m bothHands) Move(ctx context.Context, x runner.Move) error { return m.cables.Move(ctx, x) }

func firstOf(res runner.Result, asked string) runner.Entry {
	for _, e := range res.Entries {
		if strings.HasPrefix(e.Asked, asked) {
			return e
		}
	}
	return runner.Entry{}
}

// A hold whose person does not answer ends, with RF off.
func TestHoldWithoutAnAnswer(t *testing.T) {
	for then, want := range map[string]string{"skip": "the time was over", "stop": "no operator: no answer within 30 min"} {
		r, s, _ := away(t, "\n[prompts]\ntimeout = \"30 min\"\non_timeout = \""+then+"\"\n", 1000*time.Hour, runnertest.Options{})
		s.gone = s.gone.Add(time.Second) // there to move the cable
		s.ret = s.ret.Add(time.Second)
		level := quantity.MustLevel("0 dBm")
		p, err := r.Setup.Plan.Park(r.Setup.Procedure, r.Setup.Bench, procedures.Options{}, "B",
			procedures.Want{Frequency: quantity.MustParse[quantity.Hertz]("100 MHz"), Gate: quantity.MustParse[quantity.Second]("1 s"), Level: &level}, false)
		require.NoError(t, err)
		began := r.Clock.Now()
		held, err := runner.Park(t.Context(), r.Setup, runner.Hold{Point: p, For: quantity.MustParse[quantity.Second]("5 min")})
		require.NoError(t, err)
		require.Contains(t, held.Ended, want)
		require.Less(t, held.Finished.Sub(began), 36*time.Minute)
		require.Equal(t, "0", runnertest.Ask(t, r.Bench, "MW", "OUTP?"))
	}
}

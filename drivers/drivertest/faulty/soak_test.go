//go:build unix

package faulty_test

import (
	"context"
	"flag"
	"fmt"
	"maps"
	"regexp"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"bandproof/drivers/drivertest/faulty"
	"bandproof/drivers/profile"
	"bandproof/drivers/profiles"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

var (
	schedules = flag.Int("schedules", 200, "random fault schedules for each link; a quarter of them with a source")
	first     = flag.Uint64("first", 1, "seed of the first schedule")
	workers   = flag.Int("at-once", 16, "schedules that run at the same time; they mostly wait")
	replay    = flag.String("replay", "", "play one schedule, as a failure prints it")
)

// TestMain sees to it that nothing is left running.
func TestMain(m *testing.M) {
	flag.Parse()
	goleak.VerifyTestMain(m)
}

// report is what one schedule came to.
type report struct {
	readings int
	digits   int            // readings in which only digits were changed
	errors   map[string]int // by kind
	wrong    []string       // violations
	notes    []string       // what happened, for whoever plays it again
	lost     bool           // the test had no port to offer any more: to be played again
	begin    time.Time
	took     time.Duration
}

func (r *report) note(format string, args ...any) {
	r.notes = append(r.notes, time.Since(r.begin).Round(time.Millisecond).String()+" "+fmt.Sprintf(format, args...))
}

func (r *report) violation(format string, args ...any) {
	r.note("VIOLATION "+format, args...)
	r.wrong = append(r.wrong, fmt.Sprintf(format, args...))
}

// failed notes an error that a call has ended with.
func (r *report) failed(doing string, err error) {
	r.note("%s: %v", doing, err)
	kind, wrong := kindOf(err)
	if wrong != nil {
		r.violation("%s: %v", doing, wrong)
		return
	}
	r.errors[kind]++
}

const (
	// callTime is the deadline of every call.
	callTime = 5 * time.Second
	// openTime is that of opening the link while faults last, which would use up
	// all it has where nothing answers.
	openTime = time.Second
	// margin is how long after its deadline a call may end. It is long because
	// test machines are busy.
	margin = 30 * time.Second
)

// call runs one call of the driver with its deadline; false: it hangs.
func (r *report) call(doing string, limit time.Duration, f func(ctx context.Context) error) (err error, ended bool) {
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	done := make(chan error, 1)
	go func() {
		defer func() {
			if p := recover(); p != nil {
				r.violation("%s: panic: %v\n%s", doing, p, debug.Stack())
				done <- fmt.Errorf("panic")
			}
		}()
		done <- f(ctx)
	}()
	watch := time.NewTimer(limit + margin)
	defer watch.Stop()
	select {
	case err := <-done:
		return err, true
	case <-watch.C:
		r.violation("%s hangs: %s past its deadline", doing, margin)
		return nil, false
	}
}

// impatient is a ready profile with short waits, so that a schedule is over
// soon.
func impatient(t testing.TB, name string) *profile.Profile {
	t.Helper()
	text, err := profiles.Text(name)
	require.NoError(t, err)
	s := regexp.MustCompile(`(?m)^(timeout|margin) = "3 s"$`).ReplaceAllString(string(text), `$1 = "`+patience.String()+`"`)
	require.Contains(t, s, patience.String())
	s = strings.Replace(s, "[link]\n", "[link]\nquiet = \"30 ms\"\n", 1)
	s = strings.Replace(s, `time = "50 ms"`, `time = "1 ms"`, 1)
	p, err := profile.Load("impatient.toml", []byte(s))
	require.NoError(t, err)
	return p
}

func TestSoakCounter(t *testing.T) {
	p := impatient(t, "scpi-counter")
	soak(t, *schedules-*schedules/4, func(g rig) faulty.Extent { return g.counter }, func(g rig, s faulty.Schedule) *report { return converseCounter(g, p, s) })
}

func TestSoakSource(t *testing.T) {
	p := impatient(t, "scpi-source")
	soak(t, *schedules/4, func(g rig) faulty.Extent { return g.source }, func(g rig, s faulty.Schedule) *report { return converseSource(g, p, s) })
}

// soak plays random schedules on every link.
func soak(t *testing.T, n int, extent func(rig) faulty.Extent, converse func(rig, faulty.Schedule) *report) {
	for _, g := range rigs {
		t.Run(g.name, func(t *testing.T) {
			if *replay != "" {
				s, err := faulty.Parse(*replay)
				require.NoError(t, err)
				r := converse(g, s)
				t.Log(strings.Join(r.notes, "\n"))
				require.Empty(t, r.wrong)
				return
			}
			sum := report{errors: map[string]int{}}
			var lost atomic.Int32
			begin, slowest := time.Now(), &report{}
			for r := range played(g, n, extent(g), converse, &lost) {
				sum.readings += r.readings
				sum.digits += r.digits
				for kind, n := range r.errors {
					sum.errors[kind] += n
				}
				if r.took > slowest.took {
					slowest = r
				}
				if len(r.wrong) > 0 {
					t.Errorf("%s\n  %s", r.notes[0], strings.Join(r.notes[1:], "\n  "))
				}
				sum.wrong = append(sum.wrong, r.wrong...)
			}
			if n := lost.Load(); n > 0 {
				t.Logf("%s: %d schedules were played twice, because %v", g.name, n, faulty.ErrElsewhere)
			}
			var kinds []string
			for _, k := range slices.Sorted(maps.Keys(sum.errors)) {
				kinds = append(kinds, fmt.Sprintf("%s %d", k, sum.errors[k]))
			}
			t.Logf("%s: %d schedules, %d readings, %d of them with other digits, errors: %s; violations %d; %s, the slowest %s: %s", g.name, n, sum.readings,
				sum.digits, strings.Join(kinds, ", "), len(sum.wrong), time.Since(begin).Round(time.Second), slowest.took.Round(time.Millisecond), slowest.notes[0])
		})
	}
}

// played plays the schedules, many at a time; one for which the test lost its
// port is played once more.
func played(g rig, n int, e faulty.Extent, converse func(rig, faulty.Schedule) *report, lost *atomic.Int32) <-chan *report {
	seeds, reports := make(chan uint64), make(chan *report)
	var all sync.WaitGroup
	for range *workers {
		all.Go(func() {
			for seed := range seeds {
				begin := time.Now()
				r := converse(g, faulty.Draw(seed, e))
				if r.lost {
					lost.Add(1)
					r = converse(g, faulty.Draw(seed, e))
				}
				r.took = time.Since(begin)
				reports <- r
			}
		})
	}
	go func() {
		for i := range n {
			seeds <- *first + uint64(i)
		}
		close(seeds)
		all.Wait()
		close(reports)
	}()
	return reports
}

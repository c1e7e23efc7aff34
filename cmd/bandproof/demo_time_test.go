package main

import (
	"context"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/virtual"
	"bandproof/procedures"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

var (
	autoGate  = regexp.MustCompile(`gate = "auto"\ngate_range = \[".*", (".*")\]`)
	earlyStop = regexp.MustCompile(`\n\[sweep\.early_stop\]\n(.+\n)*`)
)

// longestGates is the demo's procedure with the longest gates and all readings.
func longestGates(t *testing.T) string {
	t.Helper()
	text, err := demoFiles.ReadFile("demo/procedure.toml")
	require.NoError(t, err)
	fixed := earlyStop.ReplaceAllString(autoGate.ReplaceAllString(string(text), "gate = $1"), "")
	require.NotContains(t, fixed, "auto")
	require.NotContains(t, fixed, "early_stop")
	return fixed
}

// The demo takes at most a third of the time that the longest gates and all
// readings would take, with the same verdict at every frequency, and the plan
// tells both times. All in model time, so that the figures are exact.
func TestDemoTakesAThirdOfTheTimeWithTheSameVerdicts(t *testing.T) {
	text, err := demoFiles.ReadFile("demo/procedure.toml")
	require.NoError(t, err)
	fixed := longestGates(t)
	for _, kind := range []runner.Kind{runner.AsFound, runner.AsLeft} {
		t.Run(string(kind), func(t *testing.T) {
			short, shortPlan := demoOnce(t, string(text), kind)
			long, longPlan := demoOnce(t, fixed, kind)
			verdicts := map[string]string{}
			for _, p := range long.Points {
				verdicts[p.Point.Input+" "+p.Point.Frequency.Plain()] = p.Verdict.String()
			}
			for _, p := range short.Points {
				require.Equal(t, verdicts[p.Point.Input+" "+p.Point.Frequency.Plain()], p.Verdict.String(), "input %s at %s", p.Point.Input, p.Point.Frequency)
			}
			shown := map[string]bool{}
			for _, p := range short.Points {
				shown[p.Point.Input+" "+p.Point.Frequency.Plain()] = true
			}
			require.Len(t, shown, len(verdicts), "every frequency is shown both ways")
			require.Equal(t, long.Statement, short.Statement)

			took, whole := short.Finished.Sub(short.Started), long.Finished.Sub(long.Started)
			moves := time.Duration(shortPlan.Moves) * 2 * time.Minute // by hand; the demo's are done at once
			t.Logf("%s: %.1f s of %.1f s, %.3f; planned %.1f s of %.1f s", kind, took.Seconds(), whole.Seconds(), took.Seconds()/whole.Seconds(),
				shortPlan.Minutes*60-moves.Seconds(), shortPlan.FixedMinutes*60-moves.Seconds())
			require.LessOrEqual(t, 3*took, whole)
			if kind == runner.AsLeft { // nothing fails, so the plan's times hold, but for points that need all readings
				require.InEpsilon(t, took.Seconds(), shortPlan.Minutes*60-moves.Seconds(), 0.1)
				require.InEpsilon(t, whole.Seconds(), longPlan.Minutes*60-moves.Seconds(), 0.05)
				require.InEpsilon(t, longPlan.Minutes, shortPlan.FixedMinutes, 0.03) // one point fewer: 1 kHz has one gate
			}
		})
	}
}

// demoOnce runs a procedure on the demo's bench, as found or repaired, in model
// time and in this process.
func demoOnce(t testing.TB, procedure string, kind runner.Kind) (runner.Result, *procedures.Plan) {
	t.Helper()
	clock := newDemoClock()
	bench, err := demoBench(clock)
	require.NoError(t, err)
	defer func() { require.NoError(t, bench.Close()) }()
	return demoOn(t, procedure, kind, bench, clock, inProcess(bench))
}

type dialer = func(ctx context.Context, network, address string) (net.Conn, error)

// demoOn runs it on a bench that is reached by dial, by the bench's own clock.
func demoOn(t testing.TB, procedure string, kind runner.Kind, bench *virtual.Bench, clock drivers.Clock, dial dialer) (runner.Result, *procedures.Plan) {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, layOut(dir))
	file := filepath.Join(dir, "procedure.toml")
	require.NoError(t, os.WriteFile(file, []byte(procedure), 0o644))
	in, err := loadFiles(file, filepath.Join(dir, "bench.toml"))
	require.NoError(t, err)
	st, err := store.Open(t.Context(), filepath.Join(dir, "store.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, st.Close()) }()
	if kind == runner.AsLeft {
		bench.Repair(demoLeftWith)
	}
	screen := newTerminal(strings.NewReader(""), io.Discard, io.Discard)
	w := sweep{files: in, store: st, key: testKey, out: dir, terminal: screen, clock: clock, invented: true, log: slog.New(slog.DiscardHandler), dial: dial,
		operator: demoOperator{screen, bench}}
	done, err := w.demoRun(t.Context(), filepath.Join(dir, "job-"+string(kind)+".toml"), kind)
	require.NoError(t, err)
	plan, err := in.plan(clock.Now(), done.Record.Job.Adjusted)
	require.NoError(t, err)
	return done.Record.Run, plan
}

//go:build linux

package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"bandproof/drivers/virtual"
	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/reports/store"

	"github.com/stretchr/testify/require"
)

var (
	instants = flag.Int("instants", 20, "instants at which TestKilledAtAnyInstant kills a run")
	instant  = flag.Int("instant", -1, "play this one instant alone")
)

// killable is a virtual bench in this process, served over TCP, for runs in
// processes that are killed.
type killable struct {
	place string // of the store, where it is not a file in dir
	*virtual.Bench
	dir     string
	clients atomic.Int64 // conversations that are open
	heard   func(instrument, message, reply string)
}

// newKillable serves a bench and writes the bench file to dir. The unit gives no
// count above 850 MHz at input B, and its timebase wanders, so that hardly two
// readings are the same and a point is read anew now and then.
func newKillable(t *testing.T) *killable {
	t.Helper()
	s, err := virtual.DefaultScenario()
	require.NoError(t, err)
	for _, text := range []string{"dead-above:input=B,from=850 MHz", "timebase-wander:amount=0.001ppm"} {
		f, err := virtual.ParseFault(text)
		require.NoError(t, err)
		s.Faults = append(s.Faults, f)
	}
	clock, err := virtual.NewScaledClock(2000)
	require.NoError(t, err)
	k := &killable{dir: t.TempDir()}
	k.Bench, err = virtual.New(s, virtual.Options{Seed: 11, Clock: clock, Follow: true, Rewinds: true, Heard: func(i, m, r string) {
		if k.heard != nil {
			k.heard(i, m, r)
		}
	}})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	var serving sync.WaitGroup
	t.Cleanup(func() { cancel(); serving.Wait(); _ = k.Close() })
	resources := map[string]string{}
	for _, i := range k.Instruments() {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		serving.Go(func() { _ = k.ServeListener(ctx, i.Name, &countedListener{l, &k.clients}) })
		resources[i.Name] = fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", l.Addr().(*net.TCPAddr).Port)
	}
	benchFile(t, k.dir, resources, "")
	return k
}

// countedListener counts conversations until the bench has closed them.
type countedListener struct {
	net.Listener
	open *atomic.Int64
}

func (l *countedListener) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err == nil {
		l.open.Add(1)
		c = &countedConn{Conn: c, done: sync.OnceFunc(func() { l.open.Add(-1) })}
	}
	return c, err
}

type countedConn struct {
	net.Conn
	done func()
}

func (c *countedConn) Close() error {
	defer c.done()
	return c.Conn.Close()
}

func (k *killable) store() string { return cmp.Or(k.place, filepath.Join(k.dir, "store.db")) }

// command is bandproof as a process, with Enter at every prompt.
func (k *killable) command(program string, args ...string) (*exec.Cmd, *bytes.Buffer) {
	c := exec.Command(program, append(args, "--store", k.store())...)
	c.Stdin = strings.NewReader(strings.Repeat("\n", 20))
	said := &bytes.Buffer{}
	c.Stderr = said
	return c, said
}

func (k *killable) run(program string) (*exec.Cmd, *bytes.Buffer) {
	return k.command(program, "run", "demo/procedure.toml", filepath.Join(k.dir, "bench.toml"), "--as-found", "--job", "demo/job-as-found.toml", "--out", k.dir, "--invented")
}

// interrupted is the run without a record, nil where there is none.
func (k *killable) interrupted(t *testing.T) *store.Interrupted {
	t.Helper()
	if _, err := os.Stat(k.store()); err != nil && !store.OnServer(k.store()) {
		return nil
	}
	s, err := store.Open(t.Context(), k.store())
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	list, err := s.Interrupted(t.Context())
	require.NoError(t, err)
	if len(list) == 0 {
		return nil
	}
	require.Len(t, list, 1)
	return &list[0]
}

// rewind sets the bench back to the last reading that the journal has kept, once
// the killed process's conversations are over.
func (k *killable) rewind(t *testing.T) {
	t.Helper()
	require.Eventually(t, func() bool { return k.clients.Load() == 0 }, time.Minute, time.Millisecond)
	gates := 0
	if run := k.interrupted(t); run != nil {
		s, err := store.Open(t.Context(), k.store())
		require.NoError(t, err)
		defer func() { require.NoError(t, s.Close()) }()
		e, err := s.Earlier(t.Context(), run.Header.ID)
		require.NoError(t, err)
		for _, p := range e.Points {
			gates += len(p.Readings)
		}
		for _, p := range e.PutOff {
			gates += len(p.Result.Readings)
		}
	}
	require.NoError(t, k.Rewind(map[string]int{"counter": gates}))
}

// record reads the one record in the store, and makes sure that its file is the same.
func (k *killable) record(t *testing.T) record.Record {
	t.Helper()
	s, err := store.Open(t.Context(), k.store())
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	rows, err := s.List(t.Context(), store.Query{})
	require.NoError(t, err)
	require.Len(t, rows, 1, "a run is sealed once")
	r, err := s.Record(t.Context(), rows[0].ID)
	require.NoError(t, err)
	text, err := r.Encode()
	require.NoError(t, err)
	files, err := filepath.Glob(filepath.Join(k.dir, "as-found-*.json"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	written, err := os.ReadFile(files[0])
	require.NoError(t, err)
	require.Equal(t, string(written), string(text))
	for _, ending := range []string{".pdf", ".csv", ".seal", ".sig"} {
		require.FileExists(t, strings.TrimSuffix(files[0], ".json")+ending)
	}
	return r
}

// apartFromTimes takes out of a record what an interruption may change: times,
// ids, what was said on the way, how often a source was set.
func apartFromTimes(t *testing.T, r record.Record) string {
	t.Helper()
	r.ID, r.Created, r.Bench = "", time.Time{}, record.Source{}
	run := &r.Run
	run.ID, run.Started, run.Finished, run.Events, run.Entries, run.Sessions = "", time.Time{}, time.Time{}, nil, nil, nil
	run.OnFor = quantity.Duration{}
	run.Points = slices.Clone(run.Points)
	for k := range run.Points {
		p := &run.Points[k]
		p.Started, p.Finished, p.Setting.Tries = time.Time{}, time.Time{}, 0
		p.Readings = slices.Clone(p.Readings)
		for n := range p.Readings {
			p.Readings[n].At = time.Time{}
		}
	}
	text, err := json.MarshalIndent(r, "", " ")
	require.NoError(t, err)
	return string(text)
}

// killsAtOnce is how many runs go on at a time; they mostly wait.
const killsAtOnce = 6

// fates counts what became of the instants.
type fates struct{ beforeHeader, midway, sealing, after, kills atomic.Int64 }

// A run that is killed at any instant, and while it is resumed, ends in the record
// of the run that was not: no reading lost, none doubled, RF off first. Each
// instant is drawn from its own number, which -instant plays again.
func TestKilledAtAnyInstant(t *testing.T) {
	bandproof, _ := programs(t)
	whole := newKillable(t)
	c, said := whole.run(bandproof)
	began := time.Now()
	_ = c.Run() // the unit fails
	length := time.Since(began)
	require.Equal(t, exitFailed, c.ProcessState.ExitCode(), said.String())
	want := apartFromTimes(t, whole.record(t))
	var what fates
	numbers := make(chan int, *instants)
	for n := range *instants {
		numbers <- n
	}
	if *instant >= 0 {
		numbers = make(chan int, 1)
		numbers <- *instant
	}
	close(numbers)
	var all sync.WaitGroup
	for range killsAtOnce {
		all.Go(func() {
			for n := range numbers {
				t.Run(fmt.Sprint(n), func(t *testing.T) { killedAt(t, bandproof, n, length, want, &what) })
			}
		})
	}
	all.Wait()
	t.Logf("%d instants, %d kills over a run of %s: %d before the journal began, %d midway, %d while the record was made, %d after the end",
		*instants, what.kills.Load(), length.Round(time.Millisecond), what.beforeHeader.Load(), what.midway.Load(), what.sealing.Load(), what.after.Load())
	if *instant < 0 {
		require.Positive(t, what.midway.Load())
	}
}

func killedAt(t *testing.T, bandproof string, n int, length time.Duration, want string, what *fates) {
	k := newKillable(t)
	draw := rand.New(rand.NewPCG(uint64(n), 5))
	kills := 1
	for kills < 4 && draw.IntN(3) == 0 {
		kills++
	}
	c, said := k.run(bandproof)
	for nth := range kills {
		after := time.Duration(draw.Float64() * 1.05 * float64(length) / float64(1+nth))
		require.NoError(t, c.Start())
		timer := time.AfterFunc(after, func() { _ = c.Process.Kill() })
		_ = c.Wait() // killed, or ended in time
		timer.Stop()
		what.kills.Add(1)
		run := k.interrupted(t)
		switch killed := !c.ProcessState.Exited(); {
		case !killed:
			require.Equal(t, exitFailed, c.ProcessState.ExitCode(), "instant %d: %s", n, said)
			what.after.Add(1)
		case run == nil && !sealed(t, k):
			what.beforeHeader.Add(1)
		case run == nil:
			what.after.Add(1)
		case run.Points == run.Header.Planned:
			what.sealing.Add(1)
		default:
			what.midway.Add(1)
		}
		if sealed(t, k) {
			break
		}
		k.rewind(t)
		if run == nil {
			c, said = k.run(bandproof) // nothing to resume: once more from the start
		} else {
			c, said = k.command(bandproof, "resume")
		}
	}
	if !sealed(t, k) {
		off := k.offFirst(t)
		_ = c.Run()
		require.Equal(t, exitFailed, c.ProcessState.ExitCode(), "instant %d: %s", n, said)
		off()
	}
	require.Equal(t, want, apartFromTimes(t, k.record(t)), "instant %d", n)
	require.Empty(t, k.Events(), "instant %d: damage, or a cable moved with RF on", n)
	for _, source := range []string{"LF", "MW"} {
		require.False(t, k.rfIsOn(t, source), "instant %d: RF of %s after the end", n, source)
	}
}

// sealed tells whether there is a record.
func sealed(t *testing.T, k *killable) bool {
	t.Helper()
	if _, err := os.Stat(k.store()); err != nil {
		return false
	}
	s, err := store.Open(t.Context(), k.store())
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	rows, err := s.List(t.Context(), store.Query{})
	require.NoError(t, err)
	return len(rows) > 0
}

// offFirst listens until the next process has set something; before that, each
// source must have been told to switch RF off.
func (k *killable) offFirst(t *testing.T) (check func()) {
	var mu sync.Mutex
	first := map[string]string{}
	k.heard = func(instrument, message, _ string) {
		mu.Lock()
		defer mu.Unlock()
		upper := strings.ToUpper(message)
		if first[instrument] == "" && (strings.Contains(upper, "OUTP") || strings.Contains(upper, "FREQ") || strings.Contains(upper, "POW")) && !strings.HasSuffix(upper, "?") {
			first[instrument] = upper
		}
	}
	return func() {
		mu.Lock()
		defer mu.Unlock()
		for _, source := range []string{"LF", "MW"} {
			if message := first[source]; message != "" { // none where only the record was missing
				require.Contains(t, message, "OUTP", source)
				require.True(t, strings.Contains(message, "OFF") || strings.Contains(message, "0"), "%s: %s", source, message)
			}
		}
	}
}

// rfIsOn asks a source past all our own code.
func (k *killable) rfIsOn(t *testing.T, source string) bool {
	t.Helper()
	c, err := k.Dial(t.Context(), source)
	require.NoError(t, err)
	defer func() { _ = c.Close() }()
	require.NoError(t, c.SetDeadline(time.Now().Add(10*time.Second)))
	_, err = c.Write([]byte("OUTP?\n"))
	require.NoError(t, err)
	buf := make([]byte, 16)
	n, err := c.Read(buf)
	require.NoError(t, err)
	return strings.TrimSpace(string(buf[:n])) != "0"
}

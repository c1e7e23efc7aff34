package main

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"bandproof/drivers/virtual"
	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// nightMeasures are asked for in every night beside the band sweep.
const nightMeasures = `
[[measure]]
kind = "self-test"

[[measure]]
kind = "observation"
name = "front panel"
asks = [{ question = "Do all segments of the display light?" }]

[[measure]]
kind = "sensitivity"
input = "B"
points = ["200 MHz", "1 GHz"]
gate = "100 ms"

[[measure]]
kind = "edge"
input = "B"
`

// bed is the whole program for one night, from files to data sheet, in model
// time: what stands in are the instruments, the clock and the person.
type bed struct {
	t     *testing.T
	bench *virtual.Bench
	clock nightClock
	sweep sweep
	said  bytes.Buffer

	mu    sync.Mutex
	wires map[string]net.Conn
	happens
}

// happens is what is done to the bench when the run's log begins a line with a
// text, such as "point B-002", once each.
type happens map[string]func(b *bed)

// nightClock never waits, and begins in the evening before the standards'
// certificates lapse.
type nightClock struct {
	*virtual.InstantClock
	later time.Duration // than that evening
}

func (c nightClock) Now() time.Time {
	return c.InstantClock.Now().Add(c.later).Add(time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC).Sub(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)))
}

// newBed lays the files of a night out and opens its store.
func newBed(t *testing.T, n night) *bed {
	t.Helper()
	b := &bed{t: t, clock: nightClock{virtual.NewInstantClock(), n.later}, wires: map[string]net.Conn{}, happens: n.happens}
	dir := t.TempDir()
	procedure, bench, scenario := "../../runner/runnertest/procedure.toml", "demo/bench.toml", virtual.DefaultScenarioText()
	if n.switched {
		procedure, bench, scenario = "../../testdata/switched/procedure.toml", "../../testdata/switched/bench.toml", virtual.SwitchedScenarioText()
	}
	lay := func(name, from, more string, pairs []string) string {
		text, err := os.ReadFile(from)
		require.NoError(t, err)
		file := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(file, []byte(swapped(t, string(text), pairs)+more), 0o644))
		return file
	}
	files, err := loadFiles(lay("procedure.toml", procedure, nightMeasures, n.procedure), lay("bench.toml", bench, "", n.benchFile))
	require.NoError(t, err)
	s, err := virtual.LoadScenario("scenario.toml", []byte(swapped(t, string(scenario), n.scenario)))
	require.NoError(t, err)
	s.Faults = faults(t, n.faults...)
	b.bench, err = virtual.New(s, virtual.Options{Clock: b.clock})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, b.bench.Close()) })
	st, err := store.Open(t.Context(), filepath.Join(dir, "store.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	b.sweep = sweep{files: files, kind: runner.AsFound, store: st, key: testKey, out: dir, terminal: newTerminal(strings.NewReader(""), &b.said, &b.said), clock: b.clock, invented: true,
		operator: &nightPerson{bench: b.bench, clock: b.clock, leavesAfter: n.leavesAfter}, log: slog.New(nightLog{b}), dial: b.dial, asking: n.asking}
	b.sweep.job.OnFor = quantity.MustParse[quantity.Second]("2 d")
	if n.cold {
		b.sweep.job.OnFor = quantity.Duration{}
	}
	return b
}

func swapped(t *testing.T, text string, pairs []string) string {
	t.Helper()
	for k := 0; k < len(pairs); k += 2 {
		require.Contains(t, text, pairs[k])
		text = strings.ReplaceAll(text, pairs[k], pairs[k+1])
	}
	return text
}

func faults(t *testing.T, texts ...string) (list []virtual.Fault) {
	t.Helper()
	for _, text := range texts {
		f, err := virtual.ParseFault(text)
		require.NoError(t, err)
		list = append(list, f)
	}
	return list
}

// breaks gives the bench these faults, and no others, from here on.
func breaks(texts ...string) func(*bed) {
	return func(b *bed) {
		if err := b.bench.SetFaults(faults(b.t, texts...)); err != nil {
			b.t.Error(err)
		}
	}
}

// cut pulls the cable to an instrument; it can be plugged in again at once.
func cut(instrument string) func(*bed) {
	return func(b *bed) {
		b.mu.Lock()
		defer b.mu.Unlock()
		_ = b.wires[instrument].Close()
	}
}

func (b *bed) dial(ctx context.Context, network, address string) (net.Conn, error) {
	c, err := inProcess(b.bench)(ctx, network, address)
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, i := range b.bench.Instruments() {
		if i.TCP == address {
			b.wires[i.Name] = c
		}
	}
	return c, err
}

// nightLog reads the run's log, and lets happen what is to.
type nightLog struct{ b *bed }

func (nightLog) Enabled(context.Context, slog.Level) bool { return true }
func (h nightLog) WithAttrs([]slog.Attr) slog.Handler     { return h }
func (h nightLog) WithGroup(string) slog.Handler          { return h }

func (h nightLog) Handle(_ context.Context, r slog.Record) error {
	text := r.Message
	r.Attrs(func(a slog.Attr) bool {
		if a.Key == "id" || a.Key == "task" {
			text += " " + a.Value.String()
		}
		return true
	})
	h.b.mu.Lock()
	var do []func(*bed)
	for begins, f := range h.b.happens {
		if strings.HasPrefix(text, begins) {
			do = append(do, f)
			delete(h.b.happens, begins)
		}
	}
	h.b.mu.Unlock()
	for _, f := range do {
		f(h.b)
	}
	return nil
}

// nightPerson moves cables and says yes, until leaving for the night.
type nightPerson struct {
	bench       *virtual.Bench
	clock       nightClock
	leavesAfter int // moves; 0: stays
	moves       int
}

func (*nightPerson) Name() string { return "A. Example (invented)" }

func (p *nightPerson) Move(ctx context.Context, m runner.Move) error {
	if p.leavesAfter != 0 && p.moves >= p.leavesAfter {
		if err := p.clock.Sleep(ctx, 12*time.Hour); err != nil { // the question lapses before that
			return err
		}
		return runner.ErrNoOperator
	}
	p.moves++
	return p.bench.Connect(m.Source, m.Input)
}

func (p *nightPerson) Confirm(context.Context, string) (bool, error) { return true, nil }

// sleep runs the night to its end, and checks what must hold after every one:
// the record is in the store as it is in the files, follows from itself, and the
// bench saw neither damage nor a cable moved with RF on.
func (b *bed) sleep() (record.Record, string) {
	b.t.Helper()
	done, err := b.sweep.do(b.t.Context())
	require.NoError(b.t, err, b.said.String())
	require.False(b.t, done.Interrupted, b.said.String())
	require.Empty(b.t, b.happens, "what was to happen in the night did not")
	for _, e := range b.bench.Events() {
		b.t.Errorf("the bench saw: %s", e.Text)
	}
	kept, err := b.sweep.store.Record(b.t.Context(), done.ID)
	require.NoError(b.t, err)
	text, err := kept.Encode()
	require.NoError(b.t, err)
	file, err := os.ReadFile(done.Files[0])
	require.NoError(b.t, err)
	require.Equal(b.t, string(file), string(text), "file and store differ")
	again, err := record.Decode(text)
	require.NoError(b.t, err)
	return again, frontPages(b.t, done.Files[1])
}

// frontPages is what a data sheet says before its conditions; the tool that
// reads it is another program than ours.
func frontPages(t *testing.T, file string) string {
	t.Helper()
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
			return ""
		}
		t.Fatal("pdftotext is missing: apt-get install poppler-utils (or set BANDPROOF_NO_PEERS=1 to leave this check out)")
	}
	out, err := exec.Command(tool, "-layout", "-enc", "UTF-8", file, "-").Output()
	require.NoError(t, err)
	front, _, found := strings.Cut(string(out), "Runs and conditions")
	require.True(t, found)
	return strings.NewReplacer("\u202f", "", "\u00a0", " ").Replace(strings.Join(strings.Fields(front), " "))
}

// Package runnertest builds runs on the virtual bench in model time, for the
// tests of the runner and of the kinds of measurement below it.
package runnertest

import (
	"context"
	_ "embed"
	"errors"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/profile"
	"bandproof/drivers/profiles"
	"bandproof/drivers/virtual"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// Rig is a run on the virtual bench in model time: the real drivers, profiles
// and links, talking to instrument models in this process.
type Rig struct {
	T        testing.TB
	Bench    *virtual.Bench
	Clock    *virtual.InstantClock
	Setup    runner.Setup
	Journal  *Journal
	Operator *Person

	wrap  func(string, net.Conn) net.Conn
	wires map[string]net.Conn // the last connection to each instrument
	down  map[string]bool     // its socket refuses
}

// Pull cuts the link to an instrument; for good, or to be dialled again.
func (r *Rig) Pull(instrument string, forGood bool) {
	r.down[instrument] = forGood
	_ = r.wires[instrument].Close()
}

// PutBack mends a link that was pulled for good.
func (r *Rig) PutBack(instrument string) { r.down[instrument] = false }

// Options change the rig before it is built.
type Options struct {
	Text      string   // of the procedure, in place of the short one
	Procedure []string // pairs: old, new text
	BenchFile []string
	Scenario  []string
	Append    string // to the procedure, such as [[measure]] tables
	Faults    []string
	Wrap      func(instrument string, c net.Conn) net.Conn // what lies between program and instrument
	Seed      int
	// Heard is told of each message that an instrument of the bench carries out.
	Heard    func(instrument, message, reply string)
	Switched bool // the bench that needs nobody
	Kinds    []runner.MeasureKind
	Job      procedures.Options // of the plan; Now is the day of the demo unless stated
}

//go:embed procedure.toml
var short []byte

// Root is the folder of the module.
func Root(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		require.NotEqual(t, up, dir, "no go.mod above")
		dir = up
	}
}

func read(t testing.TB, file string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(Root(t), file))
	require.NoError(t, err)
	return data
}

func swap(t testing.TB, text string, pairs []string) string {
	t.Helper()
	for k := 0; k < len(pairs); k += 2 {
		require.Contains(t, text, pairs[k])
		text = strings.ReplaceAll(text, pairs[k], pairs[k+1])
	}
	return text
}

// New builds a rig: a short procedure on the bench of the demo, or a longer one
// on the switched bench.
func New(t testing.TB, o Options) *Rig {
	t.Helper()
	procedure, benchFile, scenario := short, "cmd/bandproof/demo/bench.toml", virtual.DefaultScenarioText()
	if o.Switched {
		procedure, benchFile, scenario = read(t, "testdata/switched/procedure.toml"), "testdata/switched/bench.toml", virtual.SwitchedScenarioText()
	}
	if o.Text != "" {
		procedure = []byte(o.Text)
	}
	var tables []procedures.MeasureKind
	for _, k := range o.Kinds {
		tables = append(tables, k)
	}
	p, err := procedures.LoadProcedure("procedure.toml", []byte(swap(t, string(procedure), o.Procedure)+o.Append), tables...)
	require.NoError(t, err)
	b, err := procedures.LoadBench("bench.toml", []byte(swap(t, string(read(t, benchFile)), o.BenchFile)))
	require.NoError(t, err)
	s, err := virtual.LoadScenario("scenario.toml", []byte(swap(t, string(scenario), o.Scenario)))
	require.NoError(t, err)
	for _, text := range o.Faults {
		f, err := virtual.ParseFault(text)
		require.NoError(t, err)
		s.Faults = append(s.Faults, f)
	}
	r := &Rig{T: t, Clock: virtual.NewInstantClock(), Journal: &Journal{}, wires: map[string]net.Conn{}, down: map[string]bool{}}
	r.Bench, err = virtual.New(s, virtual.Options{Clock: r.Clock, Seed: o.Seed, Heard: o.Heard})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.Bench.Close()) })
	if o.Job.Now.IsZero() {
		o.Job.Now = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	}
	plan, err := procedures.NewPlan(p, b, o.Job)
	require.NoError(t, err)
	r.Operator, r.wrap = &Person{bench: r.Bench}, o.Wrap
	r.Setup = runner.Setup{ID: "run-1", Kind: runner.AsFound, Procedure: p, Bench: b, Plan: plan, Interlock: runner.NewInterlock(p.Unit),
		Clock: r.Clock, Journal: r.Journal, Operator: r.Operator, OnFor: p.WarmUp, Kinds: o.Kinds}
	r.Open()
	return r
}

// Open opens the instruments as the bench file says, over links that end in
// the virtual bench.
func (r *Rig) Open() {
	opener := link.Opener{Dial: r.Dial}
	opening := func(name string, c procedures.Connection) (*profile.Profile, profile.Opening) {
		p, err := profiles.Get(c.Profile)
		require.NoError(r.T, err)
		wait := time.Duration(c.Timeout.Float() * float64(time.Second))
		l, err := opener.Open(r.T.Context(), p.Prefer(link.Config{Address: c.Address, Timeout: wait}))
		require.NoError(r.T, err)
		return p, profile.Opening{Name: name, Link: l, Interlock: r.Setup.Interlock, Clock: r.Clock, Timeout: wait}
	}
	r.Setup.Sources = map[string]drivers.Source{}
	for _, s := range r.Setup.Bench.Sources {
		p, o := opening(s.Name, s.Connection)
		source, err := p.OpenSource(r.T.Context(), o)
		require.NoError(r.T, err)
		r.T.Cleanup(func() { _ = source.Close() })
		r.Setup.Sources[s.Name] = source
	}
	p, o := opening("counter", r.Setup.Bench.Counter.Connection)
	counter, err := p.OpenCounter(r.T.Context(), o)
	require.NoError(r.T, err)
	r.T.Cleanup(func() { _ = counter.Close() })
	r.Setup.Counter = counter
	r.openAids(opening)
}

// Dial connects to an instrument of the bench.
func (r *Rig) Dial(ctx context.Context, _, address string) (net.Conn, error) {
	for _, i := range r.Bench.Instruments() {
		if i.TCP != address {
			continue
		}
		if r.down[i.Name] {
			return nil, errors.New("connection refused")
		}
		c, err := r.Bench.Dial(ctx, i.Name)
		if err == nil && r.wrap != nil {
			c = r.wrap(i.Name, c)
		}
		r.wires[i.Name] = c
		return c, err
	}
	return nil, errors.New("nothing listens at " + address)
}

// Run runs and holds what must hold after every run.
func (r *Rig) Run() runner.Result {
	r.T.Helper()
	result, err := runner.Run(r.T.Context(), r.Setup)
	require.NoError(r.T, err)
	r.Always(result)
	return result
}

// Always holds what must hold after every run.
func (r *Rig) Always(result runner.Result) {
	r.T.Helper()
	for _, e := range r.Bench.Events() {
		r.T.Errorf("the bench saw: %s", e.Text) // damage, or a cable moved with RF on
	}
	for name := range r.Setup.Sources {
		require.Equal(r.T, "0", Ask(r.T, r.Bench, name, "OUTP?"), "RF of %s after the run", name)
	}
	for _, p := range result.Points {
		require.GreaterOrEqual(r.T, p.Reported.Expanded, p.Decision.Expanded, "point %s: what is reported holds everything", p.Point.ID)
		require.Equal(r.T, p.Judged() && p.Verdict.Reason != decision.NoCount && p.Verdict.Reason != decision.NotObtainable && p.Verdict.Reason != decision.Unstable, p.Conformity != nil,
			"point %s (%s): a probability of conformity only where the limit decided", p.Point.ID, p.Verdict)
		if p.Verdict.Good() {
			kept := r.Journal.Last(p.Point.ID)
			require.NotNil(r.T, kept, "point %s passed without a journal entry", p.Point.ID)
			require.Equal(r.T, len(p.Readings), len(kept.Readings))
			require.NotZero(r.T, kept.Counted)
		}
	}
}

// Ask talks to an instrument of the bench past all our own code.
func Ask(t testing.TB, b *virtual.Bench, instrument, query string) string {
	t.Helper()
	c, err := b.Dial(t.Context(), instrument)
	require.NoError(t, err)
	defer func() { _ = c.Close() }()
	require.NoError(t, c.SetDeadline(time.Now().Add(10*time.Second)))
	_, err = c.Write([]byte(query + "\n"))
	require.NoError(t, err)
	buf := make([]byte, 256)
	n, err := c.Read(buf)
	require.NoError(t, err)
	return strings.TrimSpace(string(buf[:n]))
}

// openAids opens what stands on the bench beside unit and sources.
func (r *Rig) openAids(opening func(string, procedures.Connection) (*profile.Profile, profile.Opening)) {
	a := runner.Aids{Switches: map[string]drivers.Switch{}, PowerMeters: map[string]drivers.PowerMeter{}, Thermometers: map[string]drivers.Thermometer{}}
	keep := func(i drivers.Instrument, err error) {
		require.NoError(r.T, err)
		r.T.Cleanup(func() { _ = i.Close() })
	}
	for _, x := range r.Setup.Bench.Switches {
		p, o := opening(x.Name, x.Connection)
		s, err := p.OpenSwitch(r.T.Context(), o)
		keep(s, err)
		a.Switches[x.Name] = s
	}
	for _, x := range r.Setup.Bench.PowerMeters {
		p, o := opening(x.Name, x.Connection)
		m, err := p.OpenPowerMeter(r.T.Context(), o)
		keep(m, err)
		a.PowerMeters[x.Name] = m
	}
	for _, x := range r.Setup.Bench.Thermometers {
		p, o := opening(x.Name, x.Connection)
		m, err := p.OpenThermometer(r.T.Context(), o)
		keep(m, err)
		a.Thermometers[x.Name] = m
	}
	if m := r.Setup.Bench.Monitor; m != nil {
		p, o := opening(procedures.MonitorName, m.Connection)
		c, err := p.OpenCounter(r.T.Context(), o)
		keep(c, err)
		a.Monitor = c
	}
	r.Setup.Aids = a
}

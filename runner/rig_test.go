package runner_test

import (
	"context"
	"errors"
	"net"
	"os"
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

// rig is a run on the virtual bench in model time: the real drivers, profiles
// and links, talking to instrument models in this process.
type rig struct {
	t        *testing.T
	bench    *virtual.Bench
	clock    *virtual.InstantClock
	setup    runner.Setup
	journal  *memory
	operator *helper

	wrap  func(string, net.Conn) net.Conn
	wires map[string]net.Conn // the last connection to each instrument
	down  map[string]bool     // its socket refuses
}

// pull cuts the link to an instrument; for good, or to be dialled again.
func (r *rig) pull(instrument string, forGood bool) {
	r.down[instrument] = forGood
	_ = r.wires[instrument].Close()
}

// options change the rig before it is built.
type options struct {
	procedure []string // pairs: old, new text
	benchFile []string
	scenario  []string
	faults    []string
	wrap      func(instrument string, c net.Conn) net.Conn // what lies between program and instrument
	seed      int
	switched  bool // the bench that needs nobody
}

func replaced(t *testing.T, file string, pairs []string) []byte {
	t.Helper()
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	return []byte(swap(t, string(data), pairs))
}

func swap(t *testing.T, text string, pairs []string) string {
	t.Helper()
	for k := 0; k < len(pairs); k += 2 {
		require.Contains(t, text, pairs[k])
		text = strings.ReplaceAll(text, pairs[k], pairs[k+1])
	}
	return text
}

func newRig(t *testing.T, o options) *rig {
	t.Helper()
	procedure, benchFile, scenario := "testdata/procedure.toml", "../cmd/bandproof/demo/bench.toml", virtual.DefaultScenarioText()
	if o.switched {
		procedure, benchFile, scenario = "../testdata/switched/procedure.toml", "../testdata/switched/bench.toml", virtual.SwitchedScenarioText()
	}
	p, err := procedures.LoadProcedure("procedure.toml", replaced(t, procedure, o.procedure))
	require.NoError(t, err)
	b, err := procedures.LoadBench("bench.toml", replaced(t, benchFile, o.benchFile))
	require.NoError(t, err)
	s, err := virtual.LoadScenario("scenario.toml", []byte(swap(t, string(scenario), o.scenario)))
	require.NoError(t, err)
	for _, text := range o.faults {
		f, err := virtual.ParseFault(text)
		require.NoError(t, err)
		s.Faults = append(s.Faults, f)
	}
	r := &rig{t: t, clock: virtual.NewInstantClock(), journal: &memory{}, wires: map[string]net.Conn{}, down: map[string]bool{}}
	r.bench, err = virtual.New(s, virtual.Options{Clock: r.clock, Seed: o.seed})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.bench.Close()) })
	plan, err := procedures.NewPlan(p, b, procedures.Options{Now: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)})
	require.NoError(t, err)
	r.operator, r.wrap = &helper{bench: r.bench}, o.wrap
	r.setup = runner.Setup{ID: "run-1", Kind: runner.AsFound, Procedure: p, Bench: b, Plan: plan, Interlock: runner.NewInterlock(p.Unit),
		Clock: r.clock, Journal: r.journal, Operator: r.operator, OnFor: p.WarmUp}
	r.open()
	return r
}

// open opens the instruments as the bench file says, over links that end in
// the virtual bench.
func (r *rig) open() {
	opener := link.Opener{Dial: r.dial}
	opening := func(name string, c procedures.Connection) (*profile.Profile, profile.Opening) {
		p, err := profiles.Get(c.Profile)
		require.NoError(r.t, err)
		wait := time.Duration(c.Timeout.Float() * float64(time.Second))
		l, err := opener.Open(r.t.Context(), p.Prefer(link.Config{Address: c.Address, Timeout: wait}))
		require.NoError(r.t, err)
		return p, profile.Opening{Name: name, Link: l, Interlock: r.setup.Interlock, Clock: r.clock, Timeout: wait}
	}
	r.setup.Sources = map[string]drivers.Source{}
	for _, s := range r.setup.Bench.Sources {
		p, o := opening(s.Name, s.Connection)
		source, err := p.OpenSource(r.t.Context(), o)
		require.NoError(r.t, err)
		r.t.Cleanup(func() { _ = source.Close() })
		r.setup.Sources[s.Name] = source
	}
	p, o := opening("counter", r.setup.Bench.Counter.Connection)
	counter, err := p.OpenCounter(r.t.Context(), o)
	require.NoError(r.t, err)
	r.t.Cleanup(func() { _ = counter.Close() })
	r.setup.Counter = counter
	r.openAids(opening)
}

// dial connects to an instrument of the bench.
func (r *rig) dial(ctx context.Context, _, address string) (net.Conn, error) {
	for _, i := range r.bench.Instruments() {
		if i.TCP != address {
			continue
		}
		if r.down[i.Name] {
			return nil, errors.New("connection refused")
		}
		c, err := r.bench.Dial(ctx, i.Name)
		if err == nil && r.wrap != nil {
			c = r.wrap(i.Name, c)
		}
		r.wires[i.Name] = c
		return c, err
	}
	return nil, errors.New("nothing listens at " + address)
}

func (r *rig) run() runner.Result {
	r.t.Helper()
	result, err := runner.Run(r.t.Context(), r.setup)
	require.NoError(r.t, err)
	r.always(result)
	return result
}

// always holds what must hold after every run.
func (r *rig) always(result runner.Result) {
	r.t.Helper()
	for _, e := range r.bench.Events() {
		r.t.Errorf("the bench saw: %s", e.Text) // damage, or a cable moved with RF on
	}
	for name := range r.setup.Sources {
		require.Equal(r.t, "0", ask(r.t, r.bench, name, "OUTP?"), "RF of %s after the run", name)
	}
	for _, p := range result.Points {
		require.GreaterOrEqual(r.t, p.Reported.Expanded, p.Decision.Expanded, "point %s: what is reported holds everything", p.Point.ID)
		require.Equal(r.t, p.Judged() && p.Verdict.Reason != decision.NoCount && p.Verdict.Reason != decision.Unstable, p.Conformity != nil,
			"point %s (%s): a probability of conformity only where the limit decided", p.Point.ID, p.Verdict)
		if p.Verdict.Good() {
			kept := r.journal.last(p.Point.ID)
			require.NotNil(r.t, kept, "point %s passed without a journal entry", p.Point.ID)
			require.Equal(r.t, len(p.Readings), len(kept.Readings))
			require.NotZero(r.t, kept.Counted)
		}
	}
}

// ask talks to an instrument of the bench past all our own code.
func ask(t *testing.T, b *virtual.Bench, instrument, query string) string {
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

// memory is a journal that keeps everything, and can be made to fail.
type memory struct {
	points []runner.PointResult
	events []runner.Event
	after  int // fail after this many points; 0 never
}

var errFull = errors.New("no space left on device")

func (m *memory) Point(_ context.Context, p runner.PointResult) error {
	if m.after > 0 && len(m.points) >= m.after {
		return errFull
	}
	m.points = append(m.points, p)
	return nil
}
func (m *memory) Event(_ context.Context, e runner.Event) error {
	m.events = append(m.events, e)
	return nil
}
func (m *memory) Entry(context.Context, runner.Entry) error { return nil }

func (m *memory) last(id string) *runner.PointResult {
	for k := len(m.points) - 1; k >= 0; k-- {
		if m.points[k].Point.ID == id {
			return &m.points[k]
		}
	}
	return nil
}

func (m *memory) said(text string) bool {
	for _, e := range m.events {
		if strings.Contains(e.Text, text) {
			return true
		}
	}
	return false
}

// helper is a person at the virtual bench.
type helper struct {
	bench   *virtual.Bench
	moves   []string
	answers []bool // to Confirm, in order; then ErrNoOperator
	asked   []string
	away    bool
	then    func(runner.Move) // after a move
}

func (*helper) Name() string { return "helper" }

func (h *helper) Move(_ context.Context, m runner.Move) error {
	if h.away {
		return runner.ErrNoOperator
	}
	h.moves = append(h.moves, m.Source+" to "+m.Input)
	err := h.bench.Connect(m.Source, m.Input)
	if h.then != nil {
		h.then(m)
	}
	return err
}

func (h *helper) Confirm(_ context.Context, q string) (bool, error) {
	h.asked = append(h.asked, q)
	if len(h.answers) == 0 {
		return false, runner.ErrNoOperator
	}
	a := h.answers[0]
	h.answers = h.answers[1:]
	return a, nil
}

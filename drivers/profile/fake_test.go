package profile_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/profile"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// answer is one reply that comes after a while.
type answer struct {
	text  string
	after time.Duration
}

// instrument is the far end of a fake link: it turns a message into replies.
type instrument func(message string) []answer

// fake is a link with an instrument at its far end. It keeps the contract of
// link.Link; like a serial line it cannot call back what the instrument sends
// after Clear.
type fake struct {
	mutex   sync.Mutex
	far     instrument
	sent    []string // every message and every "(clear)" in order
	pending []arrival
	talks   bool // a late answer does not hold up later ones
	asked   bool // something was sent since the last Clear
	dirty   bool
	dead    error // every call fails with it
	closed  int
	gpib    bool // the link has trigger, status byte, remote and local
	bits    byte // of the status byte, beside the first
	polls   int
}

type arrival struct {
	text string
	at   time.Time
}

var _ link.Link = (*fake)(nil)

func (f *fake) Address() string { return "FAKE::1::INSTR" }

func (f *fake) fail(op string, kind error) error {
	return &link.Error{Address: f.Address(), Op: op, Kind: kind}
}

func (f *fake) Write(ctx context.Context, message []byte) error {
	f.mutex.Lock()
	defer f.mutex.Unlock()
	switch {
	case ctx.Err() != nil:
		return f.fail("write", link.ErrTimeout)
	case f.dead != nil:
		return f.dead
	case f.dirty:
		return f.fail("write", link.ErrDirty)
	}
	f.asked = true
	f.sent = append(f.sent, string(message))
	if string(message) == "ABOR" {
		f.pending = nil
	}
	for _, a := range f.far(string(message)) {
		f.pending = append(f.pending, arrival{a.text, time.Now().Add(a.after)})
	}
	return nil
}

func (f *fake) Read(ctx context.Context) ([]byte, error) {
	for {
		if text, ok, err := f.take(); err != nil || ok {
			return []byte(text), err
		}
		select {
		case <-ctx.Done():
			f.mutex.Lock()
			defer f.mutex.Unlock()
			f.dirty = f.asked
			if errors.Is(ctx.Err(), context.DeadlineExceeded) {
				return nil, f.fail("read", link.ErrTimeout)
			}
			return nil, f.fail("read", link.ErrCancelled)
		case <-time.After(time.Millisecond):
		}
	}
}

func (f *fake) Query(ctx context.Context, message []byte) ([]byte, error) {
	f.discard()
	if err := f.Write(ctx, message); err != nil {
		return nil, err
	}
	return f.Read(ctx)
}

func (f *fake) Stray() []byte { return nil }

// Trigger, Remote and Local are noted where the link has them; a trigger is
// answered as the message "(trigger)".
func (f *fake) Trigger(ctx context.Context) error {
	if !f.gpib {
		return f.fail("trigger", errors.ErrUnsupported)
	}
	return f.Write(ctx, []byte("(trigger)"))
}

func (f *fake) Remote(context.Context) error { return f.panel("remote") }
func (f *fake) Local(context.Context) error  { return f.panel("local") }

func (f *fake) panel(op string) error {
	if !f.gpib {
		return f.fail(op, errors.ErrUnsupported)
	}
	f.mutex.Lock()
	defer f.mutex.Unlock()
	f.sent = append(f.sent, "("+op+")")
	return nil
}

// StatusByte has bit 0 set while a message waits to be read.
func (f *fake) StatusByte(context.Context) (byte, error) {
	if !f.gpib {
		return 0, f.fail("status", errors.ErrUnsupported)
	}
	f.mutex.Lock()
	defer f.mutex.Unlock()
	f.polls++
	if len(f.pending) > 0 && !time.Now().Before(f.pending[0].at) {
		return f.bits | 1, nil
	}
	return f.bits, nil
}

func (f *fake) take() (text string, ok bool, err error) {
	f.mutex.Lock()
	defer f.mutex.Unlock()
	switch {
	case f.dead != nil:
		return "", false, f.dead
	case f.dirty:
		return "", false, f.fail("read", link.ErrDirty)
	}
	return f.takeLocked()
}

func (f *fake) takeLocked() (text string, ok bool, err error) {
	for i, a := range f.pending {
		if !time.Now().Before(a.at) {
			f.pending = slices.Delete(f.pending, i, i+1)
			return a.text, true, nil
		}
		if !f.talks {
			break
		}
	}
	return "", false, nil
}

// discard throws away what has arrived.
func (f *fake) discard() {
	f.mutex.Lock()
	defer f.mutex.Unlock()
	for {
		if _, ok, _ := f.takeLocked(); !ok {
			return
		}
	}
}

func (f *fake) Clear(context.Context) error {
	f.discard()
	f.mutex.Lock()
	defer f.mutex.Unlock()
	if f.dead != nil {
		return f.dead
	}
	f.sent = append(f.sent, "(clear)")
	f.dirty, f.asked = false, false
	return nil
}

func (f *fake) Close() error {
	f.mutex.Lock()
	defer f.mutex.Unlock()
	f.closed++
	return nil
}

// takeSent returns the messages since the last call.
func (f *fake) takeSent() []string {
	f.mutex.Lock()
	defer f.mutex.Unlock()
	sent := f.sent
	f.sent = nil
	return sent
}

// state is a simple instrument by its answers; what is not in the map is
// swallowed. Answers may be changed while it runs.
type state struct {
	mutex   sync.Mutex
	answers map[string][]answer
}

func newState(answers map[string]string) *state {
	s := &state{answers: map[string][]answer{}}
	for question, text := range answers {
		s.set(question, text)
	}
	return s
}

// set makes the instrument give these answers at once.
func (s *state) set(question string, texts ...string) {
	list := make([]answer, len(texts))
	for i, t := range texts {
		list[i] = answer{text: t}
	}
	s.setLate(question, list...)
}

func (s *state) setLate(question string, list ...answer) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	s.answers[question] = list
}

func (s *state) far(message string) []answer {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	return s.answers[message]
}

// naps notes what the driver sleeps, and sleeps.
type naps struct {
	drivers.WallClock
	mutex sync.Mutex
	list  []time.Duration
}

func (n *naps) Sleep(ctx context.Context, d time.Duration) error {
	n.mutex.Lock()
	n.list = append(n.list, d)
	n.mutex.Unlock()
	return n.WallClock.Sleep(ctx, d)
}

// permit is an interlock that passes levels up to a limit in dBm.
type permit struct {
	most  float64
	asked []string
}

func (p *permit) Permit(source string, level quantity.Level) error {
	p.asked = append(p.asked, source+" "+level.String())
	if dbm := level.DBm(quantity.Dbm50()); dbm > p.most {
		return fmt.Errorf("input A would see %v dBm", dbm)
	}
	return nil
}

// edit returns a text with replacements, each of which must be found.
func edit(t *testing.T, text string, pairs ...string) string {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		require.Contains(t, text, pairs[i])
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	return text
}

func load(t *testing.T, text string) *profile.Profile {
	t.Helper()
	p, err := profile.Load("test.toml", []byte(text))
	require.NoError(t, err)
	return p
}

const counterText = `schema = "bandproof profile 1"
name = "test-counter"
role = "counter"
source = "made up for the tests"
description = "A counter that is quick to give up."
[link]
timeout = "150 ms"
quiet = "10 ms"
[identify]
query = "*IDN?"
[start]
commands = ["*RST"]
[input]
commands = ["ROUT {input}"]
map = { A = "1", B = "2" }
[gate]
commands = ["APER {seconds}"]
query = "APER?"
[read]
query = "READ?"
margin = "120 ms"
zero_is_no_count = true
[abort]
commands = ["ABOR"]
[reference]
query = "ROSC?"
map = { INT = "own", EXT = "external" }
[errors]
query = "ERR?"
[self_test]
query = "*TST?"
pass = ["0"]
`

const sourceText = `schema = "bandproof profile 1"
name = "test-source"
role = "source"
source = "made up for the tests"
description = "A source that is quick to give up."
[link]
timeout = "150 ms"
quiet = "10 ms"
[identify]
query = "*IDN?"
[start]
commands = ["*RST"]
[rf_off]
commands = ["OUTP 0"]
query = "OUTP?"
expect = ["0"]
[rf_on]
commands = ["OUTP 1"]
[frequency]
commands = ["FREQ {hertz}"]
query = "FREQ?"
resolution = "1 Hz"
[level]
commands = ["POW {dbm}"]
query = "POW?"
resolution = "0.1 dB"
[settle]
time = "20 ms"
query = "*OPC?"
expect = ["1"]
margin = "50 ms"
[lock]
query = "LOCK?"
mask = 32
[reference]
query = "ROSC?"
map = { INT = "own", EXT = "external" }
[errors]
query = "ERR?"
`

const self = "Example Works (invented),T,1,0"

func counterState() *state {
	return newState(map[string]string{"*IDN?": self, "ERR?": `0,"No error"`, "APER?": "0.01", "READ?": "10000000.0",
		"ROSC?": "INT", "*TST?": "0"})
}

func sourceState() *state {
	return newState(map[string]string{"*IDN?": self, "ERR?": `0,"No error"`, "OUTP?": "0", "FREQ?": "1.00E7",
		"POW?": "-20.0", "*OPC?": "1", "LOCK?": "0", "ROSC?": "EXT"})
}

// openCounter opens a counter on a fake link, its gate set to 10 ms.
func openCounter(t *testing.T, text string, s *state) (drivers.Counter, *fake) {
	t.Helper()
	f := &fake{far: s.far}
	c, err := load(t, text).OpenCounter(t.Context(), profile.Opening{Name: "unit", Link: f, Clock: &naps{}})
	require.NoError(t, err)
	_, err = c.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	f.takeSent()
	return c, f
}

// openSource opens a source on a fake link.
func openSource(t *testing.T, text string, s *state, interlock drivers.Interlock) (drivers.Source, *fake) {
	t.Helper()
	f := &fake{far: s.far}
	g, err := load(t, text).OpenSource(t.Context(), profile.Opening{Name: "gen", Link: f, Interlock: interlock, Clock: &naps{}})
	require.NoError(t, err)
	f.takeSent()
	return g, f
}

var gate10ms = quantity.MustParse[quantity.Second]("10 ms")

func hz(text string) quantity.Frequency { return quantity.MustParse[quantity.Hertz](text) }

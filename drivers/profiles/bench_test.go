package profiles_test

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/profile"
	"bandproof/drivers/profiles"
	"bandproof/drivers/virtual"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// bench is the default virtual bench, its instruments served over TCP.
type bench struct {
	*virtual.Bench
	address map[string]string // VISA resource name by instrument
}

func newBench(t *testing.T) *bench {
	t.Helper()
	scenario, err := virtual.DefaultScenario()
	require.NoError(t, err)
	scenario.Follow = true
	v, err := virtual.New(scenario, virtual.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, v.Close()) })
	b := &bench{Bench: v, address: map[string]string{}}
	for _, i := range v.Instruments() {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan error, 1)
		go func() { done <- v.ServeListener(ctx, i.Name, l) }()
		t.Cleanup(func() {
			cancel()
			require.NoError(t, <-done)
		})
		b.address[i.Name] = fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", l.Addr().(*net.TCPAddr).Port)
	}
	return b
}

// fault puts one fault on the bench; an empty text clears them.
func (b *bench) fault(t *testing.T, text string) {
	t.Helper()
	var list []virtual.Fault
	if text != "" {
		f, err := virtual.ParseFault(text)
		require.NoError(t, err)
		list = append(list, f)
	}
	require.NoError(t, b.SetFaults(list))
}

// opening connects to an instrument over a real socket.
func (b *bench) opening(t *testing.T, name string, p *profile.Profile) profile.Opening {
	t.Helper()
	log := slog.New(slog.NewTextHandler(testWriter{t}, nil))
	l, err := link.Opener{Log: log}.Open(t.Context(), p.Prefer(link.Config{Address: b.address[name]}))
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	return profile.Opening{Name: name, Link: l, Interlock: upTo(0), Log: log}
}

type testWriter struct{ t *testing.T }

func (w testWriter) Write(p []byte) (int, error) {
	w.t.Log(strings.TrimSpace(string(p)))
	return len(p), nil
}

// upTo is an interlock that passes levels up to so many dBm.
type upTo float64

func (most upTo) Permit(_ string, level quantity.Level) error {
	if level.DBm(quantity.Dbm50()) > float64(most) {
		return fmt.Errorf("%s is more than %v dBm", level, float64(most))
	}
	return nil
}

func hz(text string) quantity.Frequency { return quantity.MustParse[quantity.Hertz](text) }

var (
	gate10ms = quantity.MustParse[quantity.Second]("10 ms")
	level    = quantity.MustLevel("-10 dBm")
)

func get(t *testing.T, name string) *profile.Profile {
	t.Helper()
	p, err := profiles.Get(name)
	require.NoError(t, err)
	return p
}

// quick is the generic counter with shorter patience, for faults of the link.
func quick(t *testing.T) *profile.Profile {
	t.Helper()
	text, err := profiles.Text("scpi-counter")
	require.NoError(t, err)
	s := string(text)
	for _, pair := range [][2]string{{"margin = \"3 s\"", "margin = \"150 ms\""}, {"timeout = \"3 s\"", "timeout = \"300 ms\""}} {
		require.Contains(t, s, pair[0])
		s = strings.Replace(s, pair[0], pair[1], 1)
	}
	p, err := profile.Load("quick.toml", []byte(s))
	require.NoError(t, err)
	return p
}

func TestGenericProfilesDriveTheVirtualBench(t *testing.T) {
	b := newBench(t)
	ctx := t.Context()
	c, err := get(t, "scpi-counter").OpenCounter(ctx, b.opening(t, "counter", get(t, "scpi-counter")))
	require.NoError(t, err)
	g, err := get(t, "scpi-source").OpenSource(ctx, b.opening(t, "MW", get(t, "scpi-source")))
	require.NoError(t, err)

	id, err := g.Identify(ctx)
	require.NoError(t, err)
	require.Equal(t, "Demo Source High", id.Model)
	which, err := c.(drivers.ReferenceReporter).Reference(ctx)
	require.NoError(t, err)
	require.Equal(t, "own", which)
	which, err = g.(drivers.ReferenceReporter).Reference(ctx)
	require.NoError(t, err)
	require.Equal(t, "external", which)
	_, passed, err := c.(drivers.SelfTester).SelfTest(ctx)
	require.NoError(t, err)
	require.True(t, passed)

	for _, point := range []struct{ input, frequency string }{{"B", "1.2 GHz"}, {"3", "17.999999 GHz"}} {
		require.NoError(t, c.SelectInput(ctx, point.input))
		gate, err := c.SetGate(ctx, gate10ms)
		require.NoError(t, err)
		require.Zero(t, gate.Cmp(gate10ms))
		f, err := g.SetFrequency(ctx, hz(point.frequency))
		require.NoError(t, err)
		require.Zero(t, f.Cmp(hz(point.frequency)))
		_, err = g.SetLevel(ctx, level)
		require.NoError(t, err)
		require.NoError(t, g.RFOn(ctx))
		locked, err := g.(drivers.LockReporter).Locked(ctx)
		require.NoError(t, err)
		require.True(t, locked)
		r, err := c.Read(ctx)
		require.NoError(t, err)
		require.Equal(t, drivers.None, r.Mark, "%s at input %s: %q", point.frequency, point.input, r.Text)
		// The unit's timebase and one count: 2 ppm and 3.2 kHz are ample.
		require.InEpsilon(t, hz(point.frequency).Float(), r.Frequency.Float(), 5e-6)
		require.NoError(t, g.RFOff(ctx))
		r, err = c.Read(ctx)
		require.NoError(t, err)
		require.Equal(t, drivers.NoSignal, r.Mark, "RF is off; %q", r.Text)
	}
	_, err = g.SetLevel(ctx, quantity.MustLevel("0.1 dBm"))
	require.ErrorIs(t, err, drivers.ErrInterlock)
	_, err = g.SetFrequency(ctx, hz("19 GHz")) // beyond its range
	require.ErrorIs(t, err, drivers.ErrInstrument)
	require.ErrorContains(t, err, "Data out of range")
	entries, err := g.(drivers.ErrorQueue).Errors(ctx)
	require.NoError(t, err)
	require.Empty(t, entries, "the refusal was taken from the queue")
	require.NoError(t, g.Close())
	require.NoError(t, c.Close())
	require.Empty(t, b.Events(), "nothing was damaged, no cable moved under power")
}

func TestSourceThatDoesNotLockSaysSo(t *testing.T) {
	b := newBench(t)
	p := get(t, "scpi-source")
	g, err := p.OpenSource(t.Context(), b.opening(t, "MW", p))
	require.NoError(t, err)
	b.fault(t, "source-unlock:instrument=MW,from=1 GHz")
	_, err = g.SetFrequency(t.Context(), hz("2 GHz"))
	require.NoError(t, err)
	locked, err := g.(drivers.LockReporter).Locked(t.Context())
	require.NoError(t, err)
	require.False(t, locked)
}

// Whatever goes wrong on the line, a reading is never one that belongs to
// something else: the signal is moved before each, so a stale one shows.
func TestNoFaultOfTheLinkMakesAWrongReading(t *testing.T) {
	for _, row := range []struct {
		name, fault string
		comes       bool // readings come all the same
	}{
		{"late reading", "late:instrument=counter,reply=READ,amount=400 ms", false},
		{"late reading, now and then", "late:instrument=counter,reply=READ,amount=400 ms,probability=50 %", false},
		{"late everything, now and then", "late:instrument=counter,amount=400 ms,probability=20 %", false},
		{"silent reading", "silent:instrument=counter,reply=READ", false},
		{"silent now and then", "silent:instrument=counter,probability=20 %", false},
		{"garbage", "garbage:instrument=counter,probability=30 %", false},
		{"extra lines", "extra-line:instrument=counter", true},
		{"extra line after readings", "extra-line:instrument=counter,reply=READ", true},
		{"split replies", "split-reply:instrument=counter,amount=20 ms", true},
		{"line ends", "crlf:instrument=counter", true},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel() // they mostly wait
			b := newBench(t)
			ctx := t.Context()
			p := quick(t)
			if row.comes { // however busy the machine is
				p = get(t, "scpi-counter")
			}
			c, err := p.OpenCounter(ctx, b.opening(t, "counter", p))
			require.NoError(t, err)
			g, err := get(t, "scpi-source").OpenSource(ctx, b.opening(t, "LF", get(t, "scpi-source")))
			require.NoError(t, err)
			require.NoError(t, c.SelectInput(ctx, "A"))
			_, err = c.SetGate(ctx, gate10ms)
			require.NoError(t, err)
			_, err = g.SetLevel(ctx, level)
			require.NoError(t, err)
			require.NoError(t, g.RFOn(ctx))
			b.fault(t, row.fault)
			came := 0
			for i := range 6 {
				f := hz("10 MHz").Add(hz("1 MHz").Scale(int64(i), 0))
				_, err := g.SetFrequency(ctx, f)
				require.NoError(t, err)
				r, err := c.Read(ctx)
				if err != nil || r.Mark == drivers.NoReply {
					t.Logf("no reading: %v", err)
					continue
				}
				require.Equal(t, drivers.None, r.Mark, "%q", r.Text)
				require.InEpsilon(t, f.Float(), r.Frequency.Float(), 1e-4, "reading %d is %q", i, r.Text)
				came++
			}
			if row.comes {
				require.Equal(t, 6, came)
			}
			b.fault(t, "")
			begin := time.Now()
			require.NoError(t, c.Recover(ctx))
			require.Less(t, time.Since(begin), 5*time.Second)
			_, err = g.SetFrequency(ctx, hz("33 MHz"))
			require.NoError(t, err)
			r, err := c.Read(ctx)
			require.NoError(t, err)
			require.InEpsilon(t, 33e6, r.Frequency.Float(), 1e-4, "%q", r.Text)
		})
	}
}

func TestUnitThatNeverEndsAMeasurementIsNoLinkError(t *testing.T) {
	b := newBench(t)
	p := quick(t)
	c, err := p.OpenCounter(t.Context(), b.opening(t, "counter", p))
	require.NoError(t, err)
	_, err = c.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	b.fault(t, "silent:instrument=counter,reply=READ")
	r, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, drivers.NoReply, r.Mark)
	b.fault(t, "silent:instrument=counter")
	_, err = c.Read(t.Context())
	require.ErrorIs(t, err, link.ErrTimeout, "a counter that does not answer at all is a link error")
}

//go:build linux

package profiles_test

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/profile"
	"bandproof/drivers/profiles"
	"bandproof/drivers/virtual"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// oldBench is the default bench with other dialects, on a fast clock.
func oldBench(t *testing.T, edit func(*virtual.Scenario)) *virtual.Bench {
	t.Helper()
	s, err := virtual.DefaultScenario()
	require.NoError(t, err)
	s.Follow = true
	edit(&s)
	clock, err := virtual.NewScaledClock(100)
	require.NoError(t, err)
	b, err := virtual.New(s, virtual.Options{Clock: clock})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return b
}

// way is how an instrument of the bench is reached.
type way func(t *testing.T, b *virtual.Bench, instrument string) link.Config

func background(t *testing.T, serve func(ctx context.Context) error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- serve(ctx) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-done)
	})
}

func overSocket(t *testing.T, b *virtual.Bench, instrument string) link.Config {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	background(t, func(ctx context.Context) error { return b.ServeListener(ctx, instrument, l) })
	return link.Config{Address: fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", l.Addr().(*net.TCPAddr).Port)}
}

func overTerminal(t *testing.T, b *virtual.Bench, instrument string) link.Config {
	p, err := virtual.OpenPTY(filepath.Join(t.TempDir(), instrument))
	require.NoError(t, err)
	background(t, func(ctx context.Context) error { return b.ServePort(ctx, instrument, p) })
	return link.Config{Address: "ASRL" + p.Link() + "::INSTR"}
}

func overAdapter(t *testing.T, b *virtual.Bench, instrument string) link.Config {
	bus, err := b.Bus(map[virtual.BusAddress]string{{Primary: 9, Secondary: -1}: instrument})
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(bus.Close)
	background(t, func(ctx context.Context) error {
		return virtual.NewAdapter(bus, virtual.AdapterQuirks{}).ServeListener(ctx, l)
	})
	return link.Config{Address: "GPIB0::9::INSTR", Via: fmt.Sprintf("TCPIP0::127.0.0.1::%d::SOCKET", l.Addr().(*net.TCPAddr).Port)}
}

// shorter is a ready profile with shorter waits.
func shorter(t *testing.T, name string) *profile.Profile {
	t.Helper()
	text, err := profiles.Text(name)
	require.NoError(t, err)
	p, err := profiles.Load(name+".toml", []byte(strings.Replace(string(text), `timeout = "2 s"`, `timeout = "800 ms"`, 1)))
	require.NoError(t, err)
	return p
}

func reach(t *testing.T, b *virtual.Bench, instrument string, p *profile.Profile, w way) profile.Opening {
	t.Helper()
	log := slog.New(slog.NewTextHandler(testWriter{t}, nil))
	l, err := link.Opener{Log: log}.Open(t.Context(), p.Prefer(w(t, b, instrument)))
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	return profile.Opening{Name: instrument, Link: l, Interlock: upTo(0), Log: log,
		ByHand: func(context.Context, string) error { return nil }}
}

// reading is what a counter gave at a point.
type reading struct{ value, mark string }

// sweepSome reads the counter at a few points of each input, twice each.
func sweepSome(t *testing.T, c drivers.Counter, sources map[string]drivers.Source, inputs ...string) (list []reading) {
	t.Helper()
	ctx := t.Context()
	points := map[string]struct{ source, frequency, gate string }{
		"A": {"LF", "10.000001 MHz", "1 s"}, "B": {"MW", "1.2 GHz", "1 s"}, "C": {"MW", "17.999999 GHz", "100 ms"}}
	for _, input := range inputs {
		p := points[input]
		require.NoError(t, c.SelectInput(ctx, input))
		_, err := c.SetGate(ctx, quantity.MustParse[quantity.Second](p.gate))
		require.NoError(t, err)
		g := sources[p.source]
		_, err = g.SetFrequency(ctx, hz(p.frequency))
		require.NoError(t, err)
		_, err = g.SetLevel(ctx, level)
		require.NoError(t, err)
		require.NoError(t, g.RFOn(ctx))
		take := func(n int) {
			for i := range c.Discard() + n {
				r, err := c.Read(ctx)
				require.NoError(t, err)
				if i >= c.Discard() {
					list = append(list, reading{r.Frequency.Plain(), string(r.Mark)})
				}
			}
		}
		take(2)
		require.NoError(t, g.RFOff(ctx))
		take(1)
	}
	return list
}

func letters(s *virtual.Scenario) {
	s.Counter.Link = virtual.LinkScenario{Dialect: "letters"}
	for i := range s.Sources {
		s.Sources[i].Link = virtual.LinkScenario{Dialect: "letters"}
	}
}

func drive(t *testing.T, b *virtual.Bench, counter, source string, w way) []reading {
	t.Helper()
	p, q := shorter(t, counter), shorter(t, source)
	c, err := p.OpenCounter(t.Context(), reach(t, b, "counter", p, w))
	require.NoError(t, err)
	sources := map[string]drivers.Source{}
	for _, name := range []string{"LF", "MW"} {
		sources[name], err = q.OpenSource(t.Context(), reach(t, b, name, q, w))
		require.NoError(t, err)
	}
	list := sweepSome(t, c, sources, "A", "B", "C")
	for _, g := range sources {
		require.NoError(t, g.Close())
	}
	require.NoError(t, c.Close())
	require.Empty(t, b.Events(), "nothing was damaged, no cable moved under power")
	return list
}

// With the same seed a counter that speaks letters reads what one that speaks
// SCPI reads, on every kind of link and in every form of its readings.
func TestLettersReadWhatSCPIReads(t *testing.T) {
	t.Parallel()
	want := drive(t, oldBench(t, func(*virtual.Scenario) {}), "scpi-counter", "scpi-source", overSocket)
	require.Equal(t, string(drivers.NoSignal), want[len(want)-1].mark)
	for _, row := range []struct {
		name string
		way  way
		edit func(*virtual.Scenario)
	}{
		{"socket", overSocket, func(*virtual.Scenario) {}},
		{"pseudo-terminal, zeros suppressed", overTerminal, func(s *virtual.Scenario) { s.Counter.Link.Suppress = true }},
		{"GPIB adapter", overAdapter, func(*virtual.Scenario) {}},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel() // they mostly wait
			b := oldBench(t, func(s *virtual.Scenario) { letters(s); row.edit(s) })
			require.Equal(t, want, drive(t, b, "letters-counter", "letters-source", row.way))
		})
	}
}

// The decimal comma needs one key in a profile that inherits.
func TestLettersWithDecimalComma(t *testing.T) {
	t.Parallel()
	b := oldBench(t, func(s *virtual.Scenario) { letters(s); s.Counter.Link.Comma = true })
	text := "schema = \"bandproof profile 1\"\nname = \"comma\"\nsource = \"invented\"\ndescription = \"with a comma\"\ninherits = \"letters-counter\"\n" +
		"[link]\ntimeout = \"800 ms\"\n[read.reply]\ncomma = true\n"
	p, err := profiles.Load("comma.toml", []byte(text))
	require.NoError(t, err)
	c, err := p.OpenCounter(t.Context(), reach(t, b, "counter", p, overSocket))
	require.NoError(t, err)
	q := shorter(t, "letters-source")
	g, err := q.OpenSource(t.Context(), reach(t, b, "LF", q, overSocket))
	require.NoError(t, err)
	list := sweepSome(t, c, map[string]drivers.Source{"LF": g}, "A")
	require.Contains(t, list[0].value+list[1].value, "1000000")
	p = shorter(t, "letters-counter") // which expects a point
	c, err = p.OpenCounter(t.Context(), reach(t, b, "counter", p, overSocket))
	require.NoError(t, err)
	_, err = c.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	_, err = c.Read(t.Context())
	require.ErrorIs(t, err, drivers.ErrUnreadable)
}

// Only a link with a serial poll can tell whether an old source is locked.
func TestLettersSourceTellsItsLockByStatusByte(t *testing.T) {
	t.Parallel()
	f := virtual.Fault{Name: "source-unlock", Instrument: "MW"}
	b := oldBench(t, func(s *virtual.Scenario) { letters(s) })
	q := shorter(t, "letters-source")
	g, err := q.OpenSource(t.Context(), reach(t, b, "MW", q, overAdapter))
	require.NoError(t, err)
	_, err = g.SetFrequency(t.Context(), hz("2 GHz"))
	require.NoError(t, err)
	locked, err := g.(drivers.LockReporter).Locked(t.Context())
	require.NoError(t, err)
	require.True(t, locked)
	require.NoError(t, b.SetFaults([]virtual.Fault{f}))
	locked, err = g.(drivers.LockReporter).Locked(t.Context())
	require.NoError(t, err)
	require.False(t, locked)
	require.True(t, b.Remote("MW"))
	require.NoError(t, g.Close())
	require.False(t, b.Remote("MW"))
	s, err := q.OpenSource(t.Context(), reach(t, b, "LF", q, overSocket))
	require.NoError(t, err)
	_, tells := s.(drivers.LockReporter)
	require.False(t, tells)
}

// A counter that only talks: what is read began after the signal settled, so
// each reading is of the frequency that was set last. Unit and source run from
// one reference, so that there is no doubt of a count.
func TestTalkOnlyReadsWhatWasSet(t *testing.T) {
	t.Parallel()
	for name, w := range map[string]way{"socket": overSocket, "pseudo-terminal": overTerminal} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := oldBench(t, func(s *virtual.Scenario) {
				s.Counter.Link = virtual.LinkScenario{Dialect: "talk-only"}
				s.Counter.Reference, s.Counter.DefaultGate = "external", quantity.MustParse[quantity.Second]("1 s")
			})
			p := shorter(t, "talk-only-counter")
			c, err := p.OpenCounter(t.Context(), reach(t, b, "counter", p, w))
			require.NoError(t, err)
			q := get(t, "scpi-source")
			g, err := q.OpenSource(t.Context(), reach(t, b, "LF", q, overSocket))
			require.NoError(t, err)
			require.NoError(t, c.SelectInput(t.Context(), "A"))
			_, err = c.SetGate(t.Context(), quantity.MustParse[quantity.Second]("1 s"))
			require.NoError(t, err)
			_, err = g.SetLevel(t.Context(), level)
			require.NoError(t, err)
			require.NoError(t, g.RFOn(t.Context()))
			for i := range int64(8) {
				f := hz("10 MHz").Add(hz("1 MHz").Scale(i, 0))
				_, err := g.SetFrequency(t.Context(), f)
				require.NoError(t, err)
				for range c.Discard() {
					_, err = c.Read(t.Context())
					require.NoError(t, err)
				}
				r, err := c.Read(t.Context())
				require.NoError(t, err)
				require.InDelta(t, f.Float(), r.Frequency.Float(), 1, "%q", r.Text)
			}
		})
	}
}

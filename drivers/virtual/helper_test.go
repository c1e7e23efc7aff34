package virtual

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// client talks to one instrument over any byte link.
type client struct {
	t    *testing.T
	conn io.ReadWriteCloser
	r    *bufio.Reader
}

func newClient(t *testing.T, conn io.ReadWriteCloser) *client {
	return &client{t, conn, bufio.NewReader(conn)}
}

func (c *client) write(format string, args ...any) {
	c.t.Helper()
	_, err := fmt.Fprintf(c.conn, format+"\n", args...)
	require.NoError(c.t, err)
}

func (c *client) read() string {
	c.t.Helper()
	if d, ok := c.conn.(interface{ SetReadDeadline(time.Time) error }); ok {
		_ = d.SetReadDeadline(time.Now().Add(10 * time.Second)) // a terminal may have none
	}
	s, err := c.r.ReadString('\n')
	require.NoError(c.t, err)
	return strings.TrimSuffix(s, "\n")
}

func (c *client) ask(format string, args ...any) string {
	c.t.Helper()
	c.write(format, args...)
	return c.read()
}

// desk is a bench with a client at each instrument of the default scenario.
type desk struct {
	t    *testing.T
	b    *Bench
	unit *client
	lf   *client
	mw   *client
}

func newBench(t *testing.T, o Options, edit func(*Scenario)) *Bench {
	t.Helper()
	s, err := DefaultScenario()
	require.NoError(t, err)
	if edit != nil {
		edit(&s)
	}
	if o.Clock == nil {
		o.Clock = NewInstantClock()
	}
	b, err := New(s, o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return b
}

func newDesk(t *testing.T, o Options, edit func(*Scenario)) *desk {
	t.Helper()
	b := newBench(t, o, edit)
	d := &desk{t: t, b: b}
	d.unit, d.lf, d.mw = dial(t, b, "counter"), dial(t, b, "LF"), dial(t, b, "MW")
	return d
}

func dial(t *testing.T, b *Bench, name string) *client {
	t.Helper()
	conn, err := b.Dial(context.Background(), name)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return newClient(t, conn)
}

// set puts a source at a frequency and level with RF on, and waits.
func set(source *client, frequency, level string) {
	source.t.Helper()
	require.Equal(source.t, "1", source.ask("FREQ %s;:POW %s DBM;:OUTP ON;*OPC?", frequency, level))
}

// read takes one reading.
func (d *desk) read(channel int, gate string) string {
	d.t.Helper()
	return d.unit.ask("FUNC \"FREQ %d\";FREQ:APER %s;:READ?", channel, gate)
}

// stepClock is a clock whose sleeps end when the test says so.
type stepClock struct {
	mu    sync.Mutex
	now   time.Time
	moved chan struct{}
	slept chan struct{} // gets a value when someone begins to sleep
}

func newStepClock() *stepClock {
	return &stepClock{now: time.Unix(1e9, 0), moved: make(chan struct{}), slept: make(chan struct{}, 1000)}
}

func (c *stepClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *stepClock) advance(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
	close(c.moved)
	c.moved = make(chan struct{})
}

func (c *stepClock) Sleep(ctx context.Context, d time.Duration) error {
	until := c.Now().Add(d)
	c.slept <- struct{}{}
	for {
		c.mu.Lock()
		over, moved := !c.now.Before(until), c.moved
		c.mu.Unlock()
		if over {
			return nil
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

type hertz = quantity.Frequency

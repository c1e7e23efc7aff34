package runner_test

import (
	"bytes"
	"io"
	"math/rand/v2"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"bandproof/procedures/decision"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// echoes is a line on which each reading comes once more a little later, marked
// so that a test knows it again.
type echoes struct {
	net.Conn
	mu     sync.Mutex
	random *rand.Rand
	asked  bool // the last question was for a reading
	from   *io.PipeReader
	to     *io.PipeWriter
	queue  chan []byte
}

const mark = ".001"

func withEchoes(c net.Conn) net.Conn {
	e := &echoes{Conn: c, random: rand.New(rand.NewPCG(1, 2)), queue: make(chan []byte, 1000)}
	e.from, e.to = io.Pipe()
	var both sync.WaitGroup
	both.Go(func() { // one writer, so that lines stay whole
		for line := range e.queue {
			if _, err := e.to.Write(line); err != nil {
				return
			}
		}
	})
	go func() {
		buf := make([]byte, 4096)
		for {
			n, err := c.Read(buf)
			if err != nil {
				_ = e.to.CloseWithError(err)
				return
			}
			line := bytes.Clone(buf[:n])
			e.queue <- line
			e.mu.Lock()
			reading := e.asked
			pause := time.Duration(1+e.random.IntN(4)) * time.Millisecond
			e.mu.Unlock()
			if reading {
				echo := []byte(strings.TrimSpace(string(line)) + mark + "\n")
				time.AfterFunc(pause, func() { e.queue <- echo })
			}
		}
	}()
	return e
}

func (e *echoes) Read(p []byte) (int, error) { return e.from.Read(p) }

func (e *echoes) Write(p []byte) (int, error) {
	e.mu.Lock()
	e.asked = bytes.HasPrefix(p, []byte("READ?"))
	e.mu.Unlock()
	return e.Conn.Write(p)
}

func (e *echoes) Close() error {
	_ = e.from.Close()
	return e.Conn.Close()
}

// No echo of an earlier reading ever stands behind a verdict.
func TestStaleRepliesAreNotReadings(t *testing.T) {
	r := newRig(t, options{Wrap: func(name string, c net.Conn) net.Conn {
		if name == "counter" {
			return withEchoes(c)
		}
		return c
	}})
	result, _ := runner.Run(t.Context(), r.Setup)
	require.NotEmpty(t, result.Points)
	defer func() {
		if t.Failed() {
			for _, e := range r.Journal.Events {
				t.Log(e.Text)
			}
			for _, p := range result.Points {
				for _, x := range p.Readings {
					t.Log(p.Point.ID, x.Use, x.Text)
				}
				t.Log(p.Point.ID, p.Verdict, p.Notes)
			}
		}
	}()
	distrusted := 0
	for _, p := range result.Points {
		for _, x := range p.Readings {
			stale := strings.HasSuffix(x.Text, mark)
			if x.Use == runner.Discarded && stale {
				distrusted++
			}
			require.False(t, stale && x.Use == runner.Counted && p.Verdict.Word == decision.Pass, "point %s passes with the echo %q", p.Point.ID, x.Text)
			require.False(t, stale && x.Use == runner.Counted && p.Verdict.Bad(), "point %s fails by the echo %q", p.Point.ID, x.Text)
		}
	}
	t.Logf("%d points, %d echoes discarded", len(result.Points), distrusted)
}

package dcc

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"testing"

	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
)

// long is the fixture with so many points.
func long(t testing.TB, points int) record.Record {
	r := foundRecord(t)
	some := r.Run.Points
	r.Run.Points = nil
	for k := range points {
		p := some[k%len(some)]
		p.Point.ID = fmt.Sprintf("%s-%06d", p.Point.Input, k)
		r.Run.Points = append(r.Run.Points, p)
	}
	r.Run.Planned = points
	return r
}

// counted counts bytes.
type counted struct {
	bytes int
	each  func() // after each write; nil for nothing
	fails error
}

func (c *counted) Write(p []byte) (int, error) {
	if c.fails != nil {
		return 0, c.fails
	}
	c.bytes += len(p)
	if c.each != nil {
		c.each()
	}
	return len(p), nil
}

// What a certificate allocates grows as its points do, and no more; points do
// not pile up while they are written.
func TestCostGrowsLinearly(t *testing.T) {
	cost := func(points int) (total, peak uint64) {
		c, err := New(Options{}, long(t, points))
		require.NoError(t, err)
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		w := &watched{every: 1 << 20, base: before.HeapAlloc}
		require.NoError(t, c.Write(t.Context(), w))
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc, w.peak
	}
	small, _ := cost(500)
	large, peak := cost(4_000)
	require.Less(t, float64(large), 8.5*float64(small), "allocated for 4,000 points; %d for 500", small)
	require.Less(t, peak, uint64(8<<20), "held while 4,000 points were written")
}

// A certificate that is being written can be called off, long before its end.
func TestWritingCanBeCalledOff(t *testing.T) {
	c, err := New(Options{}, long(t, 10_000))
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	n := &counted{}
	n.each = func() {
		if n.bytes > 1<<20 {
			cancel()
		}
	}
	require.ErrorIs(t, c.Write(ctx, n), context.Canceled)
	require.Less(t, n.bytes, 2<<20)
	full := errors.New("no space left on device")
	n = &counted{fails: full}
	require.ErrorIs(t, c.Write(t.Context(), n), full)
}

// watched looks at the heap after so many bytes.
type watched struct {
	written, every int
	base, peak     uint64
}

func (w *watched) Write(p []byte) (int, error) {
	if w.written/w.every != (w.written+len(p))/w.every {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		if m.HeapAlloc > w.base {
			w.peak = max(w.peak, m.HeapAlloc-w.base)
		}
	}
	w.written += len(p)
	return len(p), nil
}

func BenchmarkWrite(b *testing.B) {
	for _, points := range []int{1_000, 10_000, 100_000} {
		c, err := New(Options{}, long(b, points))
		require.NoError(b, err)
		b.Run(fmt.Sprint(points), func(b *testing.B) {
			for b.Loop() {
				n := &counted{}
				require.NoError(b, c.Write(b.Context(), n))
				b.ReportMetric(float64(n.bytes)/1e6, "MB")
			}
		})
	}
}

package dcc

import (
	"fmt"
	"io"
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

func (c *counted) Write(p []byte) (int, error) { c.bytes += len(p); return len(p), nil }

type counted struct{ bytes int }

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
		require.NoError(t, c.Write(w))
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc, w.peak
	}
	small, _ := cost(1_000)
	large, peak := cost(8_000)
	require.Less(t, float64(large), 8.5*float64(small), "allocated for 8,000 points; %d for 1,000", small)
	require.Less(t, peak, uint64(8<<20), "held while 8,000 points were written")
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
				require.NoError(b, c.Write(io.Writer(n)))
				b.ReportMetric(float64(n.bytes)/1e6, "MB")
			}
		})
	}
}

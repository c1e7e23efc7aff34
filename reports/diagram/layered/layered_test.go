package layered

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func row(n int) Graph {
	g := Graph{Sheet: 300, Widest: 3}
	for k := range n {
		g.Boxes = append(g.Boxes, Box{Width: 20, Height: 15})
		if k > 0 {
			g.Lines = append(g.Lines, Line{From: k - 1, To: k, Net: k})
		}
	}
	return g
}

func TestRowIsStraight(t *testing.T) {
	g := row(5)
	d := Layout(g)
	check(t, g, d)
	for k, r := range d.Routes {
		require.Len(t, r, 1)
		require.Len(t, r[0], 2, "line %d bends: %v", k, r)
	}
}

func TestLongRowIsCut(t *testing.T) {
	g := row(64)
	d := Layout(g)
	check(t, g, d)
	require.NotEmpty(t, d.Tags)
	require.Less(t, d.Width, 4*d.Height, "%g by %g", d.Width, d.Height)
	in, out := map[int]int{}, map[int]int{}
	for _, tag := range d.Tags {
		if tag.Out {
			out[tag.Number]++
		} else {
			in[tag.Number]++
		}
	}
	require.Equal(t, out, in)
}

// A line that goes back passes its own box below and comes from the left.
func TestCycle(t *testing.T) {
	g := row(4)
	g.Lines = append(g.Lines, Line{From: 2, To: 1, Net: 9}, Line{From: 3, To: 0, Net: 10}, Line{From: 3, To: 1, Net: 11, Under: true})
	check(t, g, Layout(g))
}

// Two lines that change places have nowhere to run but round each other.
func TestCrossing(t *testing.T) {
	g := Graph{}
	for range 4 {
		g.Boxes = append(g.Boxes, Box{Width: 20, Height: 15})
	}
	for _, l := range [][2]int{{0, 2}, {0, 3}, {1, 2}, {1, 3}} {
		g.Lines = append(g.Lines, Line{From: l[0], To: l[1], Net: len(g.Lines)})
	}
	check(t, g, Layout(g))
}

// Whatever the graph, the drawing keeps its rules.
func TestAnyGraph(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 25).Draw(t, "boxes")
		g := Graph{}
		if rapid.Bool().Draw(t, "cut") {
			g.Sheet, g.Widest = 100, 1
		}
		for range n {
			g.Boxes = append(g.Boxes, Box{Width: 20, Height: 15, Band: float64(rapid.IntRange(0, 3).Draw(t, "band")),
				Late: rapid.Bool().Draw(t, "late"), Above: float64(rapid.SampledFrom([]int{0, 8}).Draw(t, "above")), Right: 5})
		}
		for range rapid.IntRange(0, 2*n).Draw(t, "lines") {
			l := Line{From: rapid.IntRange(0, n-1).Draw(t, "from"), To: rapid.IntRange(0, n-1).Draw(t, "to"),
				Net: rapid.IntRange(0, 2).Draw(t, "net"), Under: rapid.IntRange(0, 3).Draw(t, "under") == 0}
			if l.From != l.To {
				g.Lines = append(g.Lines, l)
			}
		}
		d := Layout(g)
		check(t, g, d)
		require.Equal(t, d, Layout(g))
	})
}

// The largest that a block model may have.
func TestLargest(t *testing.T) {
	g := Graph{Sheet: 500, Widest: 3}
	for k := range 2000 {
		g.Boxes = append(g.Boxes, Box{Width: 20, Height: 15})
		for i := 1; i <= 5 && k >= i*i; i++ {
			g.Lines = append(g.Lines, Line{From: k - i*i, To: k, Net: i, Under: i > 3})
		}
	}
	begin := time.Now()
	d := Layout(g)
	t.Logf("%d boxes, %d lines: %v, %.0f by %.0f mm", len(g.Boxes), len(g.Lines), time.Since(begin), d.Width, d.Height)
	require.Len(t, d.Boxes, 2000)
}

// check holds the rules of a drawing: boxes and tags apart, lines of horizontal
// and vertical pieces that begin and end where they should, run through nothing
// and lie on no line of another output.
func check(t require.TestingT, g Graph, d Drawing) {
	solid := append([]Rect{}, d.Boxes...)
	for _, tag := range d.Tags {
		solid = append(solid, tag.Rect)
	}
	for k, a := range solid {
		require.True(t, a.X >= -1e-6 && a.Y >= -1e-6 && a.X+a.W <= d.Width+1e-6 && a.Y+a.H <= d.Height+1e-6, "%v of %g by %g", a, d.Width, d.Height)
		for _, b := range solid[:k] {
			require.False(t, a.X < b.X+b.W && b.X < a.X+a.W && a.Y < b.Y+b.H && b.Y < a.Y+a.H, "%v on %v", a, b)
		}
	}
	var all []piece
	for k, l := range g.Lines {
		r := d.Routes[k]
		require.NotEmpty(t, r, "line %d", k)
		require.True(t, onRight(r[0][0], d.Boxes[l.From]), "line %d begins at %v, not at %v", k, r[0][0], d.Boxes[l.From])
		last := r[len(r)-1]
		end := last[len(last)-1]
		if l.Under {
			require.True(t, onBottom(end, d.Boxes[l.To]), "line %d ends at %v, not under %v", k, end, d.Boxes[l.To])
		} else {
			require.True(t, onLeft(end, d.Boxes[l.To]), "line %d ends at %v, not at %v", k, end, d.Boxes[l.To])
		}
		if len(r) == 2 {
			require.True(t, meetsTag(d, r[0][len(r[0])-1], true) && meetsTag(d, r[1][0], false), "line %d: %v", k, r)
		}
		for _, points := range r {
			for i := 1; i < len(points); i++ {
				p := piece{points[i-1], points[i], k, fmt.Sprint(l.From, " ", l.Net)}
				require.True(t, p.a.X == p.b.X || p.a.Y == p.b.Y, "line %d is slanted: %v", k, points)
				for _, b := range solid {
					require.False(t, p.through(b), "line %d runs through %v: %v", k, b, points)
				}
				all = append(all, p)
			}
		}
	}
	for k, p := range all {
		for _, o := range all[:k] {
			require.False(t, p.net != o.net && p.on(o), "line %d lies on line %d: %v, %v", p.line, o.line, p, o)
		}
	}
}

type piece struct {
	a, b Point
	line int
	net  string
}

func (p piece) through(r Rect) bool {
	const e = 1e-6
	return max(p.a.X, p.b.X) > r.X+e && min(p.a.X, p.b.X) < r.X+r.W-e && max(p.a.Y, p.b.Y) > r.Y+e && min(p.a.Y, p.b.Y) < r.Y+r.H-e
}

// on tells whether two pieces share more than a point.
func (p piece) on(o piece) bool {
	const e = 1e-6
	x := min(max(p.a.X, p.b.X), max(o.a.X, o.b.X)) - max(min(p.a.X, p.b.X), min(o.a.X, o.b.X))
	y := min(max(p.a.Y, p.b.Y), max(o.a.Y, o.b.Y)) - max(min(p.a.Y, p.b.Y), min(o.a.Y, o.b.Y))
	return x > -e && y > -e && (x > e || y > e)
}

func near1(a, b float64) bool { return math.Abs(a-b) < 1e-6 }

func onRight(p Point, r Rect) bool { return near1(p.X, r.X+r.W) && p.Y > r.Y && p.Y < r.Y+r.H }

func onLeft(p Point, r Rect) bool { return near1(p.X, r.X) && p.Y > r.Y && p.Y < r.Y+r.H }

func onBottom(p Point, r Rect) bool { return near1(p.Y, r.Y+r.H) && p.X > r.X && p.X < r.X+r.W }

func meetsTag(d Drawing, p Point, out bool) bool {
	for _, tag := range d.Tags {
		if tag.Out == out && (out && onLeft(p, tag.Rect) || !out && onRight(p, tag.Rect)) {
			return true
		}
	}
	return false
}

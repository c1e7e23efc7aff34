package layered

import (
	"math"
	"slices"
)

// place works out where everything in a strip is.
func (s *strip) place() {
	s.connect()
	s.arrange()
	s.ends()
	s.level()
	x := 0.0
	for c := range s.channels {
		most := s.tracks(c)
		room := 0.0
		if c > 0 {
			room = s.room(c - 1)
		}
		begin := x + room
		for _, g := range s.channels[c] {
			g.x = begin + trackGap*(float64(g.track)+0.5)
			g.secondX = begin + trackGap*(float64(g.secondTrack)+0.5)
		}
		switch {
		case c == len(s.columns):
			x = begin + float64(most)*trackGap
		case c > 0 || most > 0:
			x = begin + float64(most)*trackGap + beforeBox
		}
		if c < len(s.columns) {
			x = s.column(c, x)
		}
	}
}

// room is what the beginnings of lines need right of a column.
func (s *strip) room(c int) float64 {
	room := 0.0
	for _, k := range s.columns[c] {
		room = max(room, s.nodes[k].Right)
	}
	return max(room, 1)
}

// column places its nodes side by side at x, and returns where it ends.
func (s *strip) column(c int, x float64) float64 {
	width := 0.0
	for _, k := range s.columns[c] {
		width = max(width, s.nodes[k].Width)
	}
	for _, k := range s.columns[c] {
		n := &s.nodes[k]
		switch {
		case n.tag >= 0 && s.tags[n.tag].Out:
			n.x = x + n.Width/2
		case n.tag >= 0:
			n.x = x + width - n.Width/2
		default:
			n.x = x + width/2
		}
	}
	return x + width
}

// draw adds a strip below what is drawn already.
func (s *strip) draw(d *Drawing) {
	top := d.Height
	if top > 0 {
		top += stripGap
	}
	move := func(p Point) Point { return Point{p.X, p.Y + top} }
	hold := func(p Point) { d.Width, d.Height = max(d.Width, p.X), max(d.Height, p.Y) }
	for _, n := range s.nodes {
		r := Rect{n.x - n.Width/2, n.y - n.Height/2 + top, n.Width, n.Height}
		switch {
		case n.box >= 0:
			d.Boxes[n.box] = r
			hold(Point{r.X + r.W + n.Right, n.y + n.down + top})
		case n.tag >= 0:
			t := s.tags[n.tag]
			t.Rect = r
			d.Tags = append(d.Tags, t)
			hold(Point{r.X + r.W, r.Y + r.H})
		}
	}
	unders := s.unders()
	for k := range s.wires {
		w := &s.wires[k]
		points := s.route(w, unders)
		for i := range points {
			points[i] = move(points[i])
			hold(points[i])
		}
		for _, l := range w.lines {
			for len(d.Routes[l]) <= w.piece {
				d.Routes[l] = append(d.Routes[l], nil)
			}
			d.Routes[l][w.piece] = points
		}
	}
	for _, list := range s.channels {
		for _, g := range list {
			for _, p := range s.dots(g) {
				d.Dots = append(d.Dots, move(p))
			}
		}
	}
}

// unders lists the ends under each box, the uppermost first.
func (s *strip) unders() [][]float64 {
	list := make([][]float64, len(s.nodes))
	for _, channel := range s.channels {
		for _, g := range channel {
			for _, e := range g.rights {
				if e.under {
					list[e.node] = append(list[e.node], e.off)
				}
			}
		}
	}
	for k := range list {
		slices.Sort(list[k])
	}
	return list
}

// route is the corners of a wire, from one box to the other.
func (s *strip) route(w *wire, unders [][]float64) []Point {
	from := &s.nodes[w.from]
	var points []Point
	for k, h := range w.hops {
		in, out := s.height(*h.segment.end(h.inLeft, h.in)), s.height(*h.segment.end(h.outLeft, h.out))
		if k == 0 {
			points = append(points, Point{from.x + from.Width/2, in})
		}
		g := h.segment
		first, second := g.x, g.x
		if g.split {
			if !h.inLeft {
				first = g.secondX
			}
			if !h.outLeft {
				second = g.secondX
			}
		}
		if first != second {
			points = append(points, Point{first, in}, Point{first, g.middle}, Point{second, g.middle}, Point{second, out})
		} else if math.Abs(in-out) > 1e-6 {
			points = append(points, Point{first, in}, Point{first, out})
		}
	}
	to := &s.nodes[w.to]
	last := w.hops[len(w.hops)-1]
	y := s.height(*last.segment.end(last.outLeft, last.out))
	if w.under {
		x := to.x + underX(y-to.y, unders[w.to])
		return straighten(append(points, Point{x, y}, Point{x, to.y + to.Height/2}))
	}
	return straighten(append(points, Point{to.x - to.Width/2, y}))
}

// straighten leaves out points between two others on one line.
func straighten(list []Point) []Point {
	out := list[:1:1]
	for k := 1; k < len(list); k++ {
		p := list[k]
		if k+1 < len(list) {
			a, b := out[len(out)-1], list[k+1]
			if a.X == p.X && p.X == b.X && (p.Y-a.Y)*(b.Y-p.Y) >= 0 || a.Y == p.Y && p.Y == b.Y && (p.X-a.X)*(b.X-p.X) >= 0 {
				continue
			}
		}
		out = append(out, p)
	}
	return out
}

// dots are where a segment parts: where three of its pieces meet.
func (s *strip) dots(g *segment) []Point {
	var list []Point
	part := func(x float64, lefts, rights []float64) {
		low, high := slices.Min(append(slices.Clone(lefts), rights...)), slices.Max(append(slices.Clone(lefts), rights...))
		for k, y := range append(slices.Clone(lefts), rights...) {
			arms := 1
			if y > low {
				arms++
			}
			if y < high {
				arms++
			}
			if k < len(lefts) && slices.Contains(rights, y) {
				arms++
			}
			if p := (Point{x, y}); arms > 2 && !slices.Contains(list, p) {
				list = append(list, p)
			}
		}
	}
	var lefts, rights []float64
	for _, e := range g.lefts {
		lefts = append(lefts, s.height(e))
	}
	for _, e := range g.rights {
		rights = append(rights, s.height(e))
	}
	if g.split {
		part(g.x, lefts, []float64{g.middle})
		part(g.secondX, []float64{g.middle}, rights)
		return list
	}
	part(g.x, lefts, rights)
	return list
}

package sheet

import (
	"image/color"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// graphMarks draws levels, limits, lines and dots.
type graphMarks struct{ g *graph }

// dashes tell lines apart without colour; a fit is always of long dashes.
var (
	dashes    = [][]vg.Length{nil, {4, 2}, {1, 1.5}, {6, 2, 1, 2}}
	fitDashes = []vg.Length{8, 3}
	lvlDashes = []vg.Length{2, 2}
)

func (m graphMarks) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	for k, l := range m.g.Lines {
		if len(l.Points) > dotsMost {
			m.g.shade(c, l, tx, ty, k)
		}
	}
	labels := map[int]vg.Length{}
	for k, l := range m.g.Levels {
		y := ty(l.Y)
		c.StrokeLine2(thin(0.9, black, lvlDashes...), c.Min.X, y, c.Max.X, y)
		levelLabel(c, k, y, l.Name, labels)
	}
	for _, s := range m.g.thinnedSteps() {
		a, b, y := tx(s.From)-7, tx(s.To)+7, ty(s.Y)
		c.StrokeLine2(thin(1.4, black), max(a, c.Min.X), y, min(b, c.Max.X), y)
	}
	for k, l := range m.g.Lines {
		m.g.line(c, k, l, tx, ty)
	}
}

// levelLabel names a level above its line, at the right; at the left where two
// lie close together.
func levelLabel(c draw.Canvas, k int, y vg.Length, name string, taken map[int]vg.Length) {
	style := textStyle(7)
	w := min(style.Width(name), c.Max.X-c.Min.X-8)
	side := 0
	if at, ok := taken[0]; ok && at-y < 10 && y-at < 10 {
		side = 1
	}
	taken[side] = y
	x := c.Max.X - 4 - w/2
	if side == 1 {
		x = c.Min.X + 4 + w/2
	}
	up := vg.Length(6)
	if y+12 > c.Max.Y {
		up = -6
	}
	boxed(c, style, vg.Point{X: x, Y: y + up}, name, w, 8)
}

// line draws one line with its dots, or what is left of it when it has many.
func (g *graph) line(c draw.Canvas, k int, l graphLine, tx, ty func(float64) vg.Length) {
	list := thinned(l.Points)
	points := make([]vg.Point, len(list))
	for n, q := range list {
		points[n] = vg.Point{X: tx(q.X), Y: ty(q.Y)}
	}
	if style, drawn := g.styleOf(k); drawn {
		c.StrokeLines(style, c.ClipLinesXY(points)...)
	}
	if l.Fit || len(l.Points) > dotsMost {
		return
	}
	for n, q := range list {
		low := c.Min.Y
		if drawable(q.Y-q.U, g.Y.Log) {
			low = max(low, ty(q.Y-q.U))
		}
		if q.U > 0 {
			bar(c, points[n].X, low, min(ty(q.Y+q.U), c.Max.Y))
		}
		graphMarker(c, k, points[n])
	}
}

// styleOf is how line k is stroked; not at all where its dots stand alone.
func (g *graph) styleOf(k int) (draw.LineStyle, bool) {
	l := g.Lines[k]
	switch {
	case l.Fit:
		return thin(1, black, fitDashes...), true
	case l.Joined || len(l.Points) > dotsMost:
		return thin(0.6, black, dashes[k%len(dashes)]...), true
	}
	return draw.LineStyle{}, false
}

// shade is the uncertainty of a line with too many dots for bars.
func (g *graph) shade(c draw.Canvas, l graphLine, tx, ty func(float64) vg.Length, k int) {
	up, down := envelope(l.Points, g.Y.Log)
	slices.Reverse(down)
	var around []vg.Point
	for _, q := range append(up, down...) {
		around = append(around, vg.Point{X: tx(q.X), Y: ty(q.Y)})
	}
	if len(around) > 0 {
		c.FillPolygon(color.Gray{Y: uint8(min(222+8*k, 245))}, c.ClipPolygonXY(around))
	}
}

// thinned keeps the least and the largest value of each span of a long line.
func thinned(list []xyu) []xyu {
	if len(list) <= 2*spansMost {
		return list
	}
	var out []xyu
	for k := range spansMost {
		part := list[k*len(list)/spansMost : (k+1)*len(list)/spansMost]
		low, high := 0, 0
		for n := range part {
			if part[n].Y < part[low].Y {
				low = n
			}
			if part[n].Y > part[high].Y {
				high = n
			}
		}
		out = append(out, part[min(low, high)])
		if low != high {
			out = append(out, part[max(low, high)])
		}
	}
	return out
}

// graphMarker draws the sign of line k: the runs' signs first, then squares,
// a triangle and a cross.
func graphMarker(c draw.Canvas, k int, at vg.Point) {
	const r = 2.6
	square := []vg.Point{{X: at.X - r, Y: at.Y - r}, {X: at.X + r, Y: at.Y - r}, {X: at.X + r, Y: at.Y + r}, {X: at.X - r, Y: at.Y + r}}
	switch k % 6 {
	case 0:
		ring(c, at, 3.2)
	case 1:
		c.FillPolygon(black, circle(at, 1.9))
	case 2:
		c.StrokeLines(thin(0.8, black), append(square, square[0]))
	case 3:
		marker(c, 1, at)
	case 4:
		triangle := []vg.Point{{X: at.X - 3, Y: at.Y - 2.4}, {X: at.X + 3, Y: at.Y - 2.4}, {X: at.X, Y: at.Y + 3}}
		c.FillPolygon(black, triangle)
	default:
		for _, s := range []vg.Length{-r, r} {
			c.StrokeLine2(thin(0.9, black), at.X-r, at.Y-s, at.X+r, at.Y+s)
		}
	}
}

// legend names lines and limits in as many strips as they need, and returns how
// many these are; it draws only where told to.
func (g *graph) legend(dc draw.Canvas, drawn bool) (strips int) {
	const begin = 40
	x, row := dc.Min.X+begin, 0
	style := textStyle(7.5)
	entry := func(name string, sign func(at vg.Point)) {
		const width = 20
		w := width + 4 + style.Width(name)
		if x > dc.Min.X+begin && x+w > dc.Max.X {
			x, row = dc.Min.X+begin, row+1
		}
		y := dc.Max.Y - legendHeight*(vg.Length(row)+0.5)
		if drawn {
			sign(vg.Point{X: x + width/2, Y: y})
			dc.FillText(style, vg.Point{X: x + width + 4, Y: y}, name)
		}
		x += w + 14
	}
	for k, l := range g.Lines {
		entry(l.Name, func(at vg.Point) {
			if style, ok := g.styleOf(k); ok {
				dc.StrokeLine2(style, at.X-10, at.Y, at.X+10, at.Y)
			}
			if !l.Fit && len(l.Points) <= dotsMost {
				graphMarker(dc, k, at)
			}
		})
	}
	if len(g.Steps) > 0 {
		entry(g.StepsAs, func(at vg.Point) { dc.StrokeLine2(thin(1.4, black), at.X-9, at.Y, at.X+9, at.Y) })
	}
	return row + 1
}

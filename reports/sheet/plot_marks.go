package sheet

import (
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Shades: all of them grey, so that print without colour loses nothing.
var (
	black = color.Gray{}
	shade = color.Gray{Y: 222} // limit band
	faint = color.Gray{Y: 200} // grid lines
	hatch = color.Gray{Y: 140}
	white = color.Gray{Y: 255}
)

func thin(width vg.Length, c color.Color, dashes ...vg.Length) draw.LineStyle {
	return draw.LineStyle{Color: c, Width: width, Dashes: dashes}
}

// bands draws the limits: the first filled, a differing one dashed.
type bands struct{ c *chart }

func (b bands) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	for _, x := range b.c.Bands {
		var up, down []vg.Point
		for _, q := range x.Points {
			up = append(up, vg.Point{X: tx(q.X), Y: ty(q.Y)})
			down = append(down, vg.Point{X: tx(q.X), Y: ty(-q.Y)})
		}
		if x.Filled {
			round := slices.Clone(down)
			slices.Reverse(round)
			c.FillPolygon(shade, c.ClipPolygonXY(append(slices.Clone(up), round...)))
		}
		style := thin(0.6, black)
		if !x.Filled {
			style = thin(0.6, black, 3, 2)
		}
		c.StrokeLines(style, c.ClipLinesXY(up, down)...)
	}
}

// gridLines marks the labelled ticks and zero.
type gridLines struct{}

func (gridLines) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		style := thin(0.3, faint)
		if t.Value == 0 {
			style = thin(0.5, black)
		}
		c.StrokeLine2(style, c.Min.X, ty(t.Value), c.Max.X, ty(t.Value))
	}
	for _, t := range p.X.Tick.Marker.Ticks(p.X.Min, p.X.Max) {
		if t.Label != "" {
			c.StrokeLine2(thin(0.3, faint), tx(t.Value), c.Min.Y, tx(t.Value), c.Max.Y)
		}
	}
	c.StrokeLines(thin(0.5, black), []vg.Point{{X: c.Min.X, Y: c.Min.Y}, {X: c.Max.X, Y: c.Min.Y}, c.Max, {X: c.Min.X, Y: c.Max.Y}, c.Min})
}

// gaps hatches what was not shown and says so.
type gaps struct{ c *chart }

func (g gaps) Plot(c draw.Canvas, p *plot.Plot) {
	tx, _ := p.Transforms(&c)
	for _, x := range g.c.Gaps {
		a, b := max(tx(x.From), c.Min.X), min(tx(x.To), c.Max.X)
		if b-a < 2 { // a single point: a thin strip
			a, b = a-1, b+1
		}
		hatched(c, a, b)
		gapLabel(c, a, b, x.Label, g.c.NotShown)
	}
}

// hatched fills the full height between a and b with lines at 45°.
func hatched(c draw.Canvas, a, b vg.Length) {
	c.FillPolygon(white, []vg.Point{{X: a, Y: c.Min.Y}, {X: b, Y: c.Min.Y}, {X: b, Y: c.Max.Y}, {X: a, Y: c.Max.Y}})
	height := c.Max.Y - c.Min.Y
	for x := a - height; x < b; x += 5 {
		from, to := max(x, a), min(x+height, b)
		if from < to {
			c.StrokeLine2(thin(0.4, hatch), from, c.Min.Y+from-x, to, c.Min.Y+to-x)
		}
	}
	for _, x := range []vg.Length{a, b} {
		c.StrokeLine2(thin(0.5, hatch), x, c.Min.Y, x, c.Max.Y)
	}
}

// gapLabel stands in the stretch, upright where it is narrow; a reason too long
// for the plot is left to the list on the first page.
func gapLabel(c draw.Canvas, a, b vg.Length, label, short string) {
	style := textStyle(7)
	for _, l := range []string{label, short} {
		w := style.Width(l)
		if w+8 < b-a {
			boxed(c, style, vg.Point{X: (a + b) / 2, Y: c.Min.Y + 0.8*(c.Max.Y-c.Min.Y)}, l, w, 9)
			return
		}
		if w+8 < c.Max.Y-c.Min.Y && b-a > 11 {
			style.Rotation = math.Pi / 2
			boxed(c, style, vg.Point{X: (a + b) / 2, Y: (c.Min.Y + c.Max.Y) / 2}, l, 9, w)
			return
		}
	}
}

// boxed writes text on a white ground, centred.
func boxed(c draw.Canvas, style text.Style, at vg.Point, s string, w, h vg.Length) {
	w, h = w/2+2, h/2+1
	c.FillPolygon(white, []vg.Point{{X: at.X - w, Y: at.Y - h}, {X: at.X + w, Y: at.Y - h}, {X: at.X + w, Y: at.Y + h}, {X: at.X - w, Y: at.Y + h}})
	style.XAlign, style.YAlign = draw.XCenter, draw.YCenter
	c.FillText(style, at, s)
}

func textStyle(size vg.Length) text.Style {
	return text.Style{Color: black, Font: plotFace(size), Handler: plot.DefaultTextHandler, XAlign: draw.XLeft, YAlign: draw.YCenter}
}

// marks draws the points of every run.
type marks struct {
	c *chart
	y symlog
}

func (m marks) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	var labels []edgeLabel
	for _, s := range m.c.Series {
		for _, d := range s.Points {
			x := tx(d.X)
			switch {
			case !d.Valued:
				sign(c, d.Mark, vg.Point{X: x, Y: c.Min.Y})
			case math.Abs(d.Y) > m.y.Top:
				up := d.Y > 0
				arrow(c, s.Marker, x, up)
				labels = append(labels, edgeLabel{x, up, m.c.significant(d.Y, 3) + "\u202fppm"})
			default:
				bar(c, x, ty(max(d.Y-d.U, -m.y.Top)), ty(min(d.Y+d.U, m.y.Top)))
				marker(c, s.Marker, vg.Point{X: x, Y: ty(d.Y)})
			}
		}
	}
	edgeLabels(c, labels)
}

// sign stands on the axis for a point without a value.
func sign(c draw.Canvas, m mark, at vg.Point) {
	if m == notJudged {
		style := textStyle(9)
		boxed(c, style, vg.Point{X: at.X, Y: at.Y + 7}, "?", 4, 8)
		return
	}
	const r = 3
	for _, k := range []vg.Length{-r, r} {
		c.StrokeLine2(thin(1.2, black), at.X-r, at.Y-k, at.X+r, at.Y+k)
	}
}

// bar is the expanded uncertainty, where it is longer than the marker.
func bar(c draw.Canvas, x, low, high vg.Length) {
	if high-low < 7 {
		return
	}
	c.StrokeLine2(thin(0.6, black), x, low, x, high)
	for _, y := range []vg.Length{low, high} {
		c.StrokeLine2(thin(0.6, black), x-2, y, x+2, y)
	}
}

// marker draws a run's sign: hollow ones larger, so that a filled one on the
// same place is seen inside.
func marker(c draw.Canvas, kind int, at vg.Point) {
	switch kind {
	case 0:
		ring(c, at, 3.2)
	case 1:
		const r = 3.4
		diamond := []vg.Point{{X: at.X - r, Y: at.Y}, {X: at.X, Y: at.Y + r}, {X: at.X + r, Y: at.Y}, {X: at.X, Y: at.Y - r}}
		c.StrokeLines(thin(0.8, black), append(diamond, diamond[0]))
	default:
		c.FillPolygon(black, circle(at, 1.7))
	}
}

func ring(c draw.Canvas, at vg.Point, r vg.Length) {
	points := circle(at, r)
	c.StrokeLines(thin(0.8, black), append(points, points[0]))
}

func circle(at vg.Point, r vg.Length) []vg.Point {
	points := make([]vg.Point, 24)
	for k := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / 24)
		points[k] = vg.Point{X: at.X + r*vg.Length(cos), Y: at.Y + r*vg.Length(sin)}
	}
	return points
}

// arrow at the edge: hollow or filled like the run's marker.
func arrow(c draw.Canvas, kind int, x vg.Length, up bool) {
	tip, base := c.Max.Y-1, c.Max.Y-8
	if !up {
		tip, base = c.Min.Y+1, c.Min.Y+8
	}
	points := []vg.Point{{X: x - 3, Y: base}, {X: x, Y: tip}, {X: x + 3, Y: base}}
	if kind == 2 {
		c.FillPolygon(black, points)
		return
	}
	c.StrokeLines(thin(0.8, black), append(points, points[0]))
}

type edgeLabel struct {
	x    vg.Length
	up   bool
	text string
}

// edgeLabels writes the values of arrows upright beside them; one that finds no
// room is left to the table.
func edgeLabels(c draw.Canvas, list []edgeLabel) {
	slices.SortStableFunc(list, func(a, b edgeLabel) int { return int(math.Copysign(1, float64(a.x-b.x))) })
	style := textStyle(6.5)
	style.Rotation = math.Pi / 2
	free := map[bool]vg.Length{}
	for _, l := range list {
		if at, taken := free[l.up]; taken && l.x < at {
			continue
		}
		free[l.up] = l.x + 9
		w := textStyle(6.5).Width(l.text)
		y := c.Max.Y - 11 - w/2
		if !l.up {
			y = c.Min.Y + 11 + w/2
		}
		boxed(c, style, vg.Point{X: l.x, Y: y}, l.text, 7, w)
	}
}

// legend is one strip: the runs' markers, the limits, the signs in use.
func (c *chart) legend(dc draw.Canvas) {
	x, y := dc.Min.X+40, (dc.Min.Y+dc.Max.Y)/2
	style := textStyle(7.5)
	entry := func(width vg.Length, name string, draw func(at vg.Point)) {
		draw(vg.Point{X: x + width/2, Y: y})
		dc.FillText(style, vg.Point{X: x + width + 4, Y: y}, name)
		x += width + 4 + style.Width(name) + 16
	}
	for _, s := range c.Series {
		entry(8, s.Name, func(at vg.Point) { marker(dc, s.Marker, at) })
	}
	for _, b := range c.Bands {
		entry(18, b.Name, func(at vg.Point) { legendBand(dc, at, b.Filled) })
	}
	outside, none, unjudged := c.signs()
	if none {
		entry(8, c.NoValue, func(at vg.Point) { sign(dc, failed, at) })
	}
	if unjudged {
		entry(8, c.NotJudged, func(at vg.Point) { sign(dc, notJudged, vg.Point{X: at.X, Y: at.Y - 7}) })
	}
	if outside {
		entry(8, c.Outside, func(at vg.Point) {
			legendArrow(dc, at)
		})
	}
}

// legendArrow draws the legend's arrow.
func legendArrow(dc draw.Canvas, at vg.Point) {
	dc.StrokeLines(thin(0.8, black), []vg.Point{{X: at.X - 3, Y: at.Y - 3}, {X: at.X, Y: at.Y + 4}, {X: at.X + 3, Y: at.Y - 3}, {X: at.X - 3, Y: at.Y - 3}})
}

func legendBand(dc draw.Canvas, at vg.Point, filled bool) {
	a, b := vg.Point{X: at.X - 9, Y: at.Y - 4}, vg.Point{X: at.X + 9, Y: at.Y + 4}
	style := thin(0.6, black, 3, 2)
	if filled {
		dc.FillPolygon(shade, []vg.Point{a, {X: b.X, Y: a.Y}, b, {X: a.X, Y: b.Y}})
		style = thin(0.6, black)
	}
	dc.StrokeLine2(style, a.X, a.Y, b.X, a.Y)
	dc.StrokeLine2(style, a.X, b.Y, b.X, b.Y)
}

// signs tells which signs beside the markers the chart needs.
func (c *chart) signs() (outside, none, unjudged bool) {
	top := c.yScale().Top
	for _, s := range c.Series {
		for _, d := range s.Points {
			outside = outside || d.Valued && math.Abs(d.Y) > top
			none = none || !d.Valued && d.Mark != notJudged
			unjudged = unjudged || !d.Valued && d.Mark == notJudged
		}
	}
	return outside, none, unjudged
}

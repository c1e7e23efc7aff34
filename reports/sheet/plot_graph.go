package sheet

import (
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Of a line with more dots than dotsMost only the course is drawn, of one with
// more than spansMost values the least and the largest of each span.
const (
	dotsMost  = 60
	spansMost = 500
)

// plot draws the graph: legend strip, axes, lines.
func (g *graph) plot(dc draw.Canvas) {
	p := plot.New()
	p.BackgroundColor = nil
	x, y := g.ranges()
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = x.low, x.high, y.low, y.high
	for _, a := range []struct {
		axis *plot.Axis
		of   graphAxis
		span span
	}{{&p.X, g.X, x}, {&p.Y, g.Y, y}} {
		a.axis.Label.Text = a.of.Title
		a.axis.Label.TextStyle.Font, a.axis.Tick.Label.Font = plotFace(8), plotFace(7)
		a.axis.LineStyle.Width, a.axis.Tick.LineStyle.Width = 0.5, 0.5
		a.axis.Tick.Length, a.axis.Padding = 4, 0
		if a.of.Log {
			a.axis.Scale = plot.LogScale{}
		}
		a.axis.Tick.Marker = plot.ConstantTicks(a.of.ticks(g.words, a.span))
	}
	strip := legendHeight * vg.Length(g.legend(dc, false))
	p.Add(gridLines{}, graphMarks{g})
	p.Draw(draw.Crop(dc, 0, 0, 0, -strip))
	g.legend(dc, true)
}

// span is what an axis shows.
type span struct{ low, high float64 }

func (s *span) hold(v float64) { s.low, s.high = min(s.low, v), max(s.high, v) }

// ranges are as wide as the data with their uncertainties need, and a little
// wider. A bar that is far longer than the data differ does not widen the axis.
func (g *graph) ranges() (x, y span) {
	x, y = span{math.Inf(1), math.Inf(-1)}, span{math.Inf(1), math.Inf(-1)}
	if g.X.From < g.X.To && drawable(g.X.From, g.X.Log) && drawable(g.X.To, g.X.Log) {
		x.hold(g.X.From)
		x.hold(g.X.To)
	}
	for _, l := range g.Lines {
		for _, p := range l.Points {
			x.hold(p.X)
			y.hold(p.Y)
		}
	}
	for _, l := range g.Levels {
		y.hold(l.Y)
	}
	for _, s := range g.Steps {
		x.hold(s.From)
		x.hold(s.To)
		y.hold(s.Y)
	}
	bars := y
	for _, l := range g.Lines {
		for _, p := range l.Points {
			if drawable(p.Y-p.U, g.Y.Log) {
				bars.hold(p.Y - p.U)
			}
			bars.hold(p.Y + p.U)
		}
	}
	if room := 4 * max(y.high-y.low, 1e-300); g.Y.Log || bars.high-bars.low < room || y.low == y.high {
		y = bars
	}
	return x.padded(g.X.Log, 0.02), y.padded(g.Y.Log, 0.08)
}

func (s span) padded(log bool, by float64) span {
	switch {
	case s.low > s.high:
		return span{1, 10}
	case log && s.low == s.high:
		return span{s.low / 2, s.high * 2}
	case log:
		f := math.Pow(s.high/s.low, by)
		return span{s.low / f, s.high * f}
	case s.low == s.high:
		d := max(math.Abs(s.low)*0.1, 1e-12)
		return span{s.low - d, s.high + d}
	}
	d := (s.high - s.low) * by
	return span{s.low - d, s.high + d}
}

// ticks of an axis over a span.
func (a graphAxis) ticks(w *words, s span) []plot.Tick {
	switch {
	case a.Frequency:
		return (&chart{words: w, From: a.From, To: a.To}).frequencyTicks()
	case a.Log:
		return w.decades(s)
	}
	step := niceStep((s.high - s.low) / 6)
	var list []plot.Tick
	for k := math.Ceil(s.low / step); k*step <= s.high && len(list) < 50; k++ {
		list = append(list, plot.Tick{Value: k * step, Label: w.signedTick(k * step)})
	}
	return list
}

func (w *words) signedTick(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v < 0:
		return "\u2212" + w.tick(-v)
	}
	return w.tick(v)
}

// decades are the ticks of a logarithmic axis: powers of ten, over few of them
// also 2 and 5, with minor ticks where there is room.
func (w *words) decades(s span) []plot.Tick {
	from, to := int(math.Floor(math.Log10(s.low))), int(math.Ceil(math.Log10(s.high)))
	every := (to-from)/8 + 1
	var list []plot.Tick
	for e := from; e <= to; e++ {
		for m := 1; m < 10; m++ {
			v := float64(m) * math.Pow10(e)
			if v < s.low || v > s.high || every > 1 && m > 1 {
				continue
			}
			t := plot.Tick{Value: v}
			if m == 1 && (e-from)%every == 0 || to-from <= 2 && (m == 2 || m == 5) {
				t.Label = w.powerTick(m, e)
			}
			list = append(list, t)
		}
	}
	return list
}

// powerTick writes m·10^e; powers near one as plain numbers.
func (w *words) powerTick(m, e int) string {
	if e >= -3 && e <= 5 {
		return w.tick(float64(m) * math.Pow10(e))
	}
	if e < 0 {
		return strconv.Itoa(m) + "e\u2212" + strconv.Itoa(-e)
	}
	return strconv.Itoa(m) + "e" + strconv.Itoa(e)
}

package sheet

import (
	"math"
	"slices"

	"bandproof/procedures/quantity"

	"golang.org/x/image/font"
	"gonum.org/v1/plot"
	plotfont "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// legendHeight is the strip above the plot.
const legendHeight = 14 * vg.Length(1)

// plotFace names the sheet's own typeface for axis titles and ticks.
func plotFace(size vg.Length) plotfont.Font {
	return plotfont.Font{Typeface: "Liberation", Variant: "Sans", Weight: font.WeightNormal, Size: size}
}

// plot draws the chart on a canvas of any kind: legend strip, axes, marks.
func (c *chart) plot(dc draw.Canvas) {
	p := plot.New()
	p.BackgroundColor = nil
	y := c.yScale()
	p.X.Min, p.X.Max = c.From, c.To
	pad := math.Pow(c.To/c.From, 0.02)
	p.X.Min, p.X.Max = c.From/pad, c.To*pad
	p.X.Scale = plot.LogScale{}
	p.X.Tick.Marker = plot.ConstantTicks(c.frequencyTicks())
	p.Y.Min, p.Y.Max = -y.Top, y.Top
	p.Y.Scale = y
	p.Y.Tick.Marker = plot.ConstantTicks(y.ticks(c.words))
	p.X.Label.Text, p.Y.Label.Text = c.X, c.Y
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font = plotFace(8)
		a.Tick.Label.Font = plotFace(7)
		a.LineStyle.Width, a.Tick.LineStyle.Width = 0.5, 0.5
		a.Tick.Length = 4
		a.Padding = 0
	}
	p.Add(bands{c}, gridLines{}, gaps{c}, marks{c, y})
	p.Draw(draw.Crop(dc, 0, 0, 0, -legendHeight))
	c.legend(draw.Crop(dc, 0, 0, dc.Max.Y-dc.Min.Y-legendHeight, 0))
}

// symlog is a scale of relative error: linear about zero, logarithmic far out,
// so that a limit of 1 ppm and one of 10 000 ppm can both be read. With Linear
// infinite it is plainly linear.
type symlog struct{ Linear, Top float64 }

// Normalize implements plot.Normalizer.
func (s symlog) Normalize(low, high, x float64) float64 {
	a, b := s.at(low), s.at(high)
	return (s.at(x) - a) / (b - a)
}

func (s symlog) at(x float64) float64 {
	if math.IsInf(s.Linear, 0) {
		return x
	}
	return math.Asinh(x / s.Linear)
}

// yScale keeps the limits readable however far off a point lies: it reaches a
// few times the limit, further only as points not much beyond need it.
func (c *chart) yScale() symlog {
	low, high := math.Inf(1), 0.0
	for _, b := range c.Bands {
		for _, p := range b.Points {
			low, high = min(low, p.Y), max(high, p.Y)
		}
	}
	var values []float64
	for _, s := range c.Series {
		for _, d := range s.Points {
			if d.Valued {
				values = append(values, math.Abs(d.Y))
			}
		}
	}
	slices.Sort(values)
	if high == 0 || math.IsInf(high, 0) {
		low, high = 1, 1
		if n := len(values); n > 0 && values[n/2] > 0 {
			low, high = values[n/2], values[n/2]
		}
	}
	s := symlog{Linear: math.Inf(1), Top: 1.5 * high}
	reach := 3 * high
	if high/low > 8 {
		s.Linear, s.Top, reach = low/4, 4*high, 40*high
	}
	for _, v := range values {
		if v <= reach {
			s.Top = max(s.Top, 1.25*v)
		}
	}
	return s
}

// ticks of relative error: about five a side, the same below zero.
func (s symlog) ticks(w *words) []plot.Tick {
	list := []plot.Tick{{Value: 0, Label: "0"}}
	add := func(v float64) {
		label := w.significant(v, 1)
		list = append(list, plot.Tick{Value: v, Label: label}, plot.Tick{Value: -v, Label: "\u2212" + label})
	}
	if math.IsInf(s.Linear, 0) {
		step := niceStep(s.Top / 4)
		for k := 1; float64(k)*step <= s.Top && k < 50; k++ {
			v := float64(k) * step
			list = append(list, plot.Tick{Value: v, Label: w.tick(v)}, plot.Tick{Value: -v, Label: "\u2212" + w.tick(v)})
		}
		return list
	}
	first := math.Ceil(math.Log10(s.Linear * 1.5))
	decades := math.Floor(math.Log10(s.Top)) - first
	step := max(1, math.Ceil((decades+1)/6))
	for e := first; e <= first+decades; e += step {
		add(math.Pow(10, e))
	}
	return list
}

// tidy removes the noise of binary fractions from a tick.
func tidy(v float64) float64 {
	scale := math.Pow(10, math.Ceil(3-math.Log10(v)))
	return math.Round(v*scale) / scale
}

// niceStep is 1, 2 or 5 times a power of ten, at least x.
func niceStep(x float64) float64 {
	base := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if m*base >= x*0.999 {
			return m * base
		}
	}
	return 10 * base
}

// frequencyTicks labels both ends of the range, the edges of what was not shown
// and decades, over short ranges also 2 and 5, as far as there is room.
func (c *chart) frequencyTicks() []plot.Tick {
	from, to := c.From, c.To
	span := math.Log10(to / from)
	list := []plot.Tick{{Value: from, Label: c.engineering(from)}, {Value: to, Label: c.engineering(to)}}
	label := func(v float64, room float64) bool {
		if v <= from || v >= to || slices.ContainsFunc(list, func(t plot.Tick) bool { return t.Label != "" && math.Abs(math.Log10(v/t.Value))/span < room }) {
			return false
		}
		list = append(list, plot.Tick{Value: v, Label: c.engineering(v)})
		return true
	}
	for _, g := range c.Gaps {
		label(g.From, 0.06)
		label(g.To, 0.06)
	}
	if span > 40 { // nothing a counter counts
		return list
	}
	for _, labelled := range []func(m float64) bool{
		func(m float64) bool { return m == 1 }, func(m float64) bool { return m == 2 || m == 5 }, func(float64) bool { return true }} {
		for e := math.Floor(math.Log10(from)); e <= math.Ceil(math.Log10(to)); e++ {
			for m := 1.0; m < 10; m++ {
				v := m * math.Pow(10, e)
				if labelled(m) && (m == 1 || span < 3.5 && (m == 2 || m == 5) || span < 0.6) && label(v, 0.06) {
					continue
				}
				if labelled(1.5) && v > from && v < to { // the last round: minor ticks
					list = append(list, plot.Tick{Value: v})
				}
			}
		}
	}
	return list
}

// engineering writes a frequency to four digits with its prefix.
func (w *words) engineering(hz float64) string {
	f := quantity.Significant(hz, 4)
	if f.Sign() <= 0 {
		return ""
	}
	return w.engineeringText(f)
}

func (w *words) engineeringText(f quantity.Frequency) string {
	for _, u := range []struct {
		name string
		at   quantity.Frequency
	}{{"GHz", quantity.Of[quantity.Hertz](1, 9)}, {"MHz", quantity.Of[quantity.Hertz](1, 6)}, {"kHz", quantity.Of[quantity.Hertz](1, 3)}} {
		if f.Cmp(u.at) >= 0 {
			return w.tick(f.Float()/u.at.Float()) + "\u202f" + u.name
		}
	}
	return w.tick(f.Float()) + "\u202fHz"
}

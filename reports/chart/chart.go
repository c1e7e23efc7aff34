// Package chart draws deviations against averaging time on logarithmic axes,
// with their confidence intervals. It draws what it is given: what the numbers
// mean is the business of runner/stability, where they are written to that of
// the caller.
package chart

import (
	"errors"
	"fmt"
	"image/color"
	"io"
	"math"
	"strconv"
	"strings"

	"bandproof/runner/stability"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Formats that can be written.
var Formats = []string{"svg", "png", "pdf"}

// Chart is what is drawn.
type Chart struct {
	Title      string
	Confidence float64 // of the bars, for the caption
	Rows       []stability.Row
}

// Colours that people with the common kinds of colour blindness tell apart
// (common practice, no source); one for each deviation, with its own mark.
var colours = []color.RGBA{{0, 114, 178, 255}, {213, 94, 0, 255}, {0, 158, 115, 255}, {204, 121, 167, 255}, {86, 180, 233, 255}, {140, 100, 0, 255}, {0, 0, 0, 255}}

var marks = []draw.GlyphDrawer{draw.CircleGlyph{}, draw.SquareGlyph{}, draw.TriangleGlyph{}, draw.PlusGlyph{}, draw.RingGlyph{}, draw.BoxGlyph{}, draw.CrossGlyph{}}

// smallest and largest value that logarithmic axes are drawn for.
const smallest, largest = 1e-300, 1e300

// Write draws the chart in one of the formats.
func Write(w io.Writer, format string, c Chart) error {
	p := c.empty()
	legend := plot.NewLegend()
	legend.Top, legend.Left, legend.Padding, legend.ThumbnailWidth = true, true, 1.5*vg.Millimeter, 9*vg.Millimeter
	legend.TextStyle.Font.Variant, legend.TextStyle.Font.Size = "Sans", 10
	x, y := bounds{}, bounds{}
	for k, d := range stability.Deviations() {
		l := newLine(c.Rows, d)
		if l.Len() == 0 {
			continue
		}
		if err := l.add(p, &legend, k, d); err != nil {
			return fmt.Errorf("chart: %s: %w", d, err)
		}
		for i := range l.XYs {
			x.hold(l.XYs[i].X)
			y.hold(l.XYs[i].Y - l.YErrors[i].Low)
			y.hold(l.XYs[i].Y + l.YErrors[i].High)
		}
	}
	if x.low == 0 {
		return errors.New("chart: no deviation is above zero, and logarithmic axes show no other")
	}
	p.X.Min, p.X.Max = x.low/1.5, x.high*1.5
	p.Y.Min, p.Y.Max = decade(y.low, math.Floor), decade(y.high, math.Ceil)
	if p.Y.Min == p.Y.Max {
		p.Y.Max *= 10
	}
	out, page, err := blank(format)
	if err != nil {
		return err
	}
	p.Title.Text = encoded(p.Title.Text, format)
	area := draw.Crop(page, 0, -side, bottom, 0)
	p.Draw(area)
	// The plot would place its own label by the arithmetic middle of the axis,
	// which is near its end here.
	label := p.X.Label.TextStyle
	label.XAlign = draw.XCenter
	data := p.DataCanvas(area)
	page.FillText(label, vg.Point{X: (data.Min.X + data.Max.X) / 2, Y: page.Min.Y}, fmt.Sprintf("averaging time tau / s   (bars: %.4g %% confidence)", c.Confidence*100))
	legend.Draw(draw.Crop(page, width-2*margin-side+margin, 0, 0, -15*vg.Millimeter))
	if _, err := out.WriteTo(w); err != nil {
		return fmt.Errorf("chart: %w", err)
	}
	return nil
}

// Size of the picture; the legend has a strip of its own at the side, so that
// it covers no point.
const (
	width, height = 27 * vg.Centimeter, 16 * vg.Centimeter
	margin        = 5 * vg.Millimeter
	side          = 66 * vg.Millimeter
	bottom        = 8 * vg.Millimeter
)

// encoded is text as the format's fonts take it: PDF has one byte a letter.
func encoded(text, format string) string {
	if format != "pdf" {
		return text
	}
	out, err := encoding.ReplaceUnsupported(charmap.Windows1252.NewEncoder()).String(text)
	if err != nil {
		return strconv.QuoteToASCII(text)
	}
	return strings.ReplaceAll(out, "\x1a", "?")
}

// empty is the chart without its lines.
func (c Chart) empty() *plot.Plot {
	p := plot.New()
	p.Title.Text = c.Title
	p.Y.Label.Text = "deviation"
	p.X.Scale, p.Y.Scale = plot.LogScale{}, plot.LogScale{}
	p.X.Tick.Marker, p.Y.Tick.Marker = decades{}, decades{}
	p.Title.TextStyle.Font.Variant, p.Title.TextStyle.Font.Size, p.Title.Padding = "Sans", 13, 4*vg.Millimeter
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font.Variant, a.Tick.Label.Font.Variant = "Sans", "Sans"
		a.Label.TextStyle.Font.Size, a.Label.Padding = 11, 2*vg.Millimeter
	}
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = color.Gray{200}, color.Gray{200}
	p.Add(grid)
	return p
}

// line is the points of one deviation with the lengths of their bars.
type line struct {
	plotter.XYs
	plotter.YErrors
}

func newLine(rows []stability.Row, d stability.Deviation) *line {
	l := &line{}
	for _, r := range rows {
		if r.Deviation != d || !(r.Lower >= smallest) || !(r.Upper <= largest) || !(r.Tau >= smallest) || !(r.Tau <= largest) {
			continue
		}
		l.XYs = append(l.XYs, plotter.XY{X: r.Tau, Y: r.Value})
		l.YErrors = append(l.YErrors, struct{ Low, High float64 }{r.Value - r.Lower, r.Upper - r.Value})
	}
	return l
}

func (l *line) add(p *plot.Plot, legend *plot.Legend, k int, d stability.Deviation) error {
	colour := colours[k%len(colours)]
	path, points, err := plotter.NewLinePoints(l.XYs)
	if err != nil {
		return err
	}
	path.Color, path.Width = colour, vg.Points(1.2)
	points.Color, points.Shape, points.Radius = colour, marks[k%len(marks)], vg.Points(3.2)
	bars, err := plotter.NewYErrorBars(l)
	if err != nil {
		return err
	}
	bars.Color, bars.Width, bars.CapWidth = colour, vg.Points(0.8), vg.Points(6)
	p.Add(path, bars, points)
	name := d.Title()
	if d == stability.TDEV {
		name += " / s"
	}
	legend.Add(name, path, points)
	return nil
}

// bounds are the least and the largest value that is drawn.
type bounds struct{ low, high float64 }

func (b *bounds) hold(v float64) {
	if b.low == 0 {
		b.low, b.high = v, v
	}
	b.low, b.high = math.Min(b.low, v), math.Max(b.high, v)
}

func decade(v float64, round func(float64) float64) float64 {
	return math.Pow(10, round(math.Log10(v)))
}

// decades marks each power of ten, and between them without a label where few
// enough powers are shown.
type decades struct{}

func (decades) Ticks(low, high float64) []plot.Tick {
	first, last := int(math.Floor(math.Log10(low))), int(math.Ceil(math.Log10(high)))
	every := max(1, (last-first)/10)
	var list []plot.Tick
	for e := first; e <= last; e++ {
		v := math.Pow(10, float64(e))
		if (e-first)%every == 0 && v >= low*(1-1e-9) && v <= high*(1+1e-9) {
			list = append(list, plot.Tick{Value: v, Label: power(e)})
		}
		for k := 2.0; every == 1 && k < 10; k++ {
			if v*k >= low && v*k <= high {
				list = append(list, plot.Tick{Value: v * k})
			}
		}
	}
	return list
}

// power writes ten to the e: plainly where that is short.
func power(e int) string {
	if e >= 0 && e < 5 {
		return "1" + strings.Repeat("0", e)
	}
	if e < 0 && e > -4 {
		return "0." + strings.Repeat("0", -e-1) + "1"
	}
	return fmt.Sprintf("1e%d", e)
}

// blank is a white picture of a format, and the page within its margins.
func blank(format string) (vg.CanvasWriterTo, draw.Canvas, error) {
	out, err := draw.NewFormattedCanvas(width, height, format)
	if err != nil {
		return nil, draw.Canvas{}, fmt.Errorf("chart: format %q: %w; expected one of %s", format, err, strings.Join(Formats, ", "))
	}
	page := draw.New(out)
	page.SetColor(color.White)
	page.Fill(page.Rectangle.Path())
	return out, draw.Crop(page, margin, -margin, margin, -margin), nil
}

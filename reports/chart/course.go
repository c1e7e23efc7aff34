package chart

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"strconv"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Course is how something changed over the years, and where it is going.
type Course struct {
	Title string
	Y     string // what is drawn, with its unit
	Sets  []Set
	// Lines are what was fitted to each stretch, Ahead is what is predicted.
	Lines []Stretch
	Ahead []Band
	// Limits are horizontal lines.
	Limits []float64
	Notes  []string // below the picture, one a line
}

// Set is results of one kind.
type Set struct {
	Name string
	Dots []Dot
	Mark rune // in characters
}

// Dot is one result with its expanded uncertainty; 0: none.
type Dot struct {
	At   time.Time
	Y, U float64
}

// Stretch is a straight line from one time to another.
type Stretch struct {
	From, To time.Time
	A, B     float64
}

// Band is a prediction, Y ± Half.
type Band struct {
	At      time.Time
	Y, Half float64
}

// frame is the part of the plane that is drawn.
type frame struct{ left, right, low, high float64 }

func seconds(t time.Time) float64 { return float64(t.Unix()) }

// frame holds all results and limits; what is predicted is shown as far as it
// stays near the rest.
func (c Course) frame() (f frame, ok bool) {
	f = frame{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	hold := func(t time.Time, low, high float64) {
		f.left, f.right = math.Min(f.left, seconds(t)), math.Max(f.right, seconds(t))
		f.low, f.high = math.Min(f.low, low), math.Max(f.high, high)
	}
	for _, s := range c.Sets {
		for _, d := range s.Dots {
			hold(d.At, d.Y-d.U, d.Y+d.U)
		}
	}
	if f.left > f.right {
		return f, false
	}
	for _, y := range c.Limits {
		f.low, f.high = math.Min(f.low, y), math.Max(f.high, y)
	}
	room := f.high - f.low
	lowest, highest := f.low-room/4, f.high+room/4
	for _, b := range c.Ahead {
		hold(b.At, math.Max(b.Y-b.Half, lowest), math.Min(b.Y+b.Half, highest))
		if b.Y < lowest || b.Y > highest {
			break
		}
	}
	if f.left == f.right {
		f.left, f.right = f.left-43200, f.right+43200
	}
	if room = f.high - f.low; room == 0 {
		room = math.Max(math.Abs(f.high), 1)
	}
	f.low, f.high = f.low-room*0.06, f.high+room*0.06
	return f, true
}

// WriteCourse draws a course in one of the formats.
func WriteCourse(w io.Writer, format string, c Course) error {
	f, ok := c.frame()
	if !ok {
		return fmt.Errorf("chart: there is no result to draw")
	}
	p := c.plot(format, f)
	legend := plot.NewLegend()
	legend.Top, legend.Left, legend.Padding, legend.ThumbnailWidth = true, true, 1.5*vg.Millimeter, 9*vg.Millimeter
	legend.TextStyle.Font.Variant, legend.TextStyle.Font.Size = "Sans", 10
	if err := c.draw(p, &legend, f); err != nil {
		return fmt.Errorf("chart: %w", err)
	}
	out, page, err := blank(format)
	if err != nil {
		return err
	}
	below := vg.Length(len(c.Notes)) * 5 * vg.Millimeter
	p.Draw(draw.Crop(page, 0, -side, below+2*vg.Millimeter, 0))
	style := p.X.Label.TextStyle
	style.XAlign = draw.XLeft
	for k, n := range c.Notes {
		page.FillText(style, vg.Point{X: page.Min.X, Y: page.Min.Y + below - vg.Length(k+1)*5*vg.Millimeter}, encoded(n, format))
	}
	legend.Draw(draw.Crop(page, width-2*margin-side+margin, 0, 0, -15*vg.Millimeter))
	if _, err := out.WriteTo(w); err != nil {
		return fmt.Errorf("chart: %w", err)
	}
	return nil
}

// plot is the frame with its axes.
func (c Course) plot(format string, f frame) *plot.Plot {
	p := plot.New()
	p.Title.Text, p.Y.Label.Text = encoded(c.Title, format), encoded(c.Y, format)
	p.Title.TextStyle.Font.Variant, p.Title.TextStyle.Font.Size, p.Title.Padding = "Sans", 13, 4*vg.Millimeter
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font.Variant, a.Tick.Label.Font.Variant = "Sans", "Sans"
		a.Label.TextStyle.Font.Size, a.Label.Padding = 11, 2*vg.Millimeter
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = f.left, f.right, f.low, f.high
	room := (f.right - f.left) * 0.02
	p.X.Min, p.X.Max = f.left-room, f.right+room
	p.X.Tick.Marker, p.Y.Tick.Marker = dates{}, even{}
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = color.Gray{215}, color.Gray{215}
	p.Add(grid)
	return p
}

// draw adds prediction, limits, lines and results, in this order.
func (c Course) draw(p *plot.Plot, legend *plot.Legend, f frame) error {
	line := func(name string, colour color.Color, dashes []vg.Length, thick float64, at ...plotter.XY) error {
		l, err := plotter.NewLine(plotter.XYs(at))
		if err != nil {
			return err
		}
		l.Color, l.Dashes, l.Width = colour, dashes, vg.Points(thick)
		p.Add(l)
		if name != "" {
			legend.Add(name, l)
		}
		return nil
	}
	if len(c.Ahead) > 1 {
		if err := c.ahead(p, legend, f, line); err != nil {
			return err
		}
	}
	name := "limit"
	for _, y := range c.Limits {
		if err := line(name, color.RGBA{170, 0, 0, 255}, nil, 1.4, plotter.XY{X: p.X.Min, Y: y}, plotter.XY{X: p.X.Max, Y: y}); err != nil {
			return err
		}
		name = ""
	}
	name = "fitted drift"
	for _, s := range c.Lines {
		if err := line(name, color.Gray{90}, nil, 1, plotter.XY{X: seconds(s.From), Y: s.A}, plotter.XY{X: seconds(s.To), Y: s.B}); err != nil {
			return err
		}
		name = ""
	}
	for k, s := range c.Sets {
		if err := s.add(p, legend, k); err != nil {
			return err
		}
	}
	return nil
}

// ahead draws the prediction as far as the frame goes.
func (c Course) ahead(p *plot.Plot, legend *plot.Legend, f frame, line func(string, color.Color, []vg.Length, float64, ...plotter.XY) error) error {
	var middle, low, high, around plotter.XYs
	cut := func(y float64) float64 { return math.Max(f.low, math.Min(f.high, y)) }
	for _, b := range c.Ahead {
		x := seconds(b.At)
		if x > f.right {
			break
		}
		if b.Y >= f.low && b.Y <= f.high {
			middle = append(middle, plotter.XY{X: x, Y: b.Y})
		}
		low, high = append(low, plotter.XY{X: x, Y: cut(b.Y - b.Half)}), append(high, plotter.XY{X: x, Y: cut(b.Y + b.Half)})
	}
	around = append(around, high...)
	for k := len(low) - 1; k >= 0; k-- {
		around = append(around, low[k])
	}
	area, err := plotter.NewPolygon(around)
	if err != nil {
		return err
	}
	area.Color, area.LineStyle = color.RGBA{206, 222, 238, 255}, draw.LineStyle{Color: color.RGBA{120, 150, 185, 255}, Width: vg.Points(0.6)}
	p.Add(area)
	legend.Add("prediction interval, 95.45 %", area)
	if len(middle) < 2 {
		return nil
	}
	return line("prediction", color.RGBA{40, 80, 140, 255}, []vg.Length{vg.Points(5), vg.Points(3)}, 1.2, middle...)
}

func (s Set) add(p *plot.Plot, legend *plot.Legend, k int) error {
	if len(s.Dots) == 0 {
		return nil
	}
	var at line
	for _, d := range s.Dots {
		at.XYs = append(at.XYs, plotter.XY{X: seconds(d.At), Y: d.Y})
		at.YErrors = append(at.YErrors, struct{ Low, High float64 }{d.U, d.U})
	}
	points, err := plotter.NewScatter(at.XYs)
	if err != nil {
		return err
	}
	points.Color, points.Shape, points.Radius = colours[k%len(colours)], marks[k%len(marks)], vg.Points(3.6)
	bars, err := plotter.NewYErrorBars(&at)
	if err != nil {
		return err
	}
	bars.Color, bars.Width, bars.CapWidth = points.Color, vg.Points(0.8), vg.Points(6)
	p.Add(bars, points)
	legend.Add(s.Name, points)
	return nil
}

// dates marks years, or months where fewer than two years are shown.
type dates struct{}

func (dates) Ticks(low, high float64) []plot.Tick {
	from, to := time.Unix(int64(low), 0).UTC(), time.Unix(int64(high), 0).UTC()
	months := int(to.Sub(from).Hours()/24/30.4) + 1
	step := 1
	for _, s := range []int{1, 2, 3, 6, 12, 24, 60, 120} {
		if step = s; months/s <= 10 {
			break
		}
	}
	var list []plot.Tick
	at := time.Date(from.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	for ; !at.After(to); at = at.AddDate(0, step, 0) {
		if at.Before(from) {
			continue
		}
		label := at.Format("2006-01")
		if step >= 12 {
			label = at.Format("2006")
		}
		list = append(list, plot.Tick{Value: float64(at.Unix()), Label: label})
	}
	return list
}

// even marks multiples of 1, 2 or 5 times a power of ten.
type even struct{}

func (even) Ticks(low, high float64) []plot.Tick {
	step := math.Pow(10, math.Floor(math.Log10((high-low)/3)))
	for _, k := range []float64{5, 2} {
		if (high-low)/(step*k) >= 3 {
			step *= k
			break
		}
	}
	var list []plot.Tick
	for n := math.Ceil(low / step); n*step <= high && len(list) < 50; n++ {
		y := n*step + 0 // no minus before a zero
		list = append(list, plot.Tick{Value: y, Label: strconv.FormatFloat(y, 'g', 6, 64)})
	}
	return list
}

package sheet

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// pdfCanvas lets a plot be drawn as vectors on the current page. x, y is the
// lower left corner, from the page's top; plot coordinates go upwards. Sheared
// text and images, which no chart of ours has, are left out.
type pdfCanvas struct {
	w     *pdfWriter
	x, y  float64
	state canvasState
	stack []canvasState
}

// canvasState is what Push keeps. a…f map a point: x' = a·x + c·y + e and
// y' = b·x + d·y + f.
type canvasState struct {
	a, b, c, d, e, f float64
	set              bool // false: the identity
	width            vg.Length
	dashes           []vg.Length
	offset           vg.Length
	color            color.Color
}

func (s *canvasState) matrix() *canvasState {
	if !s.set {
		s.a, s.d, s.set = 1, 1, true
	}
	return s
}

func (c *pdfCanvas) SetLineWidth(l vg.Length) { c.state.width = l }

func (c *pdfCanvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	c.state.dashes, c.state.offset = pattern, offset
}

func (c *pdfCanvas) SetColor(k color.Color) {
	if k == nil {
		k = color.Black
	}
	c.state.color = k
}

func (c *pdfCanvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	m := c.state.matrix()
	m.a, m.b, m.c, m.d = m.a*cos+m.c*sin, m.b*cos+m.d*sin, m.c*cos-m.a*sin, m.d*cos-m.b*sin
}

func (c *pdfCanvas) Translate(p vg.Point) {
	m := c.state.matrix()
	m.e, m.f = m.a*float64(p.X)+m.c*float64(p.Y)+m.e, m.b*float64(p.X)+m.d*float64(p.Y)+m.f
}

func (c *pdfCanvas) Scale(x, y float64) {
	m := c.state.matrix()
	m.a, m.b, m.c, m.d = m.a*x, m.b*x, m.c*y, m.d*y
}

func (c *pdfCanvas) Push() { c.stack = append(c.stack, c.state) }

func (c *pdfCanvas) Pop() {
	if n := len(c.stack); n > 0 {
		c.state, c.stack = c.stack[n-1], c.stack[:n-1]
	}
}

// at maps a point to the page.
func (c *pdfCanvas) at(p vg.Point) (x, y float64) {
	m := c.state.matrix()
	px, py := float64(p.X), float64(p.Y)
	return c.x + m.a*px + m.c*py + m.e, c.y - (m.b*px + m.d*py + m.f)
}

func (c *pdfCanvas) Stroke(p vg.Path) {
	if c.state.width <= 0 || len(p) == 0 {
		return
	}
	r, g, b := rgb(c.state.color)
	pdf := c.w.pdf
	pdf.SetDrawColor(r, g, b)
	pdf.SetLineWidth(float64(c.state.width))
	dashes := make([]float64, len(c.state.dashes))
	for k, d := range c.state.dashes {
		dashes[k] = float64(d)
	}
	pdf.SetDashPattern(dashes, float64(c.state.offset))
	c.path(p)
	pdf.DrawPath("D")
}

func (c *pdfCanvas) Fill(p vg.Path) {
	if len(p) == 0 {
		return
	}
	r, g, b := rgb(c.state.color)
	c.w.pdf.SetFillColor(r, g, b)
	c.path(p)
	c.w.pdf.DrawPath("F")
}

func (c *pdfCanvas) path(p vg.Path) {
	pdf := c.w.pdf
	for _, s := range p {
		x, y := c.at(s.Pos)
		switch s.Type {
		case vg.MoveComp:
			pdf.MoveTo(x, y)
		case vg.LineComp:
			pdf.LineTo(x, y)
		case vg.ArcComp:
			// In short chords; a full circle of this size needs no more than 48.
			for k := range 49 {
				sin, cos := math.Sincos(s.Start + s.Angle*float64(k)/48)
				pdf.LineTo(c.at(vg.Point{X: s.Pos.X + s.Radius*vg.Length(cos), Y: s.Pos.Y + s.Radius*vg.Length(sin)}))
			}
		case vg.CurveComp:
			first := s.Control[0]
			second := s.Control[len(s.Control)-1]
			x1, y1 := c.at(first)
			x2, y2 := c.at(second)
			pdf.CurveBezierCubicTo(x1, y1, x2, y2, x, y)
		case vg.CloseComp:
			pdf.ClosePath()
		}
	}
}

// FillString writes in the sheet's regular font, whatever the face's weight.
func (c *pdfCanvas) FillString(f font.Face, p vg.Point, s string) {
	if f.Font.Size <= 0 || s == "" {
		return
	}
	x, y := c.at(p)
	m := c.state.matrix()
	turn := math.Atan2(m.b, m.a) * 180 / math.Pi
	s = c.w.printable(oneLine(s))
	if math.Abs(turn) < 1e-9 {
		c.w.text(x, y, s, c.w.regular, float64(f.Font.Size))
		return
	}
	// The page's font must be set outside the transformation: the library
	// believes that it outlives it.
	c.w.setFont(c.w.regular, float64(f.Font.Size))
	c.w.pdf.TransformBegin()
	c.w.pdf.TransformRotate(turn, x, y)
	c.w.text(x, y, s, c.w.regular, float64(f.Font.Size))
	c.w.pdf.TransformEnd()
}

// DrawImage implements vg.Canvas; charts have no images.
func (c *pdfCanvas) DrawImage(vg.Rectangle, image.Image) {}

func rgb(k color.Color) (r, g, b int) {
	if k == nil {
		return 0, 0, 0
	}
	x, y, z, _ := k.RGBA()
	return int(x >> 8), int(y >> 8), int(z >> 8)
}

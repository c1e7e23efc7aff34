package diagram

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"strings"

	"bandproof/reports/diagram/layered"
)

// canvas writes SVG.
type canvas struct{ b bytes.Buffer }

func (c *canvas) f(format string, args ...any) { fmt.Fprintf(&c.b, format, args...) }

// n writes a length to a hundredth of a millimetre.
func n(x float64) string {
	return strconv.FormatFloat(math.Round(x*100)/100+0, 'f', -1, 64)
}

// escape makes a text fit for XML; what XML can't hold is replaced.
func escape(text string) string {
	var b bytes.Buffer
	_ = xml.EscapeText(&b, []byte(plain(text))) // a buffer takes everything
	return b.String()
}

// title is the text of what a group shows, for those who can't see it and for
// who points at it.
func (c *canvas) title(text string) { c.f("<title>%s</title>", escape(text)) }

// Weight of a line, mm.
const thin, medium, thick = 0.2, 0.35, 1.0

type align string

const left, middle, right align = "start", "middle", "end"

func (c *canvas) text(x, y, size float64, a align, bold bool, text string) {
	attributes := ""
	if a != left {
		attributes += ` text-anchor="` + string(a) + `"`
	}
	if bold {
		attributes += ` font-weight="bold"`
	}
	c.f(`<text x="%s" y="%s" font-size="%s"%s>%s</text>`, n(x), n(y), n(size), attributes, escape(text))
}

func (c *canvas) rect(r layered.Rect, radius, weight float64, fill string) {
	round := ""
	if radius > 0 {
		round = ` rx="` + n(radius) + `"`
	}
	c.f(`<rect x="%s" y="%s" width="%s" height="%s"%s fill="%s" stroke="#000" stroke-width="%s"/>`, n(r.X), n(r.Y), n(r.W), n(r.H), round, fill, n(weight))
}

func (c *canvas) circle(x, y, r, weight float64, fill string) {
	c.f(`<circle cx="%s" cy="%s" r="%s" fill="%s" stroke="#000" stroke-width="%s"/>`, n(x), n(y), n(r), fill, n(weight))
}

// path draws SVG path data, which is in the units of the place (x, y).
func (c *canvas) path(x, y float64, data string, fill string) {
	c.f(`<path transform="translate(%s %s)" d="%s" fill="%s" stroke="#000" stroke-width="0.3" stroke-linejoin="round"/>`, n(x), n(y), data, fill)
}

// dashes by what a connection is.
func dashes(as string) string {
	switch as {
	case "oscillator":
		return "4 1 0.8 1"
	case "clock":
		return "2.4 1.2"
	case "control":
		return "0.7 0.9"
	}
	return ""
}

// line draws a line through points, with an arrow at its end.
func (c *canvas) line(points []layered.Point, as string, arrow bool) {
	if len(points) < 2 {
		return
	}
	var b strings.Builder
	for k, p := range points {
		if k > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(n(p.X) + "," + n(p.Y))
	}
	dash := ""
	if d := dashes(as); d != "" {
		dash = ` stroke-dasharray="` + d + `"`
	}
	c.f(`<polyline points="%s" fill="none" stroke="#000" stroke-width="%s"%s/>`, b.String(), n(medium), dash)
	if arrow {
		c.arrow(points[len(points)-2], points[len(points)-1], 2.2)
	}
}

// arrow is the head of one from a point to another.
func (c *canvas) arrow(from, to layered.Point, size float64) {
	length := math.Hypot(to.X-from.X, to.Y-from.Y)
	if length == 0 {
		return
	}
	dx, dy := (to.X-from.X)/length*size, (to.Y-from.Y)/length*size
	c.f(`<polygon points="%s,%s %s,%s %s,%s"/>`, n(to.X), n(to.Y), n(to.X-dx+dy*0.4), n(to.Y-dy-dx*0.4), n(to.X-dx-dy*0.4), n(to.Y-dy+dx*0.4))
}

package diagram

import (
	"fmt"
	"strings"

	"bandproof/reports/diagram/layered"
	"bandproof/runner/isolate"
)

// Sizes.
const (
	blockWidth, blockHeight = 22.0, 15.0
	inner                   = 1.2 // between border and text
	nameSize                = 2.9
	figureSize              = 3.4
	labelSize               = 2.4
	labelWidth              = 18.0
	labelBegin              = 1.0 // right of the block
	pointAt                 = 2.2 // where a test point's dot is, right of the block
	flagBegin               = 0.8
	flagHeight              = 3.4
	flagMost                = 18.0
	foundFrame              = 1.4
	nextRoom                = 8.0
	nextSize                = 3.0
	nextMost                = 34.0
	widest                  = 3.2
)

const reading = "reading"

// says is the stage in words.
func (p *picture) blockSays(b *block) string {
	text := b.Name + ", " + b.Kind
	if b.Place != "" {
		text += ", " + b.Place
	}
	switch {
	case p.o.Found == b.Name:
		text += ": found at fault"
	case p.o.Posterior == nil:
	case b.shaded:
		text += ": probability " + percent(b.probability)
	default:
		text += fmt.Sprintf(": exonerated, below %g %%", 100*Exonerated)
	}
	return text
}

func (p *picture) drawBlock(k int, r layered.Rect) {
	b, c := &p.blocks[k], &p.c
	c.f("<g>")
	c.title(p.blockSays(b))
	c.rect(r, 0, p.border(b), p.fill(b))
	if p.o.Found == b.Name {
		c.rect(layered.Rect{X: r.X - foundFrame, Y: r.Y - foundFrame, W: r.W + 2*foundFrame, H: r.H + 2*foundFrame}, 0, medium, "none")
	}
	top := r.Y + (r.H-blockHeight)/2
	c.symbol(b.Kind, r.X+inner+0.6, top+inner)
	if figure := p.figure(b); figure != "" {
		c.text(r.X+r.W-inner-0.6, top+5.4, figureSize, right, true, figure)
	}
	y := top + 10.4
	if len(b.name) == 1 {
		y += 1.2
	}
	for _, line := range b.name {
		c.text(r.X+r.W/2, y, nameSize, middle, false, line)
		y += 3.3
	}
	c.f("</g>\n")
}

// beside is what the frame of the stage that is found takes beside it.
func (p *picture) beside(b *block) float64 {
	if p.o.Found == b.Name {
		return foundFrame
	}
	return 0
}

func (p *picture) border(b *block) float64 {
	switch {
	case b.rank > 0 || p.o.Found == b.Name:
		return thick
	case p.o.Posterior != nil && !b.shaded:
		return thin
	}
	return medium
}

func (p *picture) fill(b *block) string {
	if b.shaded {
		return shade(b.probability)
	}
	return "#fff"
}

// figure is what stands in the block beside its name.
func (p *picture) figure(b *block) string {
	switch {
	case p.o.Found == b.Name:
		return "found"
	case b.shaded:
		return percent(b.probability)
	}
	return ""
}

// flagText names the test points after a stage.
func (p *picture) flagText(b *block) string {
	return shorten(strings.Join(names(b.points), ", "), labelSize, flagMost, true)
}

func names(points []isolate.TestPoint) []string {
	var list []string
	for _, t := range points {
		list = append(list, t.Name)
	}
	return list
}

// pointsSay is the test points in words.
func pointsSay(points []isolate.TestPoint) string {
	var list []string
	for _, t := range points {
		text := t.Name + ", after " + t.After + ", " + t.Access
		if t.About != "" {
			text += ": " + t.About
		}
		list = append(list, text)
	}
	return strings.Join(list, "; ")
}

func (p *picture) flagWidth(b *block) float64 {
	return width(p.flagText(b), labelSize, true) + 1.6
}

// drawPoints draws the flag of the test points after a stage, below the line that
// leaves it, and the mark of the next look above.
func (p *picture) drawPoints(k int, r layered.Rect, outs []float64) {
	b, c := &p.blocks[k], &p.c
	if len(b.points) == 0 {
		return
	}
	x, high, low := r.X+r.W+p.beside(b)+pointAt, outs[0], outs[len(outs)-1]
	fill, ink := "#fff", "#000"
	if p.looked(b) {
		fill, ink = "#000", "#fff"
	}
	c.f("<g>")
	c.title(pointsSay(b.points))
	flag := layered.Rect{X: r.X + r.W + p.beside(b) + flagBegin, Y: low + 1.5, W: p.flagWidth(b), H: flagHeight}
	c.line([]layered.Point{{X: x, Y: low}, {X: x, Y: flag.Y}}, "", false)
	c.rect(flag, 0, thin, fill)
	c.f(`<g fill="%s">`, ink)
	c.text(flag.X+flag.W/2, flag.Y+2.55, labelSize, middle, true, p.flagText(b))
	c.f("</g>")
	c.circle(x, low, 0.7, thin, "#000")
	c.f("</g>\n")
	if next := p.next(b); next != "" {
		p.drawNext(next, r, x, high)
	}
}

func (p *picture) drawNext(name string, r layered.Rect, x, y float64) {
	c := &p.c
	text := shorten("next: "+name, nextSize, nextMost, true)
	w := width(text, nextSize, true) + 2.4
	box := layered.Rect{X: x + 1.6 - w, Y: r.Y - nextRoom + 0.5, W: w, H: 5}
	c.f("<g>")
	c.title("next look: " + name)
	c.rect(box, 1, 0.6, "#fff")
	c.text(box.X+w/2, box.Y+3.6, nextSize, middle, true, text)
	c.f(`<path d="M%s,%sV%s" stroke="#000" stroke-width="0.8"/>`, n(x), n(box.Y+box.H), n(y-2.5))
	c.arrow(layered.Point{X: x, Y: y - 4}, layered.Point{X: x, Y: y - 0.6}, 3)
	c.f("</g>\n")
}

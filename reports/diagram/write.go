package diagram

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"bandproof/reports/diagram/layered"
)

// Page.
const (
	margin     = 6.0
	titleSize  = 5.0
	lineSize   = 3.2
	leastWidth = 150.0
	// A4 landscape within usual margins, and how small text may get to fit.
	paperWidth, paperHeight = 277.0, 190.0
	leastScale              = 0.55
)

// write puts the picture together.
func (p *picture) write() []byte {
	d := &p.drawing
	wide := max(leastWidth, d.Width)
	p.c.f("\n")
	y := p.header(wide)
	p.c.f(`<g transform="translate(%s %s)">`+"\n", n((wide-d.Width)/2), n(y))
	p.body()
	p.c.f("</g>\n")
	y = p.footer(p.legend(y+d.Height+8, wide), wide)
	body := p.c.b.Bytes()

	full, tall := wide+2*margin, y+2*margin
	scale := 1.0
	switch fit := min(1, paperWidth/full, paperHeight/tall); {
	case p.o.Width > 0 && !math.IsInf(p.o.Width, 0):
		scale = p.o.Width / full
	case fit >= leastScale:
		scale = fit
	}
	var out canvas
	out.f(`<?xml version="1.0" encoding="UTF-8"?>` + "\n")
	out.f(`<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="%smm" height="%smm" viewBox="%s %s %s %s" role="img" aria-labelledby="bandproof-diagram-title bandproof-diagram-desc" font-family="sans-serif">`+"\n",
		n(full*scale), n(tall*scale), n(-margin), n(-margin), n(full), n(tall))
	out.f(`<title id="bandproof-diagram-title">%s</title>`+"\n", escape(p.o.Title))
	out.f(`<desc id="bandproof-diagram-desc">%s</desc>`+"\n", escape(p.describe()))
	out.f(`<rect x="%s" y="%s" width="%s" height="%s" fill="#fff"/>`, n(-margin), n(-margin), n(full), n(tall))
	out.b.Write(body)
	out.f("</svg>\n")
	return out.b.Bytes()
}

// header writes title, unit and notice, and returns where the drawing begins.
func (p *picture) header(wide float64) float64 {
	c, room := &p.c, wide
	if p.o.Notice != "" {
		text := shorten(p.o.Notice, lineSize, wide/3, true)
		w := width(text, lineSize, true) + 4
		c.rect(layered.Rect{X: wide - w, Y: 0, W: w, H: 6.4}, 0, 0.5, "#fff")
		c.text(wide-w/2, 4.3, lineSize, middle, true, text)
		room -= w + 4
	}
	y := 0.0
	for _, line := range wrap(p.o.Title, titleSize, room, 3, true) {
		c.text(0, y+titleSize*0.85, titleSize, left, true, line)
		y += titleSize * 1.25
	}
	for _, line := range wrap(p.o.Subtitle, lineSize, room, 3, false) {
		c.text(0, y+lineSize, lineSize, left, false, line)
		y += lineSize * 1.3
	}
	c.f("\n")
	return max(y, 7) + 6
}

// body draws lines first, what stands on them after.
func (p *picture) body() {
	d, c := &p.drawing, &p.c
	outs := make([][]float64, len(p.blocks))
	for k, l := range p.lines {
		c.f("<g>")
		c.title(strings.Join(l.says, "; "))
		for _, piece := range d.Routes[k] {
			c.line(piece, l.as, true)
		}
		c.f("</g>\n")
	}
	for _, dot := range d.Dots {
		c.circle(dot.X, dot.Y, 0.6, 0.1, "#000")
	}
	for _, t := range d.Tags {
		p.drawTag(t)
	}
	labelled := make([]bool, len(p.nets))
	for k, l := range p.lines {
		start := d.Routes[k][0][0]
		if !slices.Contains(outs[l.from], start.Y) {
			outs[l.from] = append(outs[l.from], start.Y)
		}
		if net := &p.nets[l.net]; net.label != "" && !labelled[l.net] {
			labelled[l.net] = true
			c.text(start.X+p.beside(&p.blocks[l.from])+labelBegin, start.Y-1.2, labelSize, left, false, net.label)
		}
	}
	for k := range p.blocks {
		r := d.Boxes[k]
		if slices.Sort(outs[k]); len(outs[k]) == 0 {
			y := r.Y + r.H/2
			if p.model.Reading == p.blocks[k].Name || len(p.blocks[k].points) > 0 {
				c.line([]layered.Point{{X: r.X + r.W, Y: y}, {X: r.X + r.W + 6, Y: y}}, "", true)
			}
			outs[k] = []float64{y}
		}
		if p.model.Reading == p.blocks[k].Name {
			c.text(r.X+r.W+p.beside(&p.blocks[k])+labelBegin, outs[k][0]-1.2, labelSize, left, false, reading)
		}
		p.drawBlock(k, r)
	}
	for k := range p.blocks {
		p.drawPoints(k, d.Boxes[k], outs[k])
	}
}

// drawTag draws where a line goes on elsewhere.
func (p *picture) drawTag(t layered.Tag) {
	c := &p.c
	c.f("<g>")
	if t.Out {
		c.title(fmt.Sprintf("goes on at the other %d, from %s", t.Number, p.blocks[t.From].Name))
	} else {
		c.title(fmt.Sprintf("comes from the other %d, from %s", t.Number, p.blocks[t.From].Name))
	}
	c.rect(t.Rect, t.H/2, thin, "#fff")
	c.text(t.X+t.W/2, t.Y+3.45, 2.6, middle, true, strconv.Itoa(t.Number))
	c.f("</g>\n")
}

// describe is the picture in words.
func (p *picture) describe() string {
	text := fmt.Sprintf("Block diagram of %s, %s and %s.", count(len(p.blocks), "stage"), count(len(p.model.Connections), "connection"), count(len(p.model.TestPoints), "test point"))
	var likely []*block
	for k := range p.blocks {
		if p.blocks[k].rank > 0 {
			likely = append(likely, &p.blocks[k])
		}
	}
	slices.SortFunc(likely, func(a, b *block) int { return cmp.Compare(a.rank, b.rank) })
	for k, b := range likely {
		if k == 0 {
			text += " Most probably at fault:"
		} else {
			text += ","
		}
		text += " " + b.Name + " " + percent(b.probability)
	}
	if len(likely) > 0 {
		text += "."
	}
	if p.o.Found != "" {
		text += " Found at fault: " + p.o.Found + "."
	}
	if p.o.Next != nil {
		text += " Next look: " + p.o.Next.TestPoint + ", after " + p.o.Next.After + "."
	}
	return text
}

func count(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprint(n, " ", what)
}

package diagram

import (
	"slices"
	"strings"

	"bandproof/reports/diagram/layered"
)

// entry is one of the legend: what is drawn in a strip of a width, and what it means.
type entry struct {
	wide  float64
	draw  func(x, y float64) // y is the middle
	means string
}

const legendLine = 7.0

// legend explains what is in the picture, and no more; it returns where it ends.
func (p *picture) legend(y, wide float64) float64 {
	x := 0.0
	for _, e := range p.entries() {
		w := e.wide + 1.5 + width(e.means, lineSize, false)
		if x > 0 && x+w > wide {
			x, y = 0, y+legendLine
		}
		e.draw(x, y)
		p.c.text(x+e.wide+1.5, y+1.1, lineSize, left, false, e.means)
		x += w + 6
	}
	p.c.f("\n")
	return y + legendLine
}

func (p *picture) entries() []entry {
	var list []entry
	add := func(wide float64, means string, draw func(x, y float64)) {
		list = append(list, entry{wide, draw, means})
	}
	c := &p.c
	if p.o.Posterior != nil {
		add(36, "probability of being at fault", func(x, y float64) {
			for k, q := range []float64{0.01, 0.25, 0.5, 0.75, 1} {
				c.rect(layered.Rect{X: x + float64(k)*7.2, Y: y - 2.2, W: 7.2, H: 4.4}, 0, thin, shade(q))
				c.text(x+float64(k)*7.2+3.6, y+0.9, 2.2, middle, false, []string{"1 %", "25 %", "50 %", "75 %", "100 %"}[k])
			}
		})
		add(7, "the three most probable", func(x, y float64) {
			c.rect(layered.Rect{X: x + 0.5, Y: y - 1.7, W: 6, H: 3.4}, 0, thick, "#fff")
		})
		add(7, "exonerated: below 1 %", func(x, y float64) {
			c.rect(layered.Rect{X: x, Y: y - 2.2, W: 7, H: 4.4}, 0, thin, "#fff")
		})
	}
	if p.o.Found != "" {
		add(7, "found at fault", func(x, y float64) {
			c.rect(layered.Rect{X: x + 1, Y: y - 1.4, W: 5, H: 2.8}, 0, thick, "#fff")
			c.rect(layered.Rect{X: x, Y: y - 2.4, W: 7, H: 4.8}, 0, medium, "none")
		})
	}
	for _, as := range []string{"signal", "oscillator", "clock", "control"} {
		for _, l := range p.lines {
			if l.as == as {
				add(14, as, func(x, y float64) { c.line([]layered.Point{{X: x, Y: y}, {X: x + 14, Y: y}}, as, true) })
				break
			}
		}
	}
	p.pointEntries(add)
	return list
}

// pointEntries explain marks of test points and of lines that are cut.
func (p *picture) pointEntries(add func(float64, string, func(x, y float64))) {
	c := &p.c
	flag := func(fill, ink string) func(x, y float64) {
		return func(x, y float64) {
			c.rect(layered.Rect{X: x, Y: y - 1.7, W: 8, H: flagHeight}, 0, thin, fill)
			c.f(`<g fill="%s">`, ink)
			c.text(x+4, y+0.85, labelSize, middle, true, "TP")
			c.f("</g>")
		}
	}
	if len(p.model.TestPoints) > 0 {
		add(8, "test point", flag("#fff", "#000"))
	}
	if len(p.o.Looked) > 0 {
		add(8, "looked at", flag("#000", "#fff"))
	}
	if len(p.drawing.Tags) > 0 {
		add(8, "goes on at the same number", func(x, y float64) {
			c.rect(layered.Rect{X: x, Y: y - 2.2, W: 8, H: 4.4}, 2.2, thin, "#fff")
			c.text(x+4, y+0.95, 2.6, middle, true, "1")
		})
	}
}

// footer says what the names in expressions are, and where the diagram comes from.
func (p *picture) footer(y, wide float64) float64 {
	var texts []string
	var names []string
	for _, i := range p.model.Internals {
		if i.Frequency != nil {
			names = append(names, i.Name+" = "+i.Frequency.String())
		} else {
			names = append(names, i.Name+" = "+expressed(i.Expression))
		}
	}
	labels := slices.ContainsFunc(p.nets, func(n net) bool { return n.label != "" })
	if slices.ContainsFunc(p.nets, func(n net) bool { return n.label == byWay }) {
		names = append(names, byWay+": another in each way of the signal")
	}
	if labels {
		texts = append(texts, strings.Join(append([]string{"On the lines: frequencies, f is that at the input"}, names...), "; "))
	}
	if p.model.Origin != "" {
		texts = append(texts, "Diagram: "+p.model.Name+" ("+p.model.Origin+")")
	}
	for _, text := range texts {
		for _, line := range wrap(text, labelSize*1.1, wide, 4, false) {
			p.c.text(0, y, labelSize*1.1, left, false, line)
			y += 3.6
		}
	}
	p.c.f("\n")
	return y - 3
}

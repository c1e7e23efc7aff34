package diagram

import (
	"slices"
	"strconv"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/reports/diagram/layered"
	"bandproof/runner/isolate"
)

// byWay stands where the frequency differs with the way of the signal.
const byWay = "by way"

// connect joins connections that would lie on each other, and gives each output
// of a stage its lines.
func (p *picture) connect() {
	type key struct {
		from, to int
		as       string
	}
	lines, nets := map[key]int{}, map[key]int{}
	for _, c := range p.model.Connections {
		k := key{p.stage[c.From], p.stage[c.To], c.As}
		if k.as == "" {
			k.as = "signal"
		}
		out := k
		if p.model.Stages[k.from].Kind != "switch" {
			out.to = -1 // all from one output; a switch has one for each of its ways
		}
		n, known := nets[out]
		if !known {
			n = len(p.nets)
			nets[out] = n
			p.nets = append(p.nets, net{from: k.from, as: k.as})
			p.blocks[k.from].net = append(p.blocks[k.from].net, n)
		}
		if text := p.carries(c); !slices.Contains(p.nets[n].full, text) {
			p.nets[n].full = append(p.nets[n].full, text)
		}
		l, known := lines[k]
		if !known {
			l = len(p.lines)
			lines[k] = l
			p.lines = append(p.lines, line{from: k.from, to: k.to, net: n, as: k.as})
		}
		if text := p.says(c); !slices.Contains(p.lines[l].says, text) {
			p.lines[l].says = append(p.lines[l].says, text)
		}
	}
	for k := range p.nets {
		p.nets[k].label = shorten(p.nets[k].full[0], labelSize, labelWidth, false)
		if len(p.nets[k].full) > 1 {
			p.nets[k].label = byWay
		}
	}
}

// carries is the frequency on a connection as far as it is stated, short.
func (p *picture) carries(c isolate.Connection) string {
	text := strings.TrimSpace(c.Carries)
	if c.As == "control" || text == "0" {
		return ""
	}
	return expressed(text)
}

// expressed writes an expression as people do.
func expressed(text string) string {
	if x, err := strconv.ParseFloat(text, 64); err == nil && x > 0 && x < 1e15 {
		return quantity.Significant(x, 6).String()
	}
	return strings.NewReplacer(" * ", "·", "*", "·", " / ", "/", " - ", " − ").Replace(text)
}

// says is a connection in words.
func (p *picture) says(c isolate.Connection) string {
	text := c.From + " → " + c.To
	if c.As != "" && c.As != "signal" {
		text += " (" + c.As + ")"
	}
	if f := p.carries(c); f != "" {
		text += ": " + f
	}
	if c.Level != nil {
		text += ", " + c.Level[0].String() + " to " + c.Level[1].String()
	}
	if len(c.Ways) > 0 {
		text += ", in " + strings.Join(c.Ways, ", ")
	}
	return text
}

// graph is what is to be laid out.
func (p *picture) graph() layered.Graph {
	g := layered.Graph{Sheet: paperWidth / leastScale, Widest: widest}
	bands, reached := p.bands()
	for k := range p.blocks {
		b := &p.blocks[k]
		box := layered.Box{Width: blockWidth, Height: blockHeight, Band: bands[k], Late: !reached[k]}
		for _, n := range b.net {
			if p.nets[n].label != "" {
				box.Right = max(box.Right, labelBegin+width(p.nets[n].label, labelSize, false)+1)
			}
		}
		if len(b.points) > 0 {
			box.Right = max(box.Right, flagBegin+p.flagWidth(b)+1)
			box.Below = 2
		}
		if p.model.Reading == b.Name {
			box.Right = max(box.Right, labelBegin+width(reading, labelSize, false)+1)
		}
		if p.next(b) != "" {
			box.Above = nextRoom
			box.Right = max(box.Right, pointAt+2)
		}
		if box.Right > 0 {
			box.Right += p.beside(b)
		}
		g.Boxes = append(g.Boxes, box)
	}
	for _, l := range p.lines {
		g.Lines = append(g.Lines, layered.Line{From: l.from, To: l.to, Net: l.net, Under: l.as != "signal"})
	}
	return g
}

// bands says where each stage would best be from the top: a row for each input in
// the order of the model, what no input leads to below; and which stages the
// signal of some input leads to.
func (p *picture) bands() (band []float64, reached []bool) {
	leaving := make([][]int, len(p.blocks))
	for _, l := range p.lines {
		if l.as == "signal" {
			leaving[l.from] = append(leaving[l.from], l.to)
		}
	}
	band, reached = make([]float64, len(p.blocks)), make([]bool, len(p.blocks))
	count := make([]int, len(p.blocks))
	inputs := 0
	for k := range p.blocks {
		if p.blocks[k].Input == "" {
			continue
		}
		list, seen := []int{k}, make([]bool, len(p.blocks))
		seen[k] = true
		for i := 0; i < len(list); i++ {
			at := list[i]
			band[at] += float64(inputs)
			count[at]++
			for _, to := range leaving[at] {
				if !seen[to] {
					seen[to] = true
					list = append(list, to)
				}
			}
		}
		inputs++
	}
	for k := range band {
		if reached[k] = count[k] > 0 || inputs == 0; count[k] > 0 {
			band[k] /= float64(count[k])
		} else {
			band[k] = float64(inputs)
		}
	}
	return band, reached
}

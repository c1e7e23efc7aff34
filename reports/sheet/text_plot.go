package sheet

import (
	"math"
	"strings"

	"gonum.org/v1/plot"
)

// Sizes of a drawing made of characters: lines, and columns left of its axis.
const (
	textPlotRows   = 13
	textPlotLabels = 11
)

// textPlot is a drawing made of characters. Row 0 is on top.
type textPlot struct {
	cells  [][]rune
	labels []string
}

func newTextPlot(columns int) *textPlot {
	p := &textPlot{labels: make([]string, textPlotRows)}
	for range textPlotRows {
		p.cells = append(p.cells, []rune(strings.Repeat(" ", columns)))
	}
	return p
}

// column and row of a share of the width, which keeps off the axis, and of the
// height.
func (p *textPlot) column(share float64) int { return 1 + nearest(share, len(p.cells[0])-2) }
func (p *textPlot) row(share float64) int    { return nearest(1-share, len(p.cells)) }

func nearest(share float64, n int) int {
	if !(share > 0) { // NaN too
		return 0
	}
	return min(int(math.Round(share*float64(n-1))), n-1)
}

// horizontal draws a line where nothing stands, with a label at the axis.
func (p *textPlot) horizontal(row int, sign rune, label string) {
	for k := range p.cells[row] {
		if p.cells[row][k] == ' ' {
			p.cells[row][k] = sign
		}
	}
	if p.labels[row] == "" {
		p.labels[row] = label
	}
}

// bar draws from row to row where no sign stands.
func (p *textPlot) bar(column, from, to int) {
	for k := min(from, to); k <= max(from, to); k++ {
		if strings.ContainsRune(" -./", p.cells[k][column]) {
			p.cells[k][column] = '|'
		}
	}
}

// plot writes a drawing with its axis: what the vertical one shows above it, the
// ticks and the title of the horizontal one below.
func (w *textWriter) plot(p *textPlot, up, across string, ticks []plot.Tick, share func(float64) float64) {
	w.wrapped("", up)
	for k, cells := range p.cells {
		w.line(padded(p.labels[k], textPlotLabels, true) + " |" + string(cells))
	}
	axis, names := []rune(strings.Repeat("-", len(p.cells[0]))), []rune(strings.Repeat(" ", w.columns-textPlotLabels-2))
	for _, t := range ticks {
		at := p.column(share(t.Value))
		if t.Label == "" || share(t.Value) < 0 || share(t.Value) > 1 {
			continue
		}
		axis[at] = '+'
		label := []rune(plainSpaces.Replace(t.Label))
		from := max(min(at-len(label)/2, len(names)-len(label)), 0)
		if from+len(label) <= len(names) && free(names, from-1, from+len(label)+1) {
			copy(names[from:], label)
		}
	}
	w.line(padded("", textPlotLabels, true) + " +" + string(axis))
	w.line(padded("", textPlotLabels+2, true) + string(names))
	w.wrapped(strings.Repeat(" ", textPlotLabels+2), across)
}

// free tells whether nothing stands from one place to before another.
func free(cells []rune, from, to int) bool {
	for k := max(from, 0); k < min(to, len(cells)); k++ {
		if cells[k] != ' ' {
			return false
		}
	}
	return true
}

// entries lists signs with what they mean, as many on a line as have room.
func (w *textWriter) entries(list []string) {
	line := ""
	for _, x := range list {
		if line != "" && columnsOf(line)+3+columnsOf(x) > w.columns {
			w.wrapped("", line)
			line = ""
		}
		line = join("   ", line, x)
	}
	if line != "" {
		w.wrapped("", line)
	}
}

// graphSigns are those of lines; a fit is drawn with dots.
var graphSigns = []rune("o*+x#@")

// graph draws lines, levels and limits. What has many values is drawn by the
// least and the largest of each span, as in other formats.
func (w *textWriter) graph(g *graph) {
	x, y := g.ranges()
	across, up := scaleOf(g.X, x), scaleOf(g.Y, y)
	p := newTextPlot(w.columns - textPlotLabels - 2)
	for _, t := range g.Y.ticks(w.doc.words, y) {
		if s := up(t.Value); t.Label != "" && s >= 0 && s <= 1 && p.labels[p.row(s)] == "" {
			p.labels[p.row(s)] = t.Label
		}
	}
	var list []string
	for k, l := range g.Lines {
		sign := graphSigns[k%len(graphSigns)]
		if l.Fit {
			sign = '.'
		}
		for _, q := range thinned(l.Points) {
			at := p.column(across(q.X))
			if q.U > 0 && drawable(q.Y-q.U, g.Y.Log) {
				p.bar(at, p.row(up(q.Y-q.U)), p.row(up(q.Y+q.U)))
			}
			p.cells[p.row(up(q.Y))][at] = sign
		}
		list = append(list, string(sign)+" "+l.Name)
	}
	for _, s := range g.thinnedSteps() {
		for k := p.column(across(s.From)); k <= p.column(across(s.To)); k++ {
			if p.cells[p.row(up(s.Y))][k] == ' ' {
				p.cells[p.row(up(s.Y))][k] = '='
			}
		}
	}
	if len(g.Steps) > 0 {
		list = append(list, "= "+g.StepsAs)
	}
	for _, l := range g.Levels {
		p.horizontal(p.row(up(l.Y)), '-', "")
		list = append(list, "- "+l.Name+" ("+w.doc.significant(l.Y, 3)+")")
	}
	w.entries(list)
	w.plot(p, g.Y.Title, g.X.Title, g.X.ticks(w.doc.words, x), across)
	w.wrapped("", g.Caption)
}

// scaleOf gives the share of the axis at which a value lies.
func scaleOf(a graphAxis, s span) func(float64) float64 {
	if a.Log {
		return func(v float64) float64 { return math.Log(v/s.low) / math.Log(s.high/s.low) }
	}
	return func(v float64) float64 { return (v - s.low) / (s.high - s.low) }
}

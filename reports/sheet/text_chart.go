package sheet

import (
	"cmp"
	"math"
	"slices"
)

// chartReach is how many limits a chart of characters reaches to each side;
// outsideMost how many points beyond are listed below it.
const (
	chartReach  = 1.5
	outsideMost = 20
)

// chartSigns are those of the runs, by marker.
var chartSigns = []rune("o+*")

// chart draws the error in units of the limit against frequency, and lists what
// lies outside. Where there are no limits the table says all.
func (w *textWriter) chart(c *chart) {
	if len(c.Bands) == 0 {
		return
	}
	p := newTextPlot(w.columns - textPlotLabels - 2)
	share := func(hz float64) float64 { return math.Log(hz/c.From) / math.Log(c.To/c.From) }
	height := func(limits float64) int { return p.row((limits + chartReach) / (2 * chartReach)) }
	for _, g := range c.Gaps {
		for k := p.column(share(g.From)); k <= p.column(share(g.To)); k++ {
			for row := range p.cells {
				p.cells[row][k] = '/'
			}
		}
	}
	var far []outlier
	var signs []string
	for _, s := range c.Series {
		far = append(far, p.series(s, share, height)...)
		signs = append(signs, string(chartSigns[s.Marker%len(chartSigns)])+" "+s.Name)
	}
	for _, x := range []struct {
		limits float64
		sign   rune
		label  string
	}{{0, '.', "0"}, {1, '-', "+1"}, {-1, '-', "−1"}} {
		p.horizontal(height(x.limits), x.sign, x.label)
	}
	for _, b := range c.Bands {
		signs = append(signs, "- "+b.Name)
	}
	_, none, unjudged := c.signs()
	if none {
		signs = append(signs, "x "+c.NoValue)
	}
	if unjudged {
		signs = append(signs, "? "+c.NotJudged)
	}
	if len(far) > 0 {
		signs = append(signs, "^ v "+c.Outside)
	}
	w.entries(signs)
	w.plot(p, w.doc.say("Error in units of the limit"), c.X, c.frequencyTicks(), share)
	w.outliers(far)
	for _, g := range c.Gaps {
		w.wrapped("/ ", w.doc.engineering(g.From)+" … "+w.doc.engineering(g.To)+": "+g.Label)
	}
	w.wrapped("", c.Caption)
}

// outlier is a point beyond what the chart shows.
type outlier struct {
	dot
	sign, run rune
}

// series draws the points of one run; the worst of those on one place is seen.
// It returns those beyond the chart.
func (p *textPlot) series(s series, share func(float64) float64, height func(float64) int) (far []outlier) {
	sign := chartSigns[s.Marker%len(chartSigns)]
	for _, d := range s.Points {
		at := p.column(share(d.X))
		switch {
		case !d.Valued && d.Mark == notJudged:
			p.cells[len(p.cells)-1][at] = '?'
		case !d.Valued:
			p.cells[len(p.cells)-1][at] = 'x'
		case !(d.Limit > 0): // nothing to draw it against
		case math.Abs(d.Y/d.Limit) > chartReach:
			row, edge := 0, '^'
			if d.Y < 0 {
				row, edge = len(p.cells)-1, 'v'
			}
			p.cells[row][at] = edge
			far = append(far, outlier{d, edge, sign})
		default:
			low, high := max((d.Y-d.U)/d.Limit, -chartReach), min((d.Y+d.U)/d.Limit, chartReach)
			p.bar(at, height(low), height(high))
			p.cells[height(d.Y/d.Limit)][at] = sign
		}
	}
	return far
}

// outliers lists points beyond the chart, the worst where they are many.
func (w *textWriter) outliers(far []outlier) {
	if len(far) > outsideMost {
		slices.SortStableFunc(far, func(a, b outlier) int { return -cmp.Compare(math.Abs(a.Y/a.Limit), math.Abs(b.Y/b.Limit)) })
		far = far[:outsideMost]
	}
	var list []string
	for _, x := range far {
		list = append(list, string(x.sign)+string(x.run)+" "+w.doc.engineering(x.X)+": "+w.doc.significant(x.Y, 3)+" ppm")
	}
	w.entries(list)
}

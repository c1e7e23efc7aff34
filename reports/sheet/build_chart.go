package sheet

import (
	"math"
	"slices"
	"sort"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// chart lays out relative error against frequency at one input. Its values are
// for drawing only.
func (s *Sheet) chart(name string) *chart {
	c := &chart{words: s.words, X: s.say("Frequency"), Y: s.say("Relative error, ppm"), Outside: s.say("outside the plotted range, with its value"), NoValue: s.say("no count"), NotJudged: s.say("not judged, no value"), NotShown: s.say("not shown")}
	if in, ok := s.input(name); ok {
		c.From, c.To = in.Range[0].Float(), in.Range[1].Float()
	}
	var labels []string
	for _, r := range s.runs {
		labels = append(labels, r.inline)
		c.add(r, name)
	}
	if len(c.Bands) == 1 {
		c.Bands[0].Name = s.say("limit")
	}
	c.fitRange()
	c.Caption = s.say("Input %[1]s: relative error of the mean reading, %[2]s. Bars: expanded uncertainty, where longer than the sign. Values are in the table.", name, strings.Join(labels, ", "))
	if c.thin() {
		c.Caption += " " + s.say("Of points too many to be told apart the worst of each place are drawn, and each place with a flag.")
	}
	return c
}

func (c *chart) add(r run, name string) {
	marker := map[runner.Kind]int{runner.AsFound: 0, runner.AfterRepair: 1, runner.AsLeft: 2}[r.Run.Kind]
	points := r.points(name)
	sort.SliceStable(points, func(a, b int) bool { return points[a].Point.Frequency.Cmp(points[b].Point.Frequency) < 0 })
	x := series{Name: r.label, Marker: marker}
	l := band{Name: r.say("limit, %s", r.inline), Filled: len(c.Bands) == 0}
	for k := range points {
		f := points[k].Point.Frequency.Float()
		if !(f > 0) || math.IsInf(f, 0) {
			continue
		}
		x.Points = append(x.Points, dotOf(points[k], f))
		if y := ppm(points[k].Limit.Total, f); y > 0 {
			l.Points = append(l.Points, xy{f, y})
		}
	}
	c.Series = append(c.Series, x)
	switch {
	case len(l.Points) == 0:
	case len(c.Bands) > 0 && near(c.Bands[0].Points, l.Points):
		c.Bands[0].Name += ", " + r.inline
	default:
		c.Bands = append(c.Bands, l)
	}
	in, _ := r.input(name)
	for _, n := range in.NotShown {
		c.addGap(gap{n.From.Float(), n.To.Float(), r.say("not shown: %s", r.word(n.Reason))})
	}
}

func (c *chart) addGap(g gap) {
	if g.From > 0 && g.To >= g.From && !math.IsInf(g.To, 0) && !slices.Contains(c.Gaps, g) {
		c.Gaps = append(c.Gaps, g)
	}
}

func dotOf(p *runner.PointResult, f float64) dot {
	d := dot{X: f, Mark: markOf(p), Limit: max(ppm(p.Limit.Total, f), 0)}
	if p.Counted > 0 {
		y, u := ppm(p.Error, f), p.Reported.Expanded/f*1e6
		if !math.IsNaN(y) && !math.IsInf(y, 0) {
			d.Y, d.Valued = y, true
		}
		if u > 0 && !math.IsInf(u, 0) {
			d.U = u
		}
	}
	return d
}

func ppm(hz quantity.Exact, f float64) float64 { return hz.Float() / f * 1e6 }

// near tells whether two bands would lie on one another in print.
func near(a, b []xy) bool {
	return slices.EqualFunc(a, b, func(p, q xy) bool { return p.X == q.X && math.Abs(p.Y-q.Y) <= 0.01*p.Y })
}

// fitRange makes the range of frequency hold all there is to draw.
func (c *chart) fitRange() {
	var all []float64
	if c.From > 0 && c.To > c.From && !math.IsInf(c.To, 0) {
		all = append(all, c.From, c.To)
	}
	for _, s := range c.Series {
		for _, d := range s.Points {
			all = append(all, d.X)
		}
	}
	for _, g := range c.Gaps {
		all = append(all, g.From, g.To)
	}
	if len(all) == 0 {
		all = []float64{1, 10}
	}
	c.From, c.To = slices.Min(all), slices.Max(all)
	if c.From == c.To {
		c.From, c.To = c.From/2, c.To*2
	}
}

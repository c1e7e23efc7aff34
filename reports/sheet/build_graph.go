package sheet

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"bandproof/runner"
)

// leastRows is how many findings at frequencies are worth a drawing.
const leastRows = 3

// findingGraphs draws what was found against frequency, for each thing that was
// found in one unit at three frequencies or more.
func findingGraphs(input string, runs []run, list []*findingLine) []*graph {
	var graphs []*graph
	for len(list) > 0 {
		n := 1
		for n < len(list) && list[n].row.What == list[0].row.What && list[n].row.Unit == list[0].row.Unit {
			n++
		}
		if g := findingGraph(input, runs, list[:n]); g != nil {
			graphs = append(graphs, g)
		}
		list = list[n:]
	}
	return graphs
}

func findingGraph(input string, runs []run, list []*findingLine) *graph {
	what, unit := list[0].row.What, list[0].row.Unit
	power := 0
	for k, l := range list {
		if p := l.power(); k == 0 || p > power {
			power = p
		}
	}
	scale := math.Pow10(-power)
	g := &graph{X: graphAxis{Title: "Frequency", Log: true, Frequency: true}, Y: graphAxis{Title: what + prefixed(", ", unitText(unit, power))}, StepsAs: "limit"}
	if in, ok := (&Sheet{runs: runs}).input(input); ok {
		g.X.From, g.X.To = in.Range[0].Float(), in.Range[1].Float()
	}
	places := map[string]bool{}
	var side runner.Side
	limits := make([][]xy, len(runs))
	for k, r := range runs {
		line := graphLine{Name: r.label}
		for _, l := range list {
			x := l.of[k]
			if x == nil || x.At == nil {
				continue
			}
			f := x.At.Float()
			if x.Found != nil {
				p := xyu{X: f, Y: x.Found.Float() * scale}
				if x.Uncertainty != nil {
					p.U = x.Uncertainty.Expanded * scale
				}
				line.Points = append(line.Points, p)
				places[hertz(x)] = true
			}
			if x.Limit != nil {
				side = x.Side
				limits[k] = append(limits[k], xy{f, x.Limit.Float() * scale})
			}
		}
		g.Lines = append(g.Lines, line)
	}
	if len(places) < leastRows {
		return nil
	}
	for k := range limits {
		if !slices.ContainsFunc(limits[:k], func(other []xy) bool { return slices.Equal(other, limits[k]) }) {
			g.addSteps(limits[k], side)
		}
	}
	g.StepsAs = strings.TrimSpace("limit: " + map[runner.Side]string{runner.AtMost: "at most", runner.AtLeast: "at least"}[side])
	g.StepsAs = strings.TrimSuffix(g.StepsAs, ":")
	g.Caption = strings.ToUpper(what[:min(1, len(what))]) + what[min(1, len(what)):] + " against frequency. Bars: expanded uncertainty, where longer than the sign. Values are in the table."
	return g
}

// addSteps draws a limit as far as it is known: at each place, and between
// neighbours that share it.
func (g *graph) addSteps(list []xy, side runner.Side) {
	sort.SliceStable(list, func(a, b int) bool { return list[a].X < list[b].X })
	for k := 0; k < len(list); {
		n := 1
		for k+n < len(list) && list[k+n].Y == list[k].Y {
			n++
		}
		g.Steps = append(g.Steps, graphStep{list[k].X, list[k+n-1].X, list[k].Y})
		if side == runner.Within {
			g.Steps = append(g.Steps, graphStep{list[k].X, list[k+n-1].X, -list[k].Y})
		}
		k += n
	}
}

// curves draws the courses that a measurement kept.
func (r run) curves(input, title string) []block {
	var b []block
	for _, o := range r.outcomes(input, title) {
		for _, c := range o.Curves {
			if g := curveGraph(c); g != nil {
				g.Caption = c.Title + ", " + strings.ToLower(r.label) + g.Caption
				b = append(b, g)
				continue
			}
			b = append(b, &paragraph{Text: c.Title + ", " + strings.ToLower(r.label) + ": too few values to draw."})
		}
	}
	return b
}

// curveGraph lays a curve out; nil where there is nothing to draw. Its caption
// says what the drawing leaves out.
func curveGraph(c runner.Curve) *graph {
	g := &graph{}
	left, most, wide := 0, 0.0, 0.0
	for _, l := range c.Lines {
		line := graphLine{Name: l.Name, Fit: l.Fit, Joined: !l.Fit && len(l.X) > 2}
		for k := range min(len(l.X), len(l.Y)) {
			p := xyu{X: l.X[k], Y: l.Y[k]}
			if k < len(l.U) && l.U[k] > 0 && !math.IsInf(l.U[k], 0) {
				p.U = l.U[k]
			}
			if !drawable(p.X, c.X.Log) || !drawable(p.Y, c.Y.Log) {
				left++
				continue
			}
			wide, most = max(wide, math.Abs(p.X)), max(most, math.Abs(p.Y))
			line.Points = append(line.Points, p)
		}
		if len(line.Points) > 0 {
			g.Lines = append(g.Lines, line)
		}
	}
	if len(g.Lines) == 0 {
		return nil
	}
	for _, m := range c.Marks {
		if drawable(m.Y, c.Y.Log) {
			g.Levels = append(g.Levels, graphLevel(m))
			most = max(most, math.Abs(m.Y))
		}
	}
	var px, py int
	g.X, px = axisOf(c.X, wide)
	g.Y, py = axisOf(c.Y, most)
	g.rescale(math.Pow10(-px), math.Pow10(-py))
	if slices.ContainsFunc(g.Lines, func(l graphLine) bool { return slices.ContainsFunc(l.Points, func(p xyu) bool { return p.U > 0 }) }) {
		g.Caption = ". Bars or shade: expanded uncertainty"
	}
	if left > 0 {
		g.Caption += fmt.Sprintf(". %d %s have no place on these axes", left, plural(left, "value", "values"))
	}
	g.Caption += "."
	return g
}

func drawable(v float64, log bool) bool {
	return !math.IsNaN(v) && !math.IsInf(v, 0) && (!log || v > 0)
}

// axisOf is an axis with the power of ten that its numbers are written in; on a
// logarithmic one the ticks say it.
func axisOf(a runner.Axis, most float64) (graphAxis, int) {
	power := 0
	if !a.Log {
		power = smallPower(most)
	}
	return graphAxis{Title: a.Name + prefixed(", ", axisUnit(a.Unit, power)), Log: a.Log}, power
}

func axisUnit(unit string, power int) string {
	if unit == "1" && power == 0 {
		return ""
	}
	return unitText(unit, power)
}

func (g *graph) rescale(x, y float64) {
	for _, l := range g.Lines {
		for k := range l.Points {
			p := &l.Points[k]
			p.X, p.Y, p.U = p.X*x, p.Y*y, p.U*y
		}
	}
	for k := range g.Levels {
		g.Levels[k].Y *= y
	}
}

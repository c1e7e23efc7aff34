package sheet

import (
	"math"
	"slices"
	"sort"
	"strings"
	"unicode/utf8"

	"bandproof/runner"
)

// leastRows is how many findings at frequencies are worth a drawing.
const leastRows = 3

// findingGraphs draws what was found against frequency, for each thing that was
// found in one unit at three frequencies or more.
func (w *words) findingGraphs(input string, runs []run, list []*findingLine) []*graph {
	var graphs []*graph
	for len(list) > 0 {
		n := 1
		for n < len(list) && list[n].row.What == list[0].row.What && list[n].row.Unit == list[0].row.Unit {
			n++
		}
		if g := w.findingGraph(input, runs, list[:n]); g != nil {
			graphs = append(graphs, g)
		}
		list = list[n:]
	}
	return graphs
}

func (w *words) findingGraph(input string, runs []run, list []*findingLine) *graph {
	what, unit := list[0].row.What, list[0].row.Unit
	power := 0
	for k, l := range list {
		if p := l.power(); k == 0 || p > power {
			power = p
		}
	}
	scale := math.Pow10(-power)
	g := &graph{words: w, X: graphAxis{Title: w.say("Frequency"), Log: true, Frequency: true}, Y: graphAxis{Title: yTitle(w.word(what), unitText(unit, power))}, StepsAs: w.say("limit")}
	shown := span{math.Inf(1), math.Inf(-1)}
	if in, ok := (&Sheet{runs: runs}).input(input); ok && drawable(in.Range[0].Float(), true) && drawable(in.Range[1].Float(), true) {
		shown = span{in.Range[0].Float(), in.Range[1].Float()}
	}
	places := map[string]bool{}
	var side runner.Side
	limits := make([][]xy, len(runs))
	for k, r := range runs {
		line := graphLine{Name: r.label}
		for _, l := range list {
			x := l.of[k]
			if x == nil || x.At == nil || !drawable(x.At.Float(), true) {
				continue
			}
			f := x.At.Float()
			shown.hold(f)
			if x.Found != nil && drawable(x.Found.Float()*scale, false) {
				p := xyu{X: f, Y: x.Found.Float() * scale}
				if u := x.Uncertainty; u != nil && drawable(u.Expanded*scale, false) {
					p.U = u.Expanded * scale
				}
				line.Points = append(line.Points, p)
				places[hertz(x)] = true
			}
			if x.Limit != nil && drawable(x.Limit.Float()*scale, false) {
				side = x.Side
				limits[k] = append(limits[k], xy{f, x.Limit.Float() * scale})
			}
		}
		g.Lines = append(g.Lines, line)
	}
	if len(places) < leastRows || !worthDrawing(list) {
		return nil
	}
	g.X.From, g.X.To = shown.low, shown.high
	for k := range limits {
		if !slices.ContainsFunc(limits[:k], func(other []xy) bool { return slices.Equal(other, limits[k]) }) {
			g.addSteps(limits[k], side)
		}
	}
	switch side {
	case runner.AtMost:
		g.StepsAs = w.say("limit: at most")
	case runner.AtLeast:
		g.StepsAs = w.say("limit: at least")
	}
	g.Caption = w.say("%s against frequency. Bars: expanded uncertainty, where longer than the sign. Values are in the table.", capital(w.word(what)))
	return g
}

// yTitle leaves out a name that is too long to stand upright; the caption has it.
func yTitle(name, unit string) string {
	if utf8.RuneCountInString(name) > 26 {
		return unit
	}
	return name + prefixed(", ", unit)
}

// worthDrawing tells whether there is something to compare the numbers with.
func worthDrawing(list []*findingLine) bool {
	return slices.ContainsFunc(list, func(l *findingLine) bool {
		return slices.ContainsFunc(l.of, func(x *runner.Row) bool { return x != nil && (x.Limit != nil || x.Uncertainty != nil) })
	})
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

// overFrequency tells whether an axis is one of frequency, to be written so.
func overFrequency(a runner.Axis) bool { return a.Log && a.Unit == "Hz" }

// curves draws the courses that a measurement kept; drawn tells that its
// findings stand against frequency already.
func (r run) curves(input, title string, drawn bool) []block {
	var b []block
	for _, o := range r.outcomes(input, title) {
		for _, c := range o.Curves {
			if drawn && overFrequency(c.X) {
				continue
			}
			if g := r.curveGraph(c); g != nil {
				g.Caption = r.word(c.Title) + ", " + r.inline + g.Caption
				b = append(b, g)
				continue
			}
			b = append(b, &paragraph{Text: r.say("%[1]s, %[2]s: too few values to draw.", r.word(c.Title), r.inline)})
		}
	}
	return b
}

// curveGraph lays a curve out; nil where there is nothing to draw. Its caption
// says what the drawing leaves out.
func (w *words) curveGraph(c runner.Curve) *graph {
	g := &graph{words: w, Y: graphAxis{Log: c.Y.Log}}
	left, most, wide := 0, 0.0, 0.0
	for _, l := range c.Lines {
		line := graphLine{Name: w.word(l.Name), Fit: l.Fit, Joined: !l.Fit && len(l.X) > 2}
		for k := range min(len(l.X), len(l.Y)) {
			p := xyu{X: notTiny(l.X[k]), Y: notTiny(l.Y[k])}
			if k < len(l.U) && l.U[k] > 0 && drawable(l.U[k], false) {
				p.U = notTiny(l.U[k])
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
			g.Levels = append(g.Levels, graphLevel{w.word(m.Name), notTiny(m.Y)})
			most = max(most, math.Abs(m.Y))
		}
	}
	outside := g.farLevels()
	var px, py int
	if len(g.Levels) == 0 || len(outside) > 0 {
		most = mostOf(g.Lines)
	}
	g.X, px = w.axisOf(c.X, wide)
	g.Y, py = w.axisOf(c.Y, most)
	g.Y.Title = yTitle(capital(w.word(c.Y.Name)), axisUnit(c.Y.Unit, py))
	if g.X.Frequency {
		shown := span{math.Inf(1), math.Inf(-1)}
		for _, l := range g.Lines {
			for _, p := range l.Points {
				shown.hold(p.X)
			}
		}
		g.X.From, g.X.To = shown.low, shown.high
	}
	g.rescale(math.Pow10(-px), math.Pow10(-py))
	if slices.ContainsFunc(g.Lines, func(l graphLine) bool { return slices.ContainsFunc(l.Points, func(p xyu) bool { return p.U > 0 }) }) {
		g.Caption = ". " + w.say("Bars, or where values are many the shade: expanded uncertainty")
	}
	for _, l := range outside {
		g.Caption += ". " + w.say("Outside the drawing: %[1]s at %[2]s", l.Name, w.significant(l.Y*math.Pow10(-py), 3)+strings.TrimPrefix(unitText("", py), "1")+prefixed("\u00a0", axisUnit(c.Y.Unit, 0)))
	}
	if left > 0 {
		g.Caption += ". " + w.say("%s values have no place on these axes", w.count(left))
	}
	g.Caption += "."
	return g
}

// levelRoom is how many times as high as the course itself a drawing may become
// to show a level.
const levelRoom = 4

// farLevels takes out the levels that would leave a course too flat to be read,
// and returns them.
func (g *graph) farLevels() []graphLevel {
	own := span{math.Inf(1), math.Inf(-1)}
	for _, l := range g.Lines {
		for _, p := range l.Points {
			own.hold(p.Y)
			own.hold(p.Y + p.U)
			if drawable(p.Y-p.U, g.Y.Log) {
				own.hold(p.Y - p.U)
			}
		}
	}
	if g.Y.Log || own.low == own.high {
		return nil
	}
	var near, far []graphLevel
	for _, l := range g.Levels {
		if all := max(own.high, l.Y) - min(own.low, l.Y); all > levelRoom*(own.high-own.low) {
			far = append(far, l)
			continue
		}
		near = append(near, l)
	}
	g.Levels = near
	return far
}

func mostOf(lines []graphLine) float64 {
	most := 0.0
	for _, l := range lines {
		for _, p := range l.Points {
			most = max(most, math.Abs(p.Y))
		}
	}
	return most
}

// Numbers beyond these sizes come from no bench, and axes can't be drawn for
// them: larger ones have no place, smaller ones are zero.
const smallestDrawn, largestDrawn = 1e-30, 1e30

func drawable(v float64, log bool) bool {
	return math.Abs(v) <= largestDrawn && (!log || v >= smallestDrawn)
}

func notTiny(v float64) float64 {
	if math.Abs(v) < smallestDrawn {
		return 0
	}
	return v
}

// axisOf is an axis with the power of ten that its numbers are written in; on a
// logarithmic one the ticks say it.
func (w *words) axisOf(a runner.Axis, most float64) (graphAxis, int) {
	power := 0
	if !a.Log {
		power = smallPower(most)
	}
	x := graphAxis{Title: capital(w.word(a.Name)) + prefixed(", ", axisUnit(a.Unit, power)), Log: a.Log}
	if overFrequency(a) {
		x.Title, x.Frequency = capital(w.word(a.Name)), true
	}
	return x, power
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

package sheet

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// inputs lays out each input: what it promises, the chart, the points.
func (s *Sheet) inputs() []block {
	var b []block
	for _, name := range s.inputNames() {
		taken := slices.ContainsFunc(s.runs, func(r run) bool { return len(r.points(name)) > 0 })
		b = append(b, &heading{Level: 1, Text: "Input " + name + ": " + s.rangeOf(name), Tall: taken})
		if in, ok := s.input(name); ok {
			b = append(b, s.promises(in))
		}
		if taken {
			b = append(b, s.points(name)...)
		} else {
			b = append(b, &paragraph{Text: "No point was taken at this input."})
		}
		b = append(b, s.measurements(name)...)
	}
	return b
}

// points shows the band sweep of an input.
func (s *Sheet) points(name string) []block {
	b := []block{s.chart(name)}
	for _, runs := range s.sideBySide() {
		b = append(b, pointTable(name, runs))
		if n := pointNotes(name, runs); len(n) > 0 {
			b = append(b, &notes{Title: "Notes", Lines: n})
		}
	}
	return b
}

// sideBySide groups the runs by table: as-found and as-left stand beside each
// other; a run between them gets a table of its own.
func (s *Sheet) sideBySide() [][]run {
	if len(s.runs) < 3 {
		return [][]run{s.runs}
	}
	return [][]run{{s.runs[0], s.runs[2]}, {s.runs[1]}}
}

// promises is the input's specification.
func (s *Sheet) promises(in procedures.Input) block {
	g := &grid{Columns: 5, Small: true, Items: []item{
		{"Connector", stated(in.Connector)},
		{"Impedance", in.Impedance.Grouped() + capacitance(in)},
		{"Sensitivity", sensitivity(in)},
		{"Damage level", in.Damage.Grouped()},
		{"Counting", counting(in.Accuracy)},
		{"Limit", limitWords(in.Accuracy)},
	}}
	g.Items = append(g.Items, item{coveredHead, strings.Join(s.labelled(func(r run) string { return covered(r, in.Name) }), "\n")})
	g.Items = append(g.Items, item{"Reference of the unit", strings.Join(s.labelled(func(r run) string {
		x, _ := r.input(in.Name)
		return stated(x.ReferenceCheck)
	}), "\n")})
	g.Items = append(g.Items, item{"With RF off", strings.Join(s.labelled(func(r run) string {
		x, _ := r.input(in.Name)
		return stated(x.HeldCheck)
	}), "\n")})
	return g
}

func capacitance(in procedures.Input) string {
	if in.Capacitance == nil {
		return ""
	}
	return " parallel to " + in.Capacitance.Grouped()
}

func sensitivity(in procedures.Input) string {
	var list []string
	for _, x := range in.Sensitivity {
		list = append(list, fmt.Sprintf("%s from %s to %s", x.Level.Grouped(), x.From.Grouped(), x.To.Grouped()))
	}
	return stated(strings.Join(list, "\n"))
}

// counting says how the input counts and what one count is.
func counting(a accuracy.Spec) string {
	switch a.Kind {
	case accuracy.Direct:
		return "direct; one count is 1/gate"
	case accuracy.Prescaled:
		if a.GateLengthened {
			return fmt.Sprintf("prescaled by %d, the gate lengthened alike; one count is 1/gate", a.Prescale)
		}
		return fmt.Sprintf("prescaled by %d; one count is %d/gate", a.Prescale, a.Prescale)
	case accuracy.Reciprocal:
		return "reciprocal; one count is frequency × " + a.TimeResolution.Grouped() + "/gate"
	case accuracy.Converted:
		if a.Harmonic > 1 {
			return fmt.Sprintf("down-converted; one count is %d/gate", a.Harmonic)
		}
		return "down-converted; one count is 1/gate at the intermediate frequency"
	}
	return stated(string(a.Kind))
}

func limitWords(a accuracy.Spec) string {
	counts := max(a.Counts, 1)
	list := []string{fmt.Sprintf("±%d %s", counts, plural(counts, "count", "counts")), "timebase where tested"}
	if a.Display.Sign() > 0 {
		list[0] += ", display to " + a.Display.Grouped()
	}
	if a.Trigger.Sign() > 0 {
		list = append(list, "trigger "+a.Trigger.Grouped()+" of the frequency")
	}
	for _, x := range a.Residuals {
		list = append(list, fmt.Sprintf("%s from %s to %s", x.Error.Grouped(), x.From.Grouped(), x.To.Grouped()))
	}
	return strings.Join(list, " + ")
}

func covered(r run, name string) string {
	in, ok := r.input(name)
	if !ok {
		return "not stated"
	}
	text := share(in.Coverage.Share, in.Coverage.Complete) + " % (logarithm of frequency)"
	var open []string
	for _, x := range in.Coverage.Open {
		open = append(open, x.From.Grouped()+" to "+x.To.Grouped())
	}
	return text + prefixed("; open: ", strings.Join(open, ", "))
}

// line is one line of a table of points: what each run found there, nil where
// a run did not take it.
type line struct {
	point procedures.Point
	of    []*runner.PointResult
}

// lines matches the points of several runs: by id where that stands for the
// same frequency and gate, else (the bench may have changed between runs) by
// frequency, gate and level; a point taken twice in a run has two lines. Where
// the gate was chosen, the longest one that was allowed counts: which one was
// taken may differ from run to run.
func lines(name string, runs []run) []line {
	var list []line
	at := map[string][]int{} // by key: lines in order
	for k, r := range runs {
		points := r.points(name)
		for i := range points {
			p := &points[i]
			n := -1
			for _, key := range keysOf(p.Point) {
				for _, m := range at[key] {
					if n < 0 && list[m].of[k] == nil {
						n = m
					}
				}
			}
			if n < 0 {
				n = len(list)
				list = append(list, line{point: p.Point, of: make([]*runner.PointResult, len(runs))})
				for _, key := range keysOf(p.Point) {
					at[key] = append(at[key], n)
				}
			}
			list[n].of[k] = p
		}
	}
	sort.SliceStable(list, func(a, b int) bool { return list[a].point.Frequency.Cmp(list[b].point.Frequency) < 0 })
	return list
}

func keysOf(p procedures.Point) []string {
	gate := p.Gate.Rat().RatString()
	if p.Longest != nil {
		gate = "up to " + p.Longest.Rat().RatString()
	}
	same := p.Frequency.Rat().RatString() + "|" + gate + "|"
	return []string{same + "id " + p.ID, same + "level " + p.Levels.Input.String()}
}

// id of the line; both where the runs name the point differently.
func (l line) id() string {
	var ids []string
	for _, p := range l.of {
		if p != nil && (len(ids) == 0 || ids[len(ids)-1] != p.Point.ID) {
			ids = append(ids, p.Point.ID)
		}
	}
	return strings.Join(ids, " / ")
}

// gates of the line; more than one where the runs chose differently.
func (l line) gates() string {
	var list []string
	for _, p := range l.of {
		if p != nil && !slices.Contains(list, p.Point.Gate.Grouped()) {
			list = append(list, p.Point.Gate.Grouped())
		}
	}
	return strings.Join(list, " / ")
}

// whyPass explains verdicts that U alone would not.
const whyPass = `A verdict can be a plain pass though U is near the limit: U includes the unit's own resolution, which the limit's count term already allows; ` +
	`the decision rule goes by the decision uncertainty, which leaves it out (see "Behind the verdicts").`

// pointTable has a line a point and a group of columns a run.
func pointTable(name string, runs []run) *table {
	t := &table{Columns: []column{{Head: "Point"}, {Head: "Nominal frequency, Hz", Align: point}, {Head: "Level at input, U (k = 2)", Align: right}, {Head: "Gate", Align: right}},
		Legend: "■ fail   ▲ conditional   ? not judged   (no sign) pass   " + none + " no value.   U is the expanded uncertainty of the error; error, limit and U are rounded for print, verdicts are not. " + whyPass}
	var labels []string
	for _, r := range runs {
		labels = append(labels, strings.ToLower(r.label))
		for _, c := range []column{{Head: ""}, {Head: "Mean reading, Hz", Align: point}, {Head: "Error, Hz", Align: point}, {Head: "Error, ppm", Align: point},
			{Head: "Limit ±, Hz", Align: point}, {Head: coverageHead(name, r), Align: point}, {Head: "Verdict"}} {
			c.Group = r.label
			t.Columns = append(t.Columns, c)
		}
	}
	t.Title = "Points of input " + name + ", " + strings.Join(labels, " and ")
	in, _ := (&Sheet{runs: runs}).input(name)
	for _, l := range lines(name, runs) {
		level := measuredLevels(in, l)
		if level == "" {
			level = withU(levelOf(in, l.point), l.point.LevelU)
		}
		row := []cell{{Text: l.id()}, {Text: quantity.Group(l.point.Frequency.Plain())}, {Text: level}, {Text: l.gates()}}
		for _, p := range l.of {
			row = append(row, resultCells(p)...)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// withU adds the uncertainty of a level, in dB; records of the first version
// have none.
func withU(level string, u float64) string {
	if u <= 0 {
		return level
	}
	return level + " ± " + significant(u, 2) + " dB"
}

// levelOf is the level at the input in the unit in which the sensitivity there
// is specified. Over high impedance a power means nothing, so a voltage stays.
func levelOf(in procedures.Input, p procedures.Point) string {
	l := p.Levels.Input
	specified, ok := in.SensitivityAt(p.Frequency)
	switch {
	case !ok || specified.IsVoltage() == l.IsVoltage() || in.Impedance.Sign() <= 0:
	case specified.IsVoltage():
		l = quantity.VoltLevel(l.Volts(in.Impedance))
	case !in.HighImpedance():
		if dbm := l.DBm(in.Impedance); !math.IsInf(dbm, 0) {
			l = quantity.DBmLevel(dbm, 2)
		}
	}
	return l.Grouped()
}

// coverageHead states k where it is 2 throughout.
func coverageHead(name string, r run) string {
	for _, p := range r.points(name) {
		if p.Counted > 0 && p.Reported.CoverageFactor != 2 {
			return "U, Hz (k in notes)"
		}
	}
	return "U (k = 2), Hz"
}

// markOf is how a verdict is set apart.
func markOf(p *runner.PointResult) mark {
	switch {
	case p.Verdict.Word == "fail":
		return failed
	case p.Verdict.Word == "pass":
		return plain
	case p.Verdict.Bad(), p.Verdict.Good():
		return conditional
	}
	return notJudged
}

func resultCells(p *runner.PointResult) []cell {
	if p == nil {
		return []cell{{}, {Text: none}, {Text: none}, {Text: none}, {Text: none}, {Text: none}, {Text: "not taken"}}
	}
	m := markOf(p)
	limit := p.Limit
	r := rounded{Error: none, U: none, Limit: none}
	mean, ppm := none, none
	if p.Counted > 0 {
		r = roundResult(p.Error, limit.Total, p.Reported.Expanded, readingPlaces(p))
		mean = fixed(p.Mean, readingPlaces(p))
		ppm = relative(p)
	} else if limit.Total.Sign() > 0 {
		r.Limit = roundResult(quantity.Exact{}, limit.Total, 0, 0).Limit
	}
	texts := []string{m.flag(), mean, r.Error, ppm, r.Limit, r.U, stated(p.Verdict.String())}
	row := make([]cell, len(texts))
	for k, x := range texts {
		row[k] = cell{x, m}
	}
	return row
}

// readingPlaces is the decimal place to which the counted readings resolve.
func readingPlaces(p *runner.PointResult) int {
	places := 0
	for _, r := range p.Readings {
		if r.Use == runner.Counted {
			places = max(places, -int(r.Frequency.Decimal().Exponent))
		}
	}
	return min(places, mostPlaces)
}

// relative is the error in ppm, to the digits that U in ppm allows.
func relative(p *runner.PointResult) string {
	if p.Reference.Sign() <= 0 {
		return none
	}
	perPPM := quantity.ExactInt(1000000).Quo(p.Reference)
	e, limit := p.Error.Mul(perPPM), p.Limit.Total.Mul(perPPM)
	fallback, _ := twoDigits(limit.Float())
	return roundResult(e, limit, p.Reported.Expanded*perPPM.Float(), fallback+1).Error
}

// pointNotes says what the table has no column for: points with the same note
// together, and runs with the same notes.
func pointNotes(name string, runs []run) []string {
	var m merged
	for _, r := range runs {
		n := noteList{points: map[string][]string{}}
		points := r.points(name)
		ids := make([]string, len(points))
		for k, p := range points {
			ids[k] = p.Point.ID
			for _, text := range notesOf(p) {
				n.add(text, p.Point.ID)
			}
		}
		for _, text := range n.order {
			m.add(r.label, text+": "+ranges(n.points[text], ids))
		}
	}
	return m.lines()
}

// ranges writes ids, three or more that follow each other in all as "a to b".
func ranges(ids, all []string) string {
	at := map[string]int{}
	for k, id := range all {
		at[id] = k
	}
	var list []string
	for k := 0; k < len(ids); {
		n := 1
		for k+n < len(ids) && at[ids[k+n]] == at[ids[k+n-1]]+1 {
			n++
		}
		if n >= 3 {
			list = append(list, ids[k]+" to "+ids[k+n-1])
		} else {
			list = append(list, ids[k:k+n]...)
		}
		k += n
	}
	return strings.Join(list, ", ")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// noteList gathers points under equal texts, in order of first appearance.
type noteList struct {
	order  []string
	points map[string][]string
}

func (n *noteList) add(text, id string) {
	if _, seen := n.points[text]; !seen {
		n.order = append(n.order, text)
	}
	n.points[text] = append(n.points[text], id)
}

package sheet

import (
	"math"
	"slices"
	"sort"
	"strings"

	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// inputs lays out each input: what it promises, the chart, the points.
func (s *Sheet) inputs() []block {
	var b []block
	for _, name := range s.inputNames() {
		taken := slices.ContainsFunc(s.runs, func(r run) bool { return len(r.points(name)) > 0 })
		b = append(b, &heading{Level: 1, Text: s.say("Input %[1]s: %[2]s", name, s.rangeOf(name)), Tall: taken, Apart: true, Tab: s.say("Input %s", name)})
		if in, ok := s.input(name); ok {
			b = append(b, s.promises(in))
		}
		if taken {
			b = append(b, s.points(name)...)
			b = append(b, s.changesOf(name)...)
		} else {
			b = append(b, &paragraph{Text: s.say("No point was taken at this input.")})
		}
		b = append(b, s.measurements(name)...)
	}
	return b
}

// points shows the band sweep of an input.
func (s *Sheet) points(name string) []block {
	b := []block{s.chart(name)}
	for _, runs := range s.sideBySide() {
		b = append(b, s.pointTable(name, runs))
		if n := s.pointNotes(name, runs); len(n) > 0 {
			b = append(b, &notes{Title: s.say("Notes"), Lines: n})
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
		{s.say("Connector"), s.stated(in.Connector)},
		{s.say("Impedance"), s.impedance(in)},
		{s.say("Sensitivity"), s.sensitivity(in)},
		{s.say("Damage level"), s.q(in.Damage)},
		{s.say("Counting"), s.counting(in.Accuracy)},
	}}
	if !s.isBare() {
		g.Items = append(g.Items, item{s.say("Limit"), s.limitWords(in.Accuracy)},
			item{s.say(coveredHead), strings.Join(s.labelled(func(r run) string { return r.covered(in.Name) }), "\n")})
	}
	g.Items = append(g.Items, item{s.say("Reference of the unit"), strings.Join(s.labelled(func(r run) string {
		x, _ := r.input(in.Name)
		return s.stated(s.word(x.ReferenceCheck))
	}), "\n")})
	g.Items = append(g.Items, item{s.say("With RF off"), strings.Join(s.labelled(func(r run) string {
		x, _ := r.input(in.Name)
		return s.stated(s.word(x.HeldCheck))
	}), "\n")})
	return g
}

func (w *words) impedance(in procedures.Input) string {
	if in.Capacitance == nil {
		return w.q(in.Impedance)
	}
	return w.say("%[1]s parallel to %[2]s", w.q(in.Impedance), w.q(in.Capacitance))
}

func (w *words) sensitivity(in procedures.Input) string {
	var list []string
	for _, x := range in.Sensitivity {
		list = append(list, w.say("%[1]s from %[2]s to %[3]s", w.q(x.Level), w.q(x.From), w.q(x.To)))
	}
	return w.stated(strings.Join(list, "\n"))
}

// counting says how the input counts and what one count is.
func (w *words) counting(a accuracy.Spec) string {
	switch a.Kind {
	case accuracy.Direct:
		return w.say("direct; one count is 1/gate")
	case accuracy.Prescaled:
		if a.GateLengthened {
			return w.say("prescaled by %s, the gate lengthened alike; one count is 1/gate", w.whole(int(a.Prescale)))
		}
		return w.say("prescaled by %[1]s; one count is %[1]s/gate", w.whole(int(a.Prescale)))
	case accuracy.Reciprocal:
		return w.say("reciprocal; one count is frequency × %s/gate", w.q(a.TimeResolution))
	case accuracy.Converted:
		if a.Harmonic > 1 {
			return w.say("down-converted; one count is %s/gate", w.whole(int(a.Harmonic)))
		}
		return w.say("down-converted; one count is 1/gate at the intermediate frequency")
	}
	return w.stated(string(a.Kind))
}

func (w *words) limitWords(a accuracy.Spec) string {
	counts := max(a.Counts, 1)
	list := []string{w.say("±%s counts", w.count(counts)), w.say("timebase where tested")}
	if a.Display.Sign() > 0 {
		list[0] += w.say(", display to %s", w.q(a.Display))
	}
	if a.Trigger.Sign() > 0 {
		list = append(list, w.say("trigger %s of the frequency", w.q(a.Trigger)))
	}
	for _, x := range a.Residuals {
		list = append(list, w.say("%[1]s from %[2]s to %[3]s", w.q(x.Error), w.q(x.From), w.q(x.To)))
	}
	return strings.Join(list, " + ")
}

func (r run) covered(name string) string {
	in, ok := r.input(name)
	if !ok {
		return r.say("not stated")
	}
	part := r.share(in.Coverage.Share, in.Coverage.Complete)
	var open []string
	for _, x := range in.Coverage.Open {
		open = append(open, r.to(r.q(x.From), r.q(x.To)))
	}
	if len(open) == 0 {
		return r.say("%s %% (logarithm of frequency)", part)
	}
	return r.say("%[1]s %% (logarithm of frequency); open: %[2]s", part, strings.Join(open, ", "))
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
		used := map[string]int{} // by key: how many of its lines this run has
		for _, p := range r.points(name) {
			n, keys := -1, keysOf(p.Point)
			for _, key := range keys {
				for used[key] < len(at[key]) && list[at[key][used[key]]].of[k] != nil {
					used[key]++
				}
				if n < 0 && used[key] < len(at[key]) {
					n = at[key][used[key]]
				}
			}
			if n < 0 {
				n = len(list)
				list = append(list, line{point: p.Point, of: make([]*runner.PointResult, len(runs))})
				for _, key := range keys {
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
func (l line) gates(w *words) string {
	var list []string
	for _, p := range l.of {
		if p != nil && !slices.Contains(list, w.q(p.Point.Gate)) {
			list = append(list, w.q(p.Point.Gate))
		}
	}
	return strings.Join(list, " / ")
}

// whyPass explains verdicts that U alone would not.
const whyPass key = `A verdict can be a plain pass though U is near the limit: U includes the unit's own resolution, which the limit's count term already allows; ` +
	`the decision rule goes by the decision uncertainty, which leaves it out (see "%s").`

// pointTable has a line a point and a group of columns a run.
func (w *words) pointTable(name string, runs []run) *table {
	legend := w.say("■ fail   ▲ conditional   ? not judged   (no sign) pass   — no value.   U is the expanded uncertainty of the error; error, limit and U are rounded for print, verdicts are not.") +
		" " + w.say(whyPass, w.say(behindTitle))
	if (&Sheet{runs: runs}).isBare() {
		legend = w.say("— no value.   U is the expanded uncertainty of the error.")
	}
	t := &table{Tab: w.say("Points %s", name), Legend: legend, Columns: []column{{Head: w.say("Point")}, {Head: w.say("Nominal frequency, Hz"), Align: point}, {Head: w.say("Level at input, U (k = 2)"), Align: right}, {Head: w.say("Gate"), Align: right}}}
	var labels []string
	for _, r := range runs {
		labels = append(labels, r.inline)
		for _, c := range []column{{Head: ""}, {Head: w.say("Mean reading, Hz"), Align: point}, {Head: w.say("Error, Hz"), Align: point}, {Head: w.say("Error, ppm"), Align: point},
			{Head: w.say("Limit ±, Hz"), Align: point}, {Head: w.coverageHead(name, r), Align: point}, {Head: w.say("Verdict")}} {
			c.Group = r.label
			t.Columns = append(t.Columns, c)
		}
	}
	t.Title = w.say("Points of input %[1]s, %[2]s", name, w.and(labels))
	in, _ := (&Sheet{runs: runs}).input(name)
	for _, l := range lines(name, runs) {
		level := w.measuredLevels(in, l)
		if level == "" {
			level = w.levelWithU(levelOf(in, l.point), l.point.LevelU)
		}
		row := []cell{{Text: l.id()}, {Text: w.number(quantity.Group(l.point.Frequency.Plain()))}, {Text: level}, {Text: l.gates(w)}}
		for _, p := range l.of {
			row = append(row, w.resultCells(p)...)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// levelWithU is a level with its uncertainty in dB, rounded to the same place as
// that (JCGM 100:2008 7.2.6); records of the first version have none.
func (w *words) levelWithU(l quantity.Level, u float64) string {
	places, ok := twoDigits(u)
	if !ok {
		return w.q(l)
	}
	unit := " dBm"
	if l.IsVoltage() {
		unit = " V"
		places, ok = twoDigits(l.Exact().Float() * (math.Pow(10, u/20) - 1)) // the larger side
	}
	r, err := quantity.ParseLevel(fixedPlain(l.Exact(), places) + unit)
	if !ok || err != nil {
		return w.q(l)
	}
	return w.q(r) + " ± " + w.uncertain(u) + " dB"
}

// levelOf is the level at the input in the unit in which the sensitivity there
// is specified. Over high impedance a power means nothing, so a voltage stays.
func levelOf(in procedures.Input, p procedures.Point) quantity.Level {
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
	return l
}

// coverageHead states k where it is 2 throughout.
func (w *words) coverageHead(name string, r run) string {
	for _, p := range r.points(name) {
		if p.Counted > 0 && p.Reported.CoverageFactor != 2 {
			return w.say("U, Hz (k in notes)")
		}
	}
	return w.say("U (k = 2), Hz")
}

// markOf is how a verdict is set apart.
func markOf(p *runner.PointResult) mark {
	switch {
	case p.Verdict.Word == "fail":
		return failed
	case p.Verdict.Word == "pass":
		return plain
	case p.Verdict == decision.Verdict{} && p.Counted > 0:
		return plain // reported only
	case p.Verdict.Bad(), p.Verdict.Good():
		return conditional
	}
	return notJudged
}

func (w *words) resultCells(p *runner.PointResult) []cell {
	if p == nil {
		return []cell{{}, {Text: none}, {Text: none}, {Text: none}, {Text: none}, {Text: none}, {Text: w.say("not taken")}}
	}
	m := markOf(p)
	limit := p.Limit
	r := rounded{Error: none, U: none, Limit: none}
	mean, ppm := none, none
	if p.Counted > 0 {
		r = w.roundResult(p.Error, limit.Total, p.Reported.Expanded, readingPlaces(p))
		mean = w.fixed(p.Mean, readingPlaces(p))
		ppm = w.relative(p)
	} else if limit.Total.Sign() > 0 {
		r.Limit = w.roundResult(quantity.Exact{}, limit.Total, 0, 0).Limit
	}
	texts := []string{m.flag(), mean, r.Error, ppm, r.Limit, r.U, w.remark(p)}
	row := make([]cell, len(texts))
	for k, x := range texts {
		row[k] = cell{x, m}
	}
	return row
}

// remark is the verdict with its reason; a result that nobody judges has none.
func (w *words) remark(p *runner.PointResult) string {
	if p.Verdict == (decision.Verdict{}) && p.Counted > 0 {
		return ""
	}
	return w.stated(w.verdict(p.Verdict))
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
func (w *words) relative(p *runner.PointResult) string {
	if p.Reference.Sign() <= 0 {
		return none
	}
	perPPM := quantity.ExactInt(1000000).Quo(p.Reference)
	e, limit := p.Error.Mul(perPPM), p.Limit.Total.Mul(perPPM)
	fallback, _ := twoDigits(limit.Float())
	return w.roundResult(e, limit, p.Reported.Expanded*perPPM.Float(), fallback+1).Error
}

// pointNotes says what the table has no column for: points with the same note
// together, and runs with the same notes.
func (w *words) pointNotes(name string, runs []run) []string {
	var m merged
	for _, r := range runs {
		n := noteList{points: map[string][]string{}}
		points := slices.Clone(r.points(name)) // in the order of the table, whatever order they were taken in
		sort.SliceStable(points, func(a, b int) bool { return points[a].Point.Frequency.Cmp(points[b].Point.Frequency) < 0 })
		at := map[string]int{}
		for k, p := range points {
			at[p.Point.ID] = k
			for _, text := range w.notesOf(p) {
				n.add(text, p.Point.ID)
			}
		}
		for _, text := range n.order {
			m.add(r, w.colon(text, w.ranges(n.points[text], at)))
		}
	}
	return m.lines(w)
}

// ranges writes ids, three or more that follow each other by their places as
// "a to b".
func (w *words) ranges(ids []string, at map[string]int) string {
	var list []string
	for k := 0; k < len(ids); {
		n := 1
		for k+n < len(ids) && at[ids[k+n]] == at[ids[k+n-1]]+1 {
			n++
		}
		if n >= 3 {
			list = append(list, w.to(ids[k], ids[k+n-1]))
		} else {
			list = append(list, ids[k:k+n]...)
		}
		k += n
	}
	return strings.Join(list, ", ")
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

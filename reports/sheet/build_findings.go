package sheet

import (
	"slices"
	"sort"
	"strings"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// mostFindings is how many lines below a statement say what failed, and
// mostStretches how many stretches of frequency one of them names.
const (
	mostFindings  = 6
	mostOfEach    = 4 // where points and other measurements both have some
	mostStretches = 6
)

// finding is what several points of one input have in common.
type finding struct {
	*words
	input   string
	verdict decision.Verdict
	symptom string
	points  []*runner.PointResult // by rising frequency
	places  []int                 // where each stands among all points of the input
}

// findings groups the points that want picks by input, verdict and symptom, in
// order of the inputs, fails before conditional verdicts.
func (r run) findings(want func(*runner.PointResult) bool) []*finding {
	type alike struct {
		verdict decision.Verdict
		symptom string
	}
	var list []*finding
	for _, name := range r.Run.InputNames() {
		points := r.points(name)
		sort.SliceStable(points, func(a, b int) bool { return points[a].Point.Frequency.Cmp(points[b].Point.Frequency) < 0 })
		at := map[alike]*finding{}
		for k, p := range points {
			if !want(p) {
				continue
			}
			key := alike{p.Verdict, p.Symptom}
			f, seen := at[key]
			if !seen {
				f = &finding{words: r.words, input: name, verdict: p.Verdict, symptom: p.Symptom}
				at[key], list = f, append(list, f)
			}
			f.points, f.places = append(f.points, p), append(f.places, k)
		}
	}
	rank := func(f *finding) int {
		return slices.Index([]decision.Word{decision.Fail, decision.ConditionalFail, decision.ConditionalPass}, f.verdict.Word)
	}
	slices.SortStableFunc(list, func(a, b *finding) int { return rank(a) - rank(b) })
	return list
}

// failures are lines on what failed or passed on condition only, the gravest
// first.
func (r run) failures(most int) []string {
	list := r.findings(func(p *runner.PointResult) bool { return p.Verdict.Bad() || p.Verdict.Word == decision.ConditionalPass })
	var lines []string
	for k, f := range list {
		if k == most {
			return append(lines, r.say("and %s more, see the tables.", r.count(len(list)-k)))
		}
		lines = append(lines, f.line())
	}
	return lines
}

// line says what the finding is. Where an error outside the limit is all there
// is to say, the points are counted and the worst is named.
func (f *finding) line() string {
	worst, numbers := f.worst()
	simple := f.verdict == decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}
	one := len(f.points) == 1
	if f.symptom == "" && worst != nil && simple {
		if one {
			return f.say("Input %[1]s: 1 point outside the limit, %[2]s: %[3]s.", f.short(f.input), f.q(worst.Point.Frequency), numbers)
		}
		return f.say("Input %[2]s: %[1]s points outside the limit, worst %[3]s: %[4]s.", f.count(len(f.points)), f.short(f.input), f.q(worst.Point.Frequency), numbers)
	}
	what := f.word(string(f.verdict.Reason))
	symptom := f.short(f.word(f.symptom))
	switch {
	case f.verdict.Word != decision.Fail:
		what = join(", ", f.word(string(f.verdict.Word)), what)
	case simple && symptom != "":
		what, symptom = symptom, "" // says it better
	case what == "":
		what = f.word(string(decision.Fail))
	}
	switch {
	case worst == nil:
	case !one:
		numbers = f.say("worst %[1]s: %[2]s", f.q(worst.Point.Frequency), numbers)
	case f.verdict.Reason != decision.ReadingOutside: // the point is named already
		numbers = f.say("error %s", numbers)
	}
	if symptom != "" {
		symptom = f.say("symptom: %s", symptom)
	}
	return f.say("Input %[1]s: %[2]s at %[3]s.", f.short(f.input), what, join(", ", f.where(), numbers, symptom))
}

// where names the frequencies: three or more points that follow each other
// among those taken at the input as a range, and how many there are.
func (f *finding) where() string {
	var list []string
	at := func(k int) string { return f.q(f.points[k].Point.Frequency) }
	for k := 0; k < len(f.points); {
		if len(list) == mostStretches {
			list = append(list, f.say("and more"))
			break
		}
		n := 1
		for k+n < len(f.points) && f.places[k+n] == f.places[k+n-1]+1 {
			n++
		}
		switch {
		case at(k) == at(k+n-1):
			list = append(list, at(k))
		case n >= 3:
			list = append(list, f.to(at(k), at(k+n-1)))
		default:
			n = 1
			list = append(list, at(k))
		}
		k += n
	}
	text := strings.Join(list, ", ")
	if len(f.points) == 1 {
		return text
	}
	return f.say("%[2]s (%[1]s points)", f.count(len(f.points)), text)
}

// worst is the point whose error is largest against its limit, and both of
// these; nil where no point has an error to compare.
func (f *finding) worst() (worst *runner.PointResult, numbers string) {
	var most quantity.Exact
	for _, p := range f.points {
		if p.Counted == 0 || p.Limit.Total.Sign() <= 0 {
			continue
		}
		e := f.errorOf(p)
		if worst == nil || e.Abs().Mul(worst.Limit.Total).Cmp(most.Abs().Mul(p.Limit.Total)) > 0 {
			worst, most = p, e
		}
	}
	if worst == nil {
		return nil, ""
	}
	x := f.roundResult(most, worst.Limit.Total, worst.Reported.Expanded, readingPlaces(worst))
	if f.verdict.Reason == decision.ReadingOutside {
		return worst, f.say("error of a reading %[1]s\u00a0Hz, limit ±%[2]s\u00a0Hz", x.Error, x.Limit)
	}
	return worst, f.say("%[1]s\u00a0Hz, limit ±%[2]s\u00a0Hz", x.Error, x.Limit)
}

// errorOf is the mean error, or that of the farthest single reading where that
// is what failed the point.
func (f *finding) errorOf(p *runner.PointResult) quantity.Exact {
	e := p.Error
	if f.verdict.Reason != decision.ReadingOutside {
		return e
	}
	for _, x := range p.Readings {
		if x.Mark != "" || x.Use != runner.Counted && x.Use != runner.FirstLook {
			continue
		}
		if d := x.Frequency.Exact().Sub(p.Reference); d.Abs().Cmp(e.Abs()) > 0 {
			e = d
		}
	}
	return e
}

// shortest is how much of a free text stands on the first page.
const shortest = 240

// short cuts a free text for the first page; it stands in full further on.
func (w *words) short(s string) string {
	runes := []rune(strings.TrimSpace(clean(s)))
	if len(runes) <= shortest {
		return string(runes)
	}
	return w.say("%s … (in full further on)", string(runes[:shortest]))
}

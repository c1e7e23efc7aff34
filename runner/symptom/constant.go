package symptom

import (
	"fmt"
	"math"
	"slices"
)

// constants names errors that are the same number of hertz over a range, by input.
func (n *namer) constants() {
	all := where(n.list, func(l *look) bool { return l.Kind == Constant && !n.covered(l) || l.Kind == Constant && l.law > 0 })
	for _, input := range inputs(all) {
		here := where(all, func(l *look) bool { return l.Input == input })
		var laws []int
		for _, l := range here {
			if l.law > 0 && !slices.Contains(laws, l.law) {
				laws = append(laws, l.law)
			}
		}
		var of [][]*look
		for _, law := range laws {
			of = append(of, where(here, func(l *look) bool { return l.law == law }))
		}
		single := where(here, func(l *look) bool { return l.law == 0 })
		if step, least, most, ok := oscillator(single); ok {
			n.add(n.oscillatorOff(single, step, least, most))
			single = nil
		}
		for _, l := range single {
			of = append(of, []*look{l})
		}
		for k, group := range of {
			var others [][]*look
			others = append(append(others, of[:k]...), of[k+1:]...)
			n.add(n.constant(group, others))
		}
	}
}

// meanHertz fits E = c + y·f, where y is the offset of a timebase that keeps to what
// it is allowed (rectangular), and returns c with its standard uncertainty.
func meanHertz(list []*look) (c, u float64) {
	const scale = 1e9
	var w, wf, wff, we, wfe, most float64
	for _, l := range list {
		x, f := 1/(l.u*l.u), l.ref/scale
		if !(l.u > 0) || !finiteNumber(x*f*f) {
			continue
		}
		w, wf, wff, we, wfe = w+x, wf+x*f, wff+x*f*f, we+x*l.off(), wfe+x*f*l.off()
		most = math.Max(most, (l.coarse-l.fine)/f)
	}
	if w == 0 {
		return math.NaN(), math.NaN()
	}
	if most <= 0 {
		return we / w, 1 / math.Sqrt(w)
	}
	wff += 3 / (most * most)
	d := w*wff - wf*wf
	return (we*wff - wfe*wf) / d, math.Sqrt(wff / d)
}

func (n *namer) constant(of []*look, others [][]*look) Finding {
	f := finding(SameHertz, of)
	c, u := meanHertz(of)
	input := of[0].Input
	f.Says = signed(c) + " off"
	if finiteNumber(c) && finiteNumber(u) {
		f.Says = plus(c, aboutHertz(c, 2*u)) + " off"
	}
	f.figure("error", c, 2*u, "Hz")
	all := where(n.at(f.Inputs), func(l *look) bool { return l.Frequency >= f.From && l.Frequency <= f.To })
	if len(of) > 1 {
		f.evidence("%d of %d points from %s to %s are off by that within their limits; their relative errors run from %s to %s", len(of), len(all), digits(f.From, 6), digits(f.To, 6), share(extreme(of, math.Min)), share(extreme(of, math.Max)))
	}
	f.without(of)
	n.ends(&f, input)
	if pass := where(all, func(l *look) bool { return !l.bad }); len(pass) > 0 {
		f.against("%s in between pass (%s)", count(len(pass), "point"), pointWords(pass))
	}
	high := "above"
	if c < 0 {
		high = "below"
	}
	f.Suggests = fmt.Sprintf("an internal frequency that is not what is reckoned with, or a harmonic number reckoned %s the one in use", high)
	var parts []string
	for k := 1.0; k <= mostHarmonic; k++ {
		parts = append(parts, hertzOf(math.Abs(c)/k))
	}
	f.figure("internal frequency if the harmonic number is wrong by 1", math.Abs(c), 2*u, "Hz")
	open := fmt.Sprintf("if the harmonic number is wrong by 1, 2, 3 or 4 the internal frequency is %s", listed(parts))
	switch step, words := steps(of, others); {
	case step > 0:
		f.evidence("%s", words)
		f.figure("greatest common measure of the constants", step, 0, "Hz")
		f.open("%s; all constants here are multiples of %s or of a part of it", open, hertzOf(step))
	default:
		f.open("%s; one constant alone can't tell", open)
	}
	if len(of) == 1 {
		f.open("one point alone can't tell a constant from a share of the frequency")
	}
	n.alsoShare(&f, of)
	f.Confirm = []string{"look at the internal frequency (local oscillator and its harmonic, or the tuning of the filter) at these points: is it the one that the reading implies?",
		"take points on: where the error goes, or jumps to another multiple, the harmonic changes"}
	return f
}

// extreme is the least or greatest relative error, ppm.
func extreme(list []*look, of func(a, b float64) float64) float64 {
	x := list[0].PPM
	for _, l := range list {
		x = of(x, l.PPM)
	}
	return x
}

// hertzOf writes a frequency with up to six digits and no needless zeros.
func hertzOf(f float64) string { return digits(f, 6) }

// steps looks for a common measure of several constants at an input.
func steps(of []*look, others [][]*look) (float64, string) {
	if len(others) == 0 {
		return 0, ""
	}
	c, u := meanHertz(of)
	step, tolerance := math.Abs(c), 4*u
	list := []string{signed(c)}
	for _, o := range others {
		d, v := meanHertz(o)
		tolerance = math.Max(tolerance, 4*v)
		step = measure(step, math.Abs(d), tolerance)
		list = append(list, signed(d))
	}
	if !(step > leastSteps*tolerance) || math.IsInf(step, 0) {
		return 0, ""
	}
	slices.Sort(list)
	return step, fmt.Sprintf("the constants at this input are %s, all multiples of %s", listed(slices.Compact(list)), hertzOf(step))
}

// alsoShare says where a constant is also the share of an intermediate frequency
// that other inputs show of the whole.
func (n *namer) alsoShare(f *Finding, of []*look) {
	for _, g := range n.found {
		if (g.Symptom != SameShare && g.Symptom != WrongRatio) || slices.Equal(g.Inputs, f.Inputs) || !slices.ContainsFunc(g.of, func(l *look) bool { return slices.Contains(of, l) }) {
			continue
		}
		f.open("whether this is a fault of its own: it is also what the %s of %s makes of an intermediate frequency", g.Symptom, inputWords(slices.DeleteFunc(slices.Clone(g.Inputs), func(i string) bool { return i == of[0].Input })))
	}
}

// oscillatorOff is the finding of errors that are one step for each harmonic.
func (n *namer) oscillatorOff(of []*look, step, least, most float64) Finding {
	f := finding(SameHertz, of)
	var ks []string
	slices.SortStableFunc(of, func(a, b *look) int { return int(math.Copysign(1, a.ref-b.ref)) })
	for _, l := range of {
		ks = append(ks, fmt.Sprintf("%.0f", math.Round(l.off()/step)))
	}
	f.Says = fmt.Sprintf("a multiple of %s, one more for each harmonic", signed(step))
	f.figure("step of the errors", step, 0, "Hz")
	f.figure("internal frequency, middle of what fits", (least+most)/2, (most-least)/math.Sqrt(3), "Hz")
	f.figure("relative error of that internal frequency", 2*step/(least+most)*1e6, 0, "ppm")
	f.evidence("errors at %s are %s times %s, as if each were the harmonic of an internal frequency between %s and %s", pointWords(of), listed(ks), signed(step), digits(least, 4), digits(most, 4))
	f.evidence("the relative errors run from %s to %s: it is not the timebase alone", share(extreme(of, math.Min)), share(extreme(of, math.Max)))
	f.Suggests = "an internal oscillator of this input that is off, or not locked to the timebase"
	f.open("a step that is a whole part of the true one fits as well, with other harmonics")
	f.Confirm = []string{"measure the internal oscillator: it must be off by that share", "see whether it is locked to the timebase"}
	return f
}

// ends says what lies beyond both ends of a range at an input.
func (n *namer) ends(f *Finding, input string) {
	all := n.at([]string{input})
	for _, below := range []bool{true, false} {
		next := neighbour(all, f, below)
		if next == nil {
			continue
		}
		from, to := next.Frequency, f.From
		side := "below"
		if !below {
			from, to, side = f.To, next.Frequency, "above"
		}
		what := "passes"
		if next.bad {
			what = "shows something else"
		}
		f.evidence("the next point %s, %s, %s%s", side, next.at(), what, n.between(input, from, to))
	}
}

// neighbour is the next look beyond the range of a finding that it does not name.
func neighbour(all []*look, f *Finding, below bool) (best *look) {
	for _, l := range all {
		switch {
		case below && l.Frequency < f.From && (best == nil || l.Frequency > best.Frequency),
			!below && l.Frequency > f.To && (best == nil || l.Frequency < best.Frequency):
			best = l
		}
	}
	return best
}

// between says what the procedure tells of a gap between two frequencies.
func (n *namer) between(input string, from, to float64) string {
	var list []string
	for _, c := range n.input[input].Crossovers {
		if x := c.Float(); x >= from && x <= to {
			list = append(list, "the crossover at "+c.String())
		}
	}
	for _, s := range n.input[input].Sensitivity {
		if x := s.From.Float(); x > from && x <= to {
			list = append(list, "the border of two sub-ranges of sensitivity at "+s.From.String())
		}
	}
	if len(list) == 0 {
		return "; no crossover of the procedure lies between"
	}
	return "; between them lies " + listed(list)
}

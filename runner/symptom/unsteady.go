package symptom

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// deviation of the readings at a point, Hz, and its degrees of freedom.
func (l *look) deviation() (s, freedom float64) {
	if len(l.errors) < 2 {
		return 0, 0
	}
	return stat.StdDev(l.errors, nil), float64(len(l.errors) - 1)
}

// scatters names readings that scatter beyond what counts allow.
func (n *namer) scatters() {
	of := where(n.list, func(l *look) bool { return l.Kind == Noisy && !n.covered(l) })
	if len(of) == 0 {
		return
	}
	f := finding(Scatters, of)
	all := n.at(f.Inputs)
	f.Says = "readings lie further apart than counts and trigger error allow"
	f.evidence("at %d of %d points of %s (%s)", len(of), len(all), inputWords(f.Inputs), pointWords(of))
	if quiet := where(n.list, func(l *look) bool {
		return l.Kind == Good && len(l.errors) > 1 && !slices.Contains(f.Inputs, l.Input)
	}); len(quiet) > 0 {
		f.evidence("%s do not scatter", inputWords(inputs(quiet)))
	}
	switch law, spread := scatterLaw(of); law {
	case inProportionToFrequency:
		s, u := pooled(of, func(l *look) float64 { return l.ref })
		f.figure("standard deviation, relative", s*1e6, 2*u*1e6, "ppm")
		n.within(&f, func(l *look) float64 { return s * l.ref })
		f.Says = "readings scatter in proportion to the frequency"
		f.evidence("relative to the frequency the scatter is the same within a factor of %.2g; in counts it is not", spread)
		f.Suggests = "the timebase (noise, an unsteady lock), or the gate"
		f.Confirm = []string{"run the unit from the house standard: the scatter must go", "look at the timebase output with a counter known to be good: it must scatter alike"}
	case inCounts:
		s, u := pooled(of, func(l *look) float64 { return l.count })
		f.figure("standard deviation", s, 2*u, "counts")
		n.within(&f, func(l *look) float64 { return s * l.count })
		f.Says = "readings scatter by the same number of counts"
		f.evidence("in counts the scatter is the same within a factor of %.2g; relative to the frequency it is not", spread)
		f.Suggests = "counting or gate (noise, a bad edge), not the timebase"
		f.Confirm = []string{"lengthen the gate: the same number of counts must remain", "raise the level: what comes from the trigger grows less"}
	default:
		f.Suggests = "noise at the input, the trigger, the gate or the timebase"
		f.open("whether the scatter goes with the frequency or with the counts: %s", [...]string{"the points are too few or too much alike", "it fits neither"}[min(len(of)/4, 1)])
		f.Confirm = []string{"raise the level: what comes from the trigger gets less", "run the unit from the house standard: what comes from the timebase must go"}
	}
	n.add(f)
}

// within takes in points whose readings happen to hang together, and whose error is
// no larger than the scatter found elsewhere explains: three standard deviations.
func (n *namer) within(f *Finding, s func(*look) float64) {
	more := where(n.at(f.Inputs), func(l *look) bool {
		return l.shift && l.Kind == Other && !n.covered(l) && math.Abs(l.Error) <= 3*s(l)+l.coarse
	})
	if len(more) == 0 {
		return
	}
	wider := finding(f.Symptom, append(f.of, more...))
	f.of, f.Points, f.From, f.To = wider.of, wider.Points, wider.From, wider.To
	f.evidence("as far as their errors go, %s may be of the same scatter though the readings there hang together", pointWords(more))
}

// How scatter runs over the points.
const (
	unknownScatter = iota
	inProportionToFrequency
	inCounts
)

// scatterLaw tells whether scatter is the same relative to the frequency or in
// counts, where the points differ enough in that to tell, and within which factor.
func scatterLaw(of []*look) (law int, factor float64) {
	var counts, relative, between []float64
	for _, l := range of {
		if s, _ := l.deviation(); s > 0 && l.count > 0 && l.ref > 0 {
			counts, relative, between = append(counts, math.Log(s/l.count)), append(relative, math.Log(s/l.ref)), append(between, math.Log(l.count/l.ref))
		}
	}
	if len(counts) < 3 || stat.StdDev(between, nil) < math.Log(3) {
		return unknownScatter, 0
	}
	c, r := stat.StdDev(counts, nil), stat.StdDev(relative, nil)
	switch {
	case r < c/2:
		return inProportionToFrequency, math.Exp(r)
	case c < r/2:
		return inCounts, math.Exp(c)
	}
	return unknownScatter, 0
}

// pooled is the standard deviation of all points in their own unit, and its
// standard uncertainty.
func pooled(of []*look, unit func(*look) float64) (s, u float64) {
	sum, freedom := 0.0, 0.0
	for _, l := range of {
		if d, v := l.deviation(); v > 0 && unit(l) > 0 {
			sum, freedom = sum+v*d*d/(unit(l)*unit(l)), freedom+v
		}
	}
	s = math.Sqrt(sum / freedom)
	return s, s / math.Sqrt(2*freedom)
}

// losesCycles names readings that are low, another amount at each.
func (n *namer) losesCycles() {
	of := where(n.list, func(l *look) bool { return l.Kind == TooFew && !n.covered(l) })
	if len(of) == 0 {
		return
	}
	f := finding(LosesCycles, of)
	readings, sum := 0, 0.0
	most := 0.0
	for _, l := range of {
		for _, e := range l.errors {
			readings, sum = readings+1, sum-e/l.ref
			most = math.Max(most, -e/l.ref)
		}
	}
	f.Says = "readings are low, another amount at each"
	if readings > 0 {
		f.figure("share of the frequency that is missing, on average", 100*sum/float64(readings), 0, "%")
		f.figure("most that is missing at one reading", 100*most, 0, "%")
		f.evidence("%s at %s are low (%s), none is high: by chance that would be so once in %.2g times", count(readings, "reading"), count(len(of), "point"), pointWords(of), math.Pow(2, float64(readings)))
	}
	f.Suggests = "a signal near the trigger's threshold (level, amplifier, hysteresis), or a divider that slips"
	f.open("lost in the input or behind it: a higher level tells")
	f.Confirm = []string{"raise the level: cycles lost at the trigger come back, those lost in a divider do not", "measure the least level that counts at these frequencies"}
	n.add(f)
}

// comesAndGoes names faults that show at some readings only, or at some looks at a
// point and not at later ones.
func (n *namer) comesAndGoes() {
	of := where(n.list, func(l *look) bool { return l.Kind == Intermittent && !n.covered(l) })
	back := where(n.list, func(l *look) bool { return l.bad && !slices.Contains(of, l) && n.later(l, Good) })
	again := where(n.list, func(l *look) bool { return l.bad && !n.covered(l) && n.earlierGood(l) && !n.staysBad(l) })
	for _, l := range append(back, again...) {
		if !slices.Contains(of, l) {
			of = append(of, l)
		}
	}
	if len(of) == 0 {
		return
	}
	f := finding(ComesGoes, of)
	wrong, all := 0.0, 0.0
	for _, l := range n.at(f.Inputs) {
		wrong, all = wrong+l.Share*float64(l.all), all+float64(l.all)
	}
	if low, high := wilson(wrong, all); all > 0 {
		f.Figures = append(f.Figures, Figure{What: "share of the readings that were wrong", Value: 50 * (low + high), U: 50 * (high - low), Unit: "%"})
		f.Says = fmt.Sprintf("%.0f of %.0f readings at %s were wrong", wrong, all, inputWords(f.Inputs))
	}
	for k, l := range of {
		if k == mostListed && len(of) > mostListed+1 {
			f.evidence("and at %d more points", len(of)-k)
			break
		}
		f.evidence("%s: %s", l.at(), l.Says)
	}
	if len(back) > 0 {
		f.evidence("read right when looked at again: %s", pointWords(back))
	}
	f.Suggests = "a contact, a joint, a connector, or a stage at the edge of working"
	f.open("the share assumes that each reading fails alike; a fault that comes in spells does not")
	f.open("the cable and its connectors are the bench's: they come and go as well")
	f.Confirm = []string{"park the source at one of these points and move, tap, warm and cool while watching", "wiggle the cable: what changes then is the bench's"}
	n.belong(&f)
	n.add(f)
}

// belong notes at findings of the same inputs that they may be of this fault.
func (n *namer) belong(f *Finding) {
	for k := range n.found {
		g := &n.found[k]
		if slices.ContainsFunc(g.Inputs, func(i string) bool { return slices.Contains(f.Inputs, i) }) && g.Symptom != SameShare && g.Symptom != SelfTest {
			g.open("a fault that comes and goes was seen at %s as well: where it happened to last for all readings of a point, it shows as this", inputWords(f.Inputs))
		}
	}
}

// wilson is the 95 % interval of a share (Wilson, J. Am. Stat. Assoc. 22 (1927) 209,
// from memory).
func wilson(wrong, all float64) (low, high float64) {
	if all <= 0 {
		return 0, 1
	}
	const z = 1.96
	p := wrong / all
	middle, half := p+z*z/(2*all), z*math.Sqrt(p*(1-p)/all+z*z/(4*all*all))
	d := 1 + z*z/all
	return (middle - half) / d, (middle + half) / d
}

package symptom

import (
	"fmt"
	"math"
	"slices"

	"bandproof/procedures/accuracy"

	"gonum.org/v1/gonum/stat"
)

// meanShare fits E = y·f through the origin, each point weighted by its standard
// uncertainty, and returns y with its standard uncertainty: that of the fit,
// enlarged where the points scatter by more than they should (Birge ratio; common
// practice, from memory), and what reference and source add to all alike.
func meanShare(list []*look) (y, u float64) {
	var f, e, w []float64
	bench := math.Inf(1)
	for _, l := range list {
		if l.u > 0 && l.ref > 0 && finiteNumber(l.Error/l.u) && finiteNumber(l.ref/l.u) {
			f, e, w = append(f, l.ref), append(e, l.off()), append(w, 1/(l.u*l.u))
			bench = math.Min(bench, l.bench)
		}
	}
	if len(f) == 0 {
		return math.NaN(), math.NaN()
	}
	_, y = stat.LinearRegression(f, e, w, true)
	sum, chi := 0.0, 0.0
	for k := range f {
		sum += w[k] * f[k] * f[k]
		chi += w[k] * (e[k] - y*f[k]) * (e[k] - y*f[k])
	}
	u = 1 / math.Sqrt(sum)
	if free := float64(len(f) - 1); free > 0 && chi > free {
		u *= math.Sqrt(chi / free)
	}
	return y, math.Hypot(u, bench)
}

// shareGroups are the points that are off by a share, by the share.
func (n *namer) shareGroups() (groups [][]*look) {
	by := map[int]int{}
	var single []*look
	for _, l := range n.list {
		switch k, ok := by[l.law]; {
		case l.Kind != Off:
		case l.law == 0:
			single = append(single, l)
		case ok:
			groups[k] = append(groups[k], l)
		default:
			by[l.law] = len(groups)
			groups = append(groups, []*look{l})
		}
	}
	for _, l := range single {
		k := slices.IndexFunc(groups, func(g []*look) bool {
			y, u := meanShare(g)
			return math.Abs(l.Error-y*l.ref) <= l.fine+2*u*l.ref
		})
		if k < 0 {
			groups = append(groups, []*look{l})
			continue
		}
		groups[k] = append(groups[k], l)
	}
	return groups
}

// shares names relative errors that are the same at all points.
func (n *namer) shares() {
	for _, of := range n.shareGroups() {
		y, u := meanShare(of)
		if !finiteNumber(y) || !finiteNumber(u) {
			continue
		}
		n.add(n.share(of, y, u))
	}
}

// farPulled is the relative error from which on an oscillator's setting is an
// unlikely cause (common practice, no source).
const farPulled = 1e-4

func (n *namer) share(of []*look, y, u float64) Finding {
	mixed, words := n.mixed(of, y)
	f := finding(SameShare, append(slices.Clone(of), mixed...))
	f.figure("relative error of the readings", y*1e6, 2*u*1e6, "ppm")
	f.Says = shareWords(y, u)
	agree, contrary, mute := n.witnesses(of, y, u)
	f.evidence("%d of %d points at %s whose counts are fine enough to tell read %s", len(agree), len(agree)+len(contrary), inputWords(inputs(append(slices.Clone(agree), contrary...))), shareWords(y, u))
	if words != "" {
		f.evidence("%s", words)
	}
	if len(mute) > 0 {
		f.evidence("%s can't tell: one count there is more than half of that error", count(len(mute), "point"))
	}
	here, elsewhere := split(contrary, f.Inputs)
	before := where(contrary, func(l *look) bool { return l.At.Before(of[0].At) })
	timed := len(contrary) > 0 && len(before) == len(contrary) && slices.ContainsFunc(of, func(l *look) bool { return n.earlierGood(l) && n.staysBad(l) })
	if timed {
		f.evidence("%s that read otherwise were taken before (%s)", count(len(contrary), "point"), pointWords(contrary))
	}
	if len(here) > 0 && !timed {
		f.against("%s at the same %s read otherwise (%s)", count(len(here), "point"), inputWords(inputs(here)), pointWords(here))
	}
	if len(elsewhere) > 0 && !timed {
		f.against("%s at %s read otherwise (%s): the timebase is the same for all inputs", count(len(elsewhere), "point"), inputWords(inputs(elsewhere)), pointWords(elsewhere))
		if !slices.ContainsFunc(elsewhere, func(l *look) bool { return l.At.After(of[0].At) }) {
			f.open("input or time: %s was taken before, and not read again after", inputWords(inputs(elsewhere)))
		}
	}
	n.suggestShare(&f, of, y, u, len(elsewhere) > 0 && !timed, len(mixed) > 0)
	return f
}

// suggestShare says what a common relative error points to.
func (n *namer) suggestShare(f *Finding, of []*look, y, u float64, particular, gate bool) {
	tested := slices.ContainsFunc(of, func(l *look) bool { return l.tested })
	converted := slices.ContainsFunc(of, func(l *look) bool { return l.counting == accuracy.Converted })
	offset, uOffset := -y/(1+y), u/((1+y)*(1+y))
	if particular {
		f.Suggests = fmt.Sprintf("something of %s alone that scales what it counts; not the timebase", inputWords(f.Inputs))
		f.Confirm = []string{"read one signal at this input and at one that is right: the difference must stay"}
		return
	}
	if gate {
		f.Suggests = "the time of the gate, or the counting: a timebase that is off shows in full where a frequency is mixed down"
		f.Confirm = []string{"measure how long the gate is, and what is divided to make it", "run the unit from the house standard: the error must stay"}
		return
	}
	f.figure("offset that the timebase would have", offset*1e6, 2*uOffset*1e6, "ppm")
	f.Suggests = "the timebase"
	f.Confirm = []string{"run the unit from the house standard: the error must go; if it stays, it arises in gate or counting",
		fmt.Sprintf("read the timebase output against the standard: it must be %s off", share(offset*1e6))}
	switch {
	case !tested:
		f.Suggests = "the reference that the unit really runs from"
		f.against("by the bench file the unit does not run from its own timebase here, so that an offset of it should not show")
		f.Confirm = []string{"see on the unit which reference is in use, and whether the level at its reference input is enough", "let the unit run from its own timebase: a share that stays the same was the timebase's all along"}
	case math.Abs(y) > farPulled:
		f.Suggests = "the time of the gate, or what is divided to make it, or a timebase far off"
		f.open("the setting of an oscillator seldom reaches %s: a wrong division or a wrong oscillator is more likely (common practice, no source)", share(y*1e6))
	}
	if converted {
		f.evidence("at %s, which is mixed down, the error is the share of the whole frequency: a gate alone that is wrong would show there only as a share of the intermediate frequency", inputWords(inputs(where(of, func(l *look) bool { return l.counting == accuracy.Converted }))))
	} else if tested {
		f.open("whether timebase or gate: both scale all readings alike where nothing is mixed down")
	}
	if len(n.r.InputNames()) > 1 && len(inputs(n.at(n.r.InputNames()))) == 1 || len(f.Inputs) == 1 {
		f.open("whether it is the timebase or this input: only points at %s tell of it", inputWords(f.Inputs))
	}
}

// shareWords writes a relative error with its expanded uncertainty.
func shareWords(y, u float64) string {
	unit, by := "ppm", 1e6
	if math.Abs(y) >= 1e-3 {
		unit, by = "%", 1e2
	}
	return plus(y, about(y*by, 2*u*by, unit))
}

// witnesses sorts what was seen everywhere by whether it agrees with a relative
// error, speaks against it, or can't tell.
func (n *namer) witnesses(of []*look, y, u float64) (agree, contrary, mute []*look) {
	for _, l := range n.list {
		switch {
		case slices.Contains(of, l):
			agree = append(agree, l)
		case !l.steadyShare() || l.Kind == Off:
		case l.fine > math.Abs(y)*l.ref/2:
			mute = append(mute, l)
		case math.Abs(l.Error-y*l.ref) <= l.fine+2*u*l.ref:
			agree = append(agree, l)
		default:
			contrary = append(contrary, l)
		}
	}
	return agree, contrary, mute
}

// split sorts looks by whether they are at one of these inputs.
func split(list []*look, inputs []string) (here, elsewhere []*look) {
	for _, l := range list {
		if slices.Contains(inputs, l.Input) {
			here = append(here, l)
		} else {
			elsewhere = append(elsewhere, l)
		}
	}
	return here, elsewhere
}

// mixed finds wrong points at inputs that are mixed down whose errors are the same
// share, not of the frequency, but of an intermediate frequency: what is left over
// multiples of one internal frequency.
func (n *namer) mixed(of []*look, y float64) (list []*look, words string) {
	for _, i := range n.r.InputNames() {
		here := where(n.list, func(l *look) bool {
			return l.Input == i && l.shift && l.counting == accuracy.Converted && !slices.Contains(of, l)
		})
		low, high, step, ok := leftOver(here, y)
		if !ok {
			continue
		}
		list = append(list, here...)
		words = fmt.Sprintf("at input %s, which is mixed down, the errors are the same share of %s", i, digits(low, 4))
		if high > low*1.001 {
			words += " to " + digits(high, 4)
		}
		words += fmt.Sprintf(": what is left as intermediate frequency over multiples of %s", digits(step, 4))
	}
	return list, words
}

// leftOver finds the intermediate frequencies of which errors are the share y, and
// the internal frequency whose multiples they are left over from.
func leftOver(list []*look, y float64) (low, high, step float64, ok bool) {
	if len(list) < 2 {
		return 0, 0, 0, false
	}
	low, tolerance := math.Inf(1), 0.0
	for _, l := range list {
		rest := l.Error / y
		if !(rest > 0) || rest >= l.ref {
			return 0, 0, 0, false
		}
		allowed := (l.coarse - l.fine) / l.ref // the share is known no better than the timebase
		own := (l.coarse + allowed*rest) / math.Abs(y)
		low, high, tolerance = math.Min(low, rest), math.Max(high, rest), math.Max(tolerance, own)
		step = measure(step, l.ref-rest, 2*own)
	}
	return low, high, step, step >= 0.8*high && step >= leastSteps*tolerance
}

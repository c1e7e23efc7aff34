package symptom

import (
	"math"
	"math/big"
	"slices"
	"sort"

	"bandproof/procedures/accuracy"
)

// company names the shift of each point that has one from what others show: one
// wrong point alone tells no law. What explains the most points is named first,
// then what is left is looked at anew. At equal numbers a ratio of small terms
// comes first, then, at an input that is mixed down, a constant, which its
// oscillator makes; then other ratios, a relative error, a constant.
func company(list []*look) {
	var open []*look
	for _, l := range list {
		if l.shift {
			open = append(open, l)
		}
	}
	open = explain(open, 1)
	if y, of := common(list); len(of) > 0 {
		// What the timebase adds to all must not hide what is wrong beside it.
		names := inputs(of)
		for _, l := range list {
			if l.shift && l.Ratio == nil && !slices.Contains(of, l) && (len(names) > 1 || l.Input == names[0]) {
				l.Kind, l.law, l.base = Other, 0, y
			}
		}
		open = explain(where(list, func(l *look) bool { return l.shift && l.law == 0 }), len(list)+1)
	}
	for _, input := range inputs(open) {
		harmonics(slices.DeleteFunc(slices.Clone(open), func(l *look) bool { return l.Input != input }))
	}
	for _, l := range open {
		if l.Kind == Other {
			alone(l, list)
		}
	}
}

// explain gives each point the law that explains the most of those that are left,
// numbered from n on, and returns those that have none.
func explain(open []*look, n int) []*look {
	open = slices.Clone(open)
	for ; len(open) > 0; n++ {
		best := law{}
		for _, x := range laws(open) {
			if len(x.of) > len(best.of) || len(x.of) == len(best.of) && x.rank < best.rank {
				best = x
			}
		}
		if len(best.of) == 0 {
			break
		}
		for _, l := range best.of {
			l.Kind, l.Ratio, l.law = best.kind, best.ratio, n
		}
		open = slices.DeleteFunc(open, func(l *look) bool { return slices.Contains(best.of, l) })
	}
	return open
}

// common is the relative error of the law that the most points are explained by,
// where a timebase may be as far off, with these points; none where there is none.
func common(list []*look) (y float64, best []*look) {
	by := map[int][]*look{}
	for _, l := range list {
		if l.Kind == Off && l.law > 0 && l.tested && math.Abs(l.Error/l.ref) <= farPulled {
			by[l.law] = append(by[l.law], l)
		}
	}
	for n, of := range by {
		if len(of) > len(best) || len(of) == len(best) && n < best[0].law {
			best = of
		}
	}
	y, _ = meanShare(best)
	return y, best
}

// shown is what a point showed, off its error, less what all inputs share. What is
// added in hertz is added to what the timebase has scaled already.
func (l *look) shown() float64 { return l.Shown / (1 + l.base) }
func (l *look) off() float64   { return l.Error - l.base*l.ref }

// law is one explanation with the points that it explains.
type law struct {
	kind  Kind
	ratio *big.Rat
	rank  int
	of    []*look
}

func kindOf(r *big.Rat) Kind {
	switch {
	case r.Cmp(big.NewRat(2, 1)) == 0:
		return Double
	case r.Cmp(big.NewRat(1, 2)) == 0:
		return Half
	}
	return Ratio
}

// laws lists what explains points that are not explained yet.
func laws(open []*look) (list []law) {
	seen := map[string]bool{}
	for _, l := range open {
		r, c := l.ratioOf()
		if r == nil || c > mostChance || seen[r.String()] {
			continue
		}
		seen[r.String()] = true
		x := law{kind: kindOf(r), ratio: r, rank: 2}
		if small(r) {
			x.rank = 0
		}
		for _, m := range open {
			if m.explains(r) {
				x.of = append(x.of, m)
			}
		}
		if len(x.of) > 1 || small(r) || l.counting != accuracy.Converted {
			list = append(list, x)
		}
	}
	for _, input := range inputs(open) {
		here := slices.DeleteFunc(slices.Clone(open), func(l *look) bool { return l.Input != input })
		x := law{kind: Constant, rank: 4, of: most(here, clearConstant, func(l *look) (float64, float64) { return l.off(), l.coarse })}
		if len(x.of) > 0 && x.of[0].counting == accuracy.Converted {
			x.rank = 1
		}
		list = append(list, x)
	}
	return append(list, law{kind: Off, rank: 3, of: most(open, clearShare, func(l *look) (float64, float64) { return l.off() / l.ref, l.fine / l.ref })})
}

// How many times what it may be off by an error must be to go by it. A constant
// must be clearer: with what the timebase is allowed much looks constant.
const (
	clearShare    = 2
	clearConstant = 10
)

// most is the largest set of points, two at least, of which one value explains
// all: the intervals value ± half overlap, of points that know it clearly: value over
// half is at least that.
func most(list []*look, clear float64, of func(*look) (value, half float64)) (best []*look) {
	type end struct {
		at   float64
		open bool
	}
	var ends []end
	for _, l := range list {
		if v, h := of(l); h*clear <= math.Abs(v) {
			ends = append(ends, end{v - h, true}, end{v + h, false})
		}
	}
	sort.SliceStable(ends, func(a, b int) bool {
		return ends[a].at < ends[b].at || ends[a].at == ends[b].at && ends[a].open && !ends[b].open
	})
	depth, deepest, at := 0, 0, 0.0
	for _, e := range ends {
		if !e.open {
			depth--
			continue
		}
		if depth++; depth > deepest {
			deepest, at = depth, e.at
		}
	}
	if deepest < 2 {
		return nil
	}
	for _, l := range list {
		if v, h := of(l); h*clear <= math.Abs(v) && v-h <= at && at <= v+h {
			best = append(best, l)
		}
	}
	return best
}

// largeConstant is from how many times its limit on the error of one point at an
// input that is mixed down is taken for a constant: no divider is there that
// could make a ratio of it.
const largeConstant = 1000

// alone names what one wrong point shows that no other one shares. Points that
// passed are company too, where they know their relative error well.
func alone(l *look, list []*look) {
	r, c := l.ratioOf()
	switch {
	case r != nil && c <= mostChance && (small(r) || l.counting != accuracy.Converted):
		l.Kind, l.Ratio = kindOf(r), r
	case l.counting == accuracy.Converted && math.Abs(l.off()) > largeConstant*l.coarse:
		l.Kind = Constant
	case companions(l, list):
		l.Kind = Off
	}
}

// companions tells whether two other points or more that know their relative
// error well share that of this one, and none at this input speaks against it.
func companions(l *look, list []*look) bool {
	y, half := l.Error/l.ref, l.fine/l.ref
	n := 0
	for _, m := range list {
		if m == l || !m.steadyShare() || m.fine > math.Abs(y)*m.ref/2 {
			continue
		}
		switch off := math.Abs(m.Error/m.ref - y); {
		case off <= half+m.fine/m.ref:
			n++
		case m.Input == l.Input:
			return false
		}
	}
	return n >= 2
}

// steadyShare tells whether a relative error can be taken from a point.
func (l *look) steadyShare() bool {
	return !l.Sensitivity && l.ref > 0 && l.Shown > 0 && (l.Kind == Good || l.Kind == Off)
}

// mostHarmonic bounds the multiple of an internal frequency by which readings may
// be off where a wrong harmonic is assumed.
const mostHarmonic = 4

// harmonics looks at points of one input whose errors are not alike for whether
// they are multiples of one frequency: of a few times an internal frequency (a
// wrong harmonic), or of what its oscillator is off, times the number of the
// harmonic, which grows in proportion to the frequency.
func harmonics(list []*look) {
	if fewTimes(list) || inProportion(list) {
		for _, l := range list {
			l.Kind = Constant
		}
	}
}

// fewTimes tells whether errors are small multiples of the smallest one or of its
// half, third or quarter, far above their limits.
func fewTimes(list []*look) bool {
	if len(list) < 3 {
		return false
	}
	d := math.Inf(1)
	for _, l := range list {
		d = math.Min(d, math.Abs(l.off()))
	}
	for part := 1.0; part <= mostHarmonic; part++ {
		if multiples(list, d/part, coarsely, func(k float64) bool { return math.Abs(k) >= 1 && math.Abs(k) <= mostHarmonic }) {
			return true
		}
	}
	return false
}

// How far an error may lie off what a fault adds to it: with what the timebase is
// allowed, or without, where the fault is one of what the timebase drives.
func coarsely(l *look) float64 { return l.coarse }
func finely(l *look) float64   { return l.fine }

// multiples tells whether each error is a multiple of d that fits, no further off
// it than allowed, where a chance hit is unlikely.
func multiples(list []*look, d float64, allowed func(*look) float64, fits func(k float64) bool) bool {
	unlikely := 1.0
	for n, l := range list {
		k := math.Round(l.off() / d)
		if !fits(k) || math.Abs(l.off()-k*d) > allowed(l) {
			return false
		}
		if n > 0 {
			unlikely *= math.Min(1, 2*allowed(l)/math.Abs(d))
		}
	}
	return unlikely <= mostChance
}

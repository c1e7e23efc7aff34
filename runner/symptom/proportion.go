package symptom

import (
	"math"
	"slices"
)

// leastSteps is how many times the uncertainty a common measure of errors must be
// for it to be told at all.
const leastSteps = 20

// inProportion tells whether errors are those of a local oscillator that is off: one
// step for each of its harmonics, and the harmonic grows with the frequency.
func inProportion(list []*look) bool {
	_, _, _, ok := oscillator(list)
	return ok
}

// oscillator finds the step by which errors of one input are multiples, and the
// range of the internal frequency of which the multiple at each point is the
// harmonic: f = k·LO + IF with 0 < IF < LO leaves f/(k + 1) < LO < f/k.
func oscillator(list []*look) (step, least, most float64, ok bool) {
	if len(list) < 3 {
		return 0, 0, 0, false
	}
	by := slices.Clone(list)
	slices.SortStableFunc(by, func(a, b *look) int { return int(math.Copysign(1, a.ref-b.ref)) })
	worst := 0.0
	for _, l := range by {
		step, worst = measure(step, math.Abs(l.off()), 2*l.fine), math.Max(worst, l.fine)
	}
	if step < leastSteps*worst || math.IsInf(step, 0) || step <= 0 {
		return 0, 0, 0, false
	}
	step = math.Copysign(step, by[0].off())
	before := 0.0
	last := func(k float64) bool { good := k >= 1 && k >= before; before = k; return good }
	if !multiples(by, step, finely, last) || before == math.Round(by[0].off()/step) {
		return 0, 0, 0, false
	}
	most = math.Inf(1)
	for _, l := range by {
		k := math.Round(l.off() / step)
		least, most = math.Max(least, l.ref/(k+1)), math.Min(most, l.ref/k)
	}
	return step, least, most, least < most
}

// measure is the greatest common measure of two lengths that are known to within
// a tolerance, by Euclid's algorithm with nearest remainders.
func measure(a, b, tolerance float64) float64 {
	for b > tolerance && !math.IsInf(a, 0) {
		a, b = b, math.Abs(math.Remainder(a, b))
	}
	return a
}

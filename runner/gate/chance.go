package gate

import "math"

// The last digit is walked through its ten values by stepping the source by
// 0.37 counts, so that no two settings have the same phase. A count that is not
// in step with the signal shows n or n + 1: with x = n + φ counts in the gate
// n + 1 comes with probability φ, so that a value v of the last digit comes at
// one setting with p(v) = max(0, 1 − |x − v|), the distance taken around ten.
// That none of all readings shows v has the probability ∏(1 − p(v)); summed over
// the ten values it is the probability that a good unit misses one by chance.
// The offset of the unit's timebase shifts all x alike and is not known: the
// worst shift counts. Noise on top of the count only makes the readings more
// even: with N readings spread evenly over the decade ∏(1 − p(v)) ≤ (1 − 1/10)^N
// whatever its shape, because the mean of all p(v) is 1/10 and the product of
// numbers is at most the power of their mean (inequality of arithmetic and
// geometric means). Own derivation; a simulation in the tests confirms it.

// asynchronous is that probability, at most, for settings at positions in
// counts, each read n times, where a step of the last digit is perDigit counts
// (1 for q = 1 Hz, 10/3.2 for q = 3.2 Hz and a digit of 10 Hz).
func asynchronous(positions []float64, perDigit float64, n int) float64 {
	return worstShift(perDigit, func(shift float64, never *[10]float64) {
		for _, x := range positions {
			whole := math.Floor(x + shift)
			part := x + shift - whole
			here, next := digit(whole, perDigit), digit(whole+1, perDigit)
			if here == next {
				never[here] = 0
				continue
			}
			never[here] *= raised(part, n)
			never[next] *= raised(1-part, n)
		}
	})
}

// frozen is the same where the phase stands still, because source and unit share
// a reference, or a rounded display is coarser than a count: what a setting
// shows is certain, and only the shift is not known.
func frozen(positions []float64, perDigit float64) float64 {
	return worstShift(perDigit, func(shift float64, never *[10]float64) {
		for _, x := range positions {
			never[digit(math.Floor(x+shift), perDigit)] = 0
		}
	})
}

// raised is x to a small whole power.
func raised(x float64, n int) float64 {
	y := 1.0
	for range n {
		y *= x
	}
	return y
}

// noisy is the bound for any noise on n readings spread evenly.
func noisy(n int) float64 { return 10 * math.Pow(0.9, float64(n)) }

func digit(counts, perDigit float64) int {
	d := int(math.Mod(math.Floor(counts/perDigit+1e-9), 10))
	return (d + 10) % 10
}

// shifts of the whole walk are tried this finely, in counts.
const shiftStep = 0.02

func worstShift(perDigit float64, fill func(shift float64, never *[10]float64)) float64 {
	worst := 0.0
	for shift := 0.0; shift < 10*perDigit; shift += shiftStep {
		never := [10]float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1}
		fill(shift, &never)
		sum := 0.0
		for _, p := range never {
			sum += p
		}
		worst = math.Max(worst, sum)
	}
	return worst
}

package symptom

import "math"

// surely is the probability below which a set of readings that all lie low is no
// longer taken for scatter (sign test; common practice, no source).
const surely = 0.05

// scatter tells lost cycles from scatter: cycles that are lost only make readings
// low, noise throws them to both sides. All unsteady points of an input speak.
func scatter(list []*look) {
	for _, input := range inputs(list) {
		low, high := 0, 0
		each(list, input, func(l *look) {
			for _, e := range l.errors {
				switch {
				case e < -l.Limit:
					low++
				case e > l.Limit:
					high++
				}
			}
		})
		if high > 0 || math.Pow(0.5, float64(low)) > surely {
			continue
		}
		each(list, input, func(l *look) { l.Kind = TooFew })
	}
}

// each calls f for each unsteady point of an input.
func each(list []*look, input string, f func(*look)) {
	for _, l := range list {
		if l.Input == input && l.Kind == Noisy {
			f(l)
		}
	}
}

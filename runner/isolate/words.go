package isolate

import (
	"fmt"
	"math"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/runner/symptom"
)

// words are what a person may say of a test point: the first is how it is
// printed, the second how it is typed.
func words() map[symptom.Kind][]string {
	return map[symptom.Kind][]string{
		symptom.Good:         {"as it should be", "good", "ok", "as expected"},
		symptom.None:         {"nothing", "nothing", "none", "no signal", "dead"},
		symptom.Intermittent: {"comes and goes", "comes and goes", "intermittent"},
		symptom.Noisy:        {"noisy", "noisy", "jitters", "unstable"},
		symptom.TooFew:       {"too few pulses", "too few pulses", "misses pulses"},
		symptom.Double:       {"twice the frequency", "twice", "double"},
		symptom.Half:         {"half the frequency", "half"},
		symptom.Ratio:        {"another ratio", "another ratio"},
		symptom.Constant:     {"off by a constant", "off by a constant"},
		symptom.Off:          {"off by a small share", "off"},
		symptom.Weak:         {"too low", "low", "weak"},
		symptom.Distorted:    {"distorted", "distorted"},
		symptom.Other:        {"wrong in another way", "wrong", "other"},
	}
}

// AtTestPoint says in words what may be seen at a test point.
func AtTestPoint(k symptom.Kind) string {
	if list := words()[k]; len(list) > 0 {
		return list[0]
	}
	return string(k)
}

// sayings lists what is understood, as it is typed.
func sayings() string {
	var list []string
	for _, k := range symptom.Kinds() {
		list = append(list, words()[k][1])
	}
	return strings.Join(list, ", ")
}

// answered is what a person said of a test point.
type answered struct {
	kind      symptom.Kind
	frequency *quantity.Frequency
	within    *quantity.Frequency // what a frequency may be off and still be good
}

// parseAnswer reads "nothing", "400 MHz", "400 MHz ± 1 kHz" or "400 MHz, low".
func parseAnswer(text string) (answered, error) {
	var a answered
	for part := range strings.SplitSeq(text, ",") {
		part = strings.Join(strings.Fields(part), " ")
		kind, known := said(part)
		switch {
		case part == "":
			return a, fmt.Errorf("an answer is missing; expected a frequency such as \"400 MHz\", or: %s", sayings())
		case known && a.kind != "", !known && a.frequency != nil:
			return a, fmt.Errorf("%q says two things; expected one frequency, one word, or one of each such as \"400 MHz, low\"", text)
		case known:
			a.kind = kind
			continue
		}
		number, within, tolerance := strings.Cut(strings.ReplaceAll(part, "+-", "±"), "±")
		f, err := quantity.Parse[quantity.Hertz](strings.TrimSpace(number))
		if err != nil || f.Sign() <= 0 {
			return a, fmt.Errorf("%q is no frequency above 0 with its unit, such as \"400 MHz\", and none of: %s", part, sayings())
		}
		a.frequency = &f
		if tolerance {
			w, err := quantity.Parse[quantity.Hertz](strings.TrimSpace(within))
			if err != nil || w.Sign() < 0 {
				return a, fmt.Errorf("%q: after ± stands what it may be off, such as \"± 1 kHz\"", part)
			}
			a.within = &w
		}
	}
	return a, nil
}

func said(text string) (symptom.Kind, bool) {
	for _, k := range symptom.Kinds() {
		for _, w := range words()[k] {
			if strings.EqualFold(w, text) || strings.EqualFold(string(k), text) {
				return k, true
			}
		}
	}
	return "", false
}

// asExpected is how far, relatively, a frequency that a person reads off an
// instrument may be off and still be the one that is expected.
const asExpected = 1e-4

// smallShare is below what an error is taken for one of a timebase or an
// oscillator, and above it for another ratio.
const smallShare = 0.01

// compare says what a frequency is to the one that a good unit has there, both
// in Hz. within is what it may be off, Hz; negative: the usual.
func compare(read, expect, within float64) symptom.Kind {
	if within < 0 {
		within = asExpected * expect
	}
	near := func(x float64) bool { return math.Abs(read/expect-x) <= asExpected*x }
	switch {
	case math.Abs(read-expect) <= within:
		return symptom.Good
	case math.Abs(read/expect-1) <= smallShare:
		return symptom.Off
	case near(2):
		return symptom.Double
	case near(0.5):
		return symptom.Half
	}
	for q := 1; q <= 10; q++ {
		for p := 1; p <= 10; p++ {
			if near(float64(p) / float64(q)) {
				return symptom.Ratio
			}
		}
	}
	for n := 10.0; n < 1/smallShare; n++ { // a divider that is off by one
		if near(n/(n+1)) || near((n+1)/n) {
			return symptom.Ratio
		}
	}
	return symptom.Other
}

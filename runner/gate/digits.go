package gate

import (
	"fmt"
	"math/big"
	"slices"
	"sort"
	"strings"

	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// digits says whether each digit that was walked through took all its values.
// Of a higher digit each reading must be right but for what counts and residual
// allow, so that each value was shown where it should be; of the last digit,
// which a count either way changes, each value must have been seen at all.
func (f *found) digits() runner.Row {
	row := f.row("digits of the readings")
	places, wrong := f.wrongDigits()
	switch {
	case places == 0:
		row.Says = "not shown: no digit could be walked through"
	case len(wrong) > 0:
		row.Says = strings.Join(wrong, "; ")
		row.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.DigitFault}
	case f.rough():
		row.Says = "not told: readings spread too far to lay it on a digit"
	default:
		row.Verdict.Word = decision.Pass
		row.Says = f.allShown(places)
	}
	return row
}

func (f *found) allShown(places int) string {
	if len(f.last) == 0 {
		return fmt.Sprintf("%d digits from that of %s on took all ten values; the last one was not shown", places, hertz(f.w.place+1))
	}
	text := fmt.Sprintf("%d digits from that of %s on took all ten values", places, hertz(f.w.place))
	if f.w.chance > 0 {
		text += fmt.Sprintf(" (a good unit misses a value of the last one by chance with a probability of at most %.2g %%)", f.w.chance*100)
	}
	return text
}

// wrongDigits says what is wrong, and how many digits were walked through. That
// readings are off at all is said only where no digit is to blame.
func (f *found) wrongDigits() (places int, wrong []string) {
	var others []string
	add := func(list []seen, place int) {
		values := valuesOf(list, place)
		switch {
		case len(values) == 1:
			wrong = append(wrong, fmt.Sprintf("the digit of %s always shows %d", hertz(place), digitOf(list[0].value, place)))
		case len(values) < 10:
			wrong = append(wrong, fmt.Sprintf("the digit of %s never shows %s", hertz(place), never(values)))
		default:
			others = append(others, fmt.Sprintf("readings are wrong while the digit of %s goes through its values", hertz(place)))
		}
	}
	if len(f.last) > 0 {
		places++
		n := len(valuesOf(f.last, f.w.place))
		if n == 1 || n < 10 && (!f.rough() || noisy(len(f.last)) <= or(f.w.FalseAlarm, usualAlarm).Float()) {
			add(f.last, f.w.place)
		}
	}
	center := f.center()
	for k, list := range f.higher {
		places++
		if slices.ContainsFunc(list, func(x seen) bool { return f.off(x, center) }) {
			add(list, f.w.place+1+k)
		}
	}
	if len(wrong) == 0 {
		wrong = others
	}
	return places, wrong
}

func valuesOf(list []seen, place int) map[int]bool {
	values := map[int]bool{}
	for _, x := range list {
		values[digitOf(x.value, place)] = true
	}
	return values
}

func never(values map[int]bool) string {
	var list []string
	for v := range 10 {
		if !values[v] {
			list = append(list, fmt.Sprint(v))
		}
	}
	return strings.Join(list, ", ")
}

// rough tells whether the readings spread further than counts and a wrong last
// digit explain, so that a missing value says nothing of the digit.
func (f *found) rough() bool {
	spread, limit := f.spread()
	return spread.Sub(limit).Cmp(quantity.ExactOf(power(f.w.place)).Mul(quantity.ExactInt(2))) > 0
}

// center is the median relative error of the readings at the first frequency:
// what timebase and source do to all of them.
func (f *found) center() quantity.Exact {
	list := append(readings(f.shots[0], 0), f.last...)
	sort.Slice(list, func(a, b int) bool { return f.residual(list[a]).Cmp(f.residual(list[b])) < 0 })
	x := list[len(list)/2]
	return f.residual(x).Quo(f.shots[x.shot].Reference)
}

// off tells whether a reading lies further from that than the counts of both and
// their residuals allow.
func (f *found) off(x seen, center quantity.Exact) bool {
	reference := f.shots[x.shot].Reference
	allowed := free(f.shots[x.shot].Limit).Add(free(f.w.timing.Limit).Mul(reference).Quo(f.shots[0].Reference)).Add(f.drift())
	if f.rough() {
		spread, _ := f.spread()
		allowed = allowed.Add(spread)
	}
	return f.residual(x).Sub(center.Mul(reference)).Abs().Cmp(allowed) > 0
}

// free is a limit without its timebase term.
func free(l accuracy.Limit) quantity.Exact {
	sum := l.Total
	for _, t := range l.Terms {
		if t.Name == accuracy.TimebaseTerm {
			sum = sum.Sub(t.Hz)
		}
	}
	return sum
}

// digitOf is the digit of a value at a power of ten.
func digitOf(x quantity.Exact, place int) int {
	r := new(big.Rat).Quo(x.Abs().Rat(), power(place))
	n := new(big.Int).Quo(r.Num(), r.Denom())
	return int(n.Mod(n, big.NewInt(10)).Int64())
}

func power(n int) *big.Rat {
	p := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(n, -n))), nil)
	if n < 0 {
		return new(big.Rat).SetFrac(big.NewInt(1), p)
	}
	return new(big.Rat).SetInt(p)
}

// hertz names a digit by its weight: "10 Hz".
func hertz(place int) string { return quantity.Of[quantity.Hertz](1, int32(place)).String() }

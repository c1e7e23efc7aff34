package symptom

import (
	"fmt"
	"math"
	"math/big"
	"slices"

	"bandproof/procedures/accuracy"
)

// ratios names readings that are a ratio of the frequency.
func (n *namer) ratios() {
	var order []*big.Rat
	by := map[string][]*look{}
	for _, l := range n.list {
		if l.Ratio == nil {
			continue
		}
		k := l.Ratio.String()
		if by[k] == nil {
			order = append(order, l.Ratio)
		}
		by[k] = append(by[k], l)
	}
	for _, r := range order {
		n.add(n.ratio(r, by[r.String()]))
	}
}

func (n *namer) ratio(r *big.Rat, of []*look) Finding {
	x, _ := r.Float64()
	mixed, words := n.mixed(of, x-1)
	f := finding(WrongRatio, append(slices.Clone(of), mixed...))
	f.Figures = append(f.Figures, Figure{What: "shown over true", Value: x, Unit: "1", Text: r.RatString()})
	y, u := meanShare(of)
	f.figure("shown over true, as fitted", 1+y, 2*u, "1")
	f.Says = "reads " + times(of[0])
	names := inputs(of)
	all := n.at(names)
	f.evidence("%d of %d points at %s read %s", len(of), len(all), inputWords(names), times(of[0]))
	f.without(of)
	if words != "" {
		f.evidence("%s", words)
	}
	unlikely := 1.0
	for _, l := range of {
		_, _, half := l.ratios()
		unlikely = math.Min(unlikely, chance(r, half))
	}
	f.evidence("a ratio as simple as that is met by chance at one such point with a probability of %.1g at most", unlikely)
	if others := where(all, func(l *look) bool { return !l.bad && l.Frequency >= f.From && l.Frequency <= f.To }); len(others) > 0 {
		f.against("%s between them pass (%s)", count(len(others), "point"), pointWords(others))
	}
	if len(of) == 1 && of[0].counting != accuracy.Converted {
		f.open("one point alone can't tell a ratio from a constant of %s", signed(of[0].Error))
	}
	n.suggestRatio(&f, r, f.Inputs)
	return f
}

func (n *namer) suggestRatio(f *Finding, r *big.Rat, names []string) {
	tested := inputs(where(n.list, func(l *look) bool { return l.Input != "" && l.Frequency > 0 }))
	switch {
	case len(names) == len(tested) && len(tested) > 1:
		f.Suggests = "what all inputs share: the time of the gate, the division that makes it, or the counting chain"
	case len(names) > 1:
		f.Suggests = fmt.Sprintf("what %s share and the others do not", inputWords(names))
	case r.Cmp(big.NewRat(1, 1)) > 0 && r.IsInt():
		f.Suggests = "more than one count for each cycle (trigger, ringing, harmonics), or a divider of this input that divides too little"
	default:
		f.Suggests = "a divider of this input that divides by another number than is reckoned with, or more than one count for some cycles"
	}
	as := r.RatString()
	if r.IsInt() {
		as += " times"
	} else {
		as += " of"
	}
	f.Confirm = []string{fmt.Sprintf("look at the frequency behind each divider: where it is %s what it should be, the fault lies before", as),
		"change the level, and the form of the signal (a low-pass): counts that are made twice change with it, a division does not"}
}

package symptom

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// alive tells whether an input counted something.
func (l *look) alive() bool { return l.Kind != None }

// dead names inputs, and stretches of them, at which nothing is counted.
func (n *namer) dead() {
	for _, input := range n.r.InputNames() {
		all := where(n.at([]string{input}), func(l *look) bool { return !n.weak(l) })
		slices.SortStableFunc(all, func(a, b *look) int { return cmp.Compare(a.Frequency, b.Frequency) })
		// What was read more than once at a frequency, and not alike, tells of time or of
		// a fault that comes and goes, not of frequency.
		plain := where(all, func(l *look) bool {
			return !slices.ContainsFunc(all, func(m *look) bool { return m.Frequency == l.Frequency && m.alive() != l.alive() })
		})
		runs := stretches(plain)
		silent := 0
		for _, s := range runs {
			if !s[0].alive() {
				silent++
			}
		}
		unlike := len(plain) < len(all)
		switch {
		case silent == 0 || unlike && n.lateOnly(all):
			continue // told by changes or comesAndGoes
		case silent > 2 || unlike && len(runs) > 2:
			n.add(n.deadHere(input, plain))
			continue
		}
		for k, s := range runs {
			if !s[0].alive() {
				n.add(n.deadStretch(input, runs, k))
			}
		}
	}
}

// stretches are runs of neighbours in frequency that are all alive, or all silent.
func stretches(list []*look) (runs [][]*look) {
	for _, l := range list {
		if k := len(runs) - 1; k >= 0 && runs[k][0].alive() == l.alive() {
			runs[k] = append(runs[k], l)
			continue
		}
		runs = append(runs, []*look{l})
	}
	return runs
}

// lateOnly tells whether from some time on an input counts nothing at all, and
// counted before.
func (n *namer) lateOnly(all []*look) bool {
	by := slices.Clone(all)
	slices.SortStableFunc(by, func(a, b *look) int { return a.At.Compare(b.At) })
	runs := stretches(by)
	return len(runs) == 2 && runs[0][0].alive()
}

func (n *namer) deadStretch(input string, runs [][]*look, k int) Finding {
	of := runs[k]
	s := DeadBetween
	switch {
	case len(runs) == 1:
		s = Dead
	case k == len(runs)-1:
		s = DeadAbove
	case k == 0:
		s = DeadBelow
	}
	f := finding(s, of)
	f.evidence("no count at %s (%s)", count(len(of), "point"), pointWords(of))
	var gaps [][2]*look
	if k > 0 {
		gaps = append(gaps, [2]*look{runs[k-1][len(runs[k-1])-1], of[0]})
	}
	if k < len(runs)-1 {
		gaps = append(gaps, [2]*look{of[len(of)-1], runs[k+1][0]})
	}
	for _, g := range gaps {
		low, high := g[0].Frequency, g[1].Frequency
		f.Figures = append(f.Figures, Figure{What: "edge, middle of what fits", Value: (low + high) / 2, U: (high - low) / math.Sqrt(3), Unit: "Hz"})
		f.evidence("between %s and %s it goes over%s", g[0].at(), g[1].at(), n.between(input, low, high))
		if g[0].source != g[1].source {
			f.open("source or unit: %s is taken with source %s, %s with %s", g[0].Point, g[0].source, g[1].Point, g[1].source)
		}
	}
	f.Says = deadWords(s, of, gaps)
	f.Suggests = map[Symptom]string{
		Dead:        "the input's connector, protection, amplifier, or whatever all of its signals pass; or the choice of this input",
		DeadAbove:   "roll-off of an amplifier or a divider that no longer follows, or the path that is used above a crossover",
		DeadBelow:   "a coupling capacitor, or the path that is used below a crossover",
		DeadBetween: "the path or the filter that is used there and nowhere else",
	}[s]
	f.Confirm = []string{"take more points around the edge (edge measurement): an edge at a crossover is a switch of paths, a gradual one roll-off",
		"raise the level: what then counts needs too much level and is not dead"}
	if s == Dead {
		f.Confirm = []string{"raise the level: what then counts needs too much level and is not dead", "follow the signal from the connector on"}
	}
	if len(of) == 1 && s != Dead {
		f.open("frequency or chance: one point was silent at one look, as a fault that comes and goes has it now and then")
		f.Confirm = append([]string{"repeat that point several times"}, f.Confirm...)
	}
	n.oneLevel(&f, of)
	return f
}

func deadWords(s Symptom, of []*look, gaps [][2]*look) string {
	switch s {
	case Dead:
		return fmt.Sprintf("no count at any of %s", count(len(of), "point"))
	case DeadAbove:
		return fmt.Sprintf("counts up to %s, nothing from %s on", digits(gaps[0][0].Frequency, 6), digits(of[0].Frequency, 6))
	case DeadBelow:
		return fmt.Sprintf("counts from %s on, nothing up to %s", digits(gaps[0][1].Frequency, 6), digits(of[len(of)-1].Frequency, 6))
	}
	return fmt.Sprintf("counts below and above, nothing at %s", count(len(of), "point"))
}

// oneLevel says at which levels an input was silent: what was tried at one level
// only does not tell dead from deaf.
func (n *namer) oneLevel(f *Finding, of []*look) {
	least, most := math.Inf(1), math.Inf(-1)
	for _, l := range of {
		if !math.IsNaN(l.Margin) {
			least, most = math.Min(least, l.Margin), math.Max(most, l.Margin)
		}
	}
	if least <= most {
		f.open("dead or deaf: no more than %.3g dB above the specified sensitivity was tried; an input that needs more looks the same", most)
	}
}

// deadHere is the finding of points without a count that are spread among others.
func (n *namer) deadHere(input string, all []*look) Finding {
	of := where(all, func(l *look) bool { return !l.alive() })
	f := finding(DeadHere, of)
	f.Says = fmt.Sprintf("no count at %d of %d frequencies, spread among others that count", len(of), len(all))
	f.evidence("no count at %s", pointWords(of))
	f.Suggests = "a fault that comes and goes, or paths and filters that are used at some frequencies only"
	f.open("whether it is these frequencies or chance: no point was read often enough")
	f.Confirm = []string{fmt.Sprintf("repeat the points of input %s several times: the same ones must fail each time if it is the frequency", input)}
	return f
}

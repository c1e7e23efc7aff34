package isolate

import (
	"cmp"
	"slices"
)

// hypothesis is no fault, one, or two, with its probability.
type hypothesis struct {
	of     [2]int // of all variants; -1 for none
	faults []variant
	p      float64
}

const (
	// mostListed bounds how many hypotheses are listed one by one; where there are
	// no more than that, all are.
	mostListed = 20_000
	// leastListed is the probability that a pair has to have to be listed where
	// there are more.
	leastListed = 1e-7
)

// likeliest lists hypotheses one by one, the most probable first: all singles, and
// pairs.
func (p *Posterior) likeliest() []hypothesis {
	list := []hypothesis{{of: [2]int{-1, -1}, p: p.good}}
	for k := range p.all {
		list = append(list, hypothesis{[2]int{k, -1}, p.all[k : k+1 : k+1], p.alone[k]})
	}
	least := 0.0
	if n := len(p.all); n*n/2 > mostListed {
		least = leastListed
	}
	for pairs, fits := p.listed(least); ; pairs, fits = p.listed(least) {
		if !fits {
			least *= 10
			continue
		}
		list = append(list, pairs...)
		break
	}
	slices.SortStableFunc(list, func(a, b hypothesis) int { return cmp.Compare(b.p, a.p) })
	return list
}

// listed lists the pairs of at least a probability; fits is false where they are
// too many.
func (p *Posterior) listed(least float64) (list []hypothesis, fits bool) {
	byPrior := make([][]int, len(p.classes))
	for _, x := range p.pairs {
		for _, k := range []int{x.a, x.b} {
			if byPrior[k] == nil {
				byPrior[k] = slices.Clone(p.classes[k].members)
				slices.SortStableFunc(byPrior[k], func(a, b int) int { return cmp.Compare(p.all[b].prior, p.all[a].prior) })
			}
		}
		for _, i := range byPrior[x.a] {
			v := p.all[i]
			for _, j := range byPrior[x.b] {
				u := p.all[j]
				q := x.weight * v.prior * u.prior
				if q < least {
					break
				}
				if v.stage == u.stage || x.a == x.b && j >= i {
					continue
				}
				if list = append(list, hypothesis{[2]int{j, i}, []variant{u, v}, q}); least > 0 && len(list) > mostListed {
					return nil, false
				}
			}
		}
	}
	return list, true
}

package isolate

import (
	"context"
	"slices"
)

// Found is the probability from which on stages count as found.
const Found = 0.95

// leastInformation is what a look has to tell to be worth taking, bit.
const leastInformation = 0.02

const (
	// work that looking ahead may take: about a tenth of a second.
	work = 60_000_000
	// deepest is how many looks it goes ahead.
	deepest = 40
	// faint is the probability below which stages are no longer reckoned with.
	faint = 1e-6
)

// Expected is how many more looks it takes, on average, until what is at fault
// is Found or no look tells more, if the best one is taken each time. exact:
// within 0.05. Else only the most probable continuation was followed of too much
// of what may be seen.
func (p *Posterior) Expected(ctx context.Context, done map[string]bool) (looks float64, exact bool, err error) {
	b := p.belief(0.999, 500)
	t := tree{ctx: ctx, work: work}
	for _, c := range p.candidates(done) {
		if ctx.Err() != nil {
			return 0, false, ctx.Err()
		}
		t.probes = append(t.probes, p.answers(b, &c.look))
		t.minutes = append(t.minutes, c.Minutes)
	}
	t.taken = make([]bool, len(t.probes))
	root := branch{all(b.groups), b.weight}
	// Every pass branches where the one before did, and farther; the last that
	// was finished counts, or else the first.
	for t.least = 1; !exact && t.least > faint && ctx.Err() == nil; t.least /= 4 {
		t.cut = 0
		l := t.from(root, 1, 0)
		if t.work <= 0 {
			if looks == 0 {
				looks = l
			}
			break
		}
		looks, exact = l, t.cut*deepest < 0.05
	}
	return looks, exact, ctx.Err()
}

func all(n int) []int {
	list := make([]int, n)
	for k := range list {
		list[k] = k
	}
	return list
}

// tree looks ahead: which probe is best, and after each answer again. Stages
// are told apart, their modes no more than they were at its root.
type tree struct {
	ctx     context.Context
	probes  []answers
	minutes []float64
	taken   []bool
	// least is the probability of having seen all of what leads to a branch from
	// which on all answers are gone into; below it only the likeliest.
	least float64
	work  int     // that is left
	cut   float64 // probability of the branches of which only the likeliest was followed
}

// branch is what is believed after some answers: groups, with their weights,
// which sum to 1.
type branch struct {
	groups []int
	weight []float64
}

// information is what is seen on average, and the mutual information of it and of
// which group is true, in bit: the entropy that the answer is expected to take
// away (Shannon 1948).
func (b branch) information(a *answers) (seen distribution, bit float64) {
	for k, g := range b.groups {
		w := b.weight[k]
		for s, x := range &a.seen[g] {
			seen[s] += w * x
		}
		bit -= w * a.entropy[g]
	}
	return seen, max(0, bit+entropy(seen[:]))
}

// after an answer, which has a probability.
func (b branch) after(a *answers, s int, probability float64) branch {
	var next branch
	sum := 0.0
	for k, g := range b.groups {
		if w := b.weight[k] * a.seen[g][s] / probability; w > faint {
			next.groups, next.weight = append(next.groups, g), append(next.weight, w)
			sum += w
		}
	}
	for k := range next.weight {
		next.weight[k] /= sum
	}
	return next
}

// from is how many looks more, from a branch that is come to with a
// probability.
func (t *tree) from(b branch, reach float64, depth int) float64 {
	most := 0.0
	for _, w := range b.weight {
		most = max(most, w)
	}
	if most >= Found || t.ctx.Err() != nil {
		return 0
	}
	if depth > deepest || t.work <= 0 {
		return 0
	}
	best, seen := t.best(b)
	if best < 0 {
		return 0
	}
	t.taken[best] = true
	defer func() { t.taken[best] = false }()
	if reach < t.least {
		t.cut += reach
		s := slices.Index(seen[:], slices.Max(seen[:]))
		return 1 + t.from(b.after(&t.probes[best], s, seen[s]), 0, depth+1)
	}
	more, reckoned := 0.0, 0.0
	for s, p := range seen {
		if p >= rare {
			more += p * t.from(b.after(&t.probes[best], s, p), reach*p, depth+1)
			reckoned += p
		}
	}
	return 1 + more/reckoned
}

// best is the probe that is worth most; -1 where none tells anything.
func (t *tree) best(b branch) (best int, seen distribution) {
	worth := 0.0
	best = -1
	for k := range t.probes {
		if t.taken[k] {
			continue
		}
		t.work -= len(b.groups)*symptoms + 10*symptoms
		if d, bit := b.information(&t.probes[k]); bit > leastInformation && bit/t.minutes[k] > worth {
			best, seen, worth = k, d, bit/t.minutes[k]
		}
	}
	return best, seen
}

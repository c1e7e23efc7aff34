package isolate

import (
	"context"
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
// is Found or no look tells more, if the best one is taken each time. exact is
// false where that was cut short and the rest estimated by the information that
// is still lacking.
func (p *Posterior) Expected(ctx context.Context, done map[string]bool) (looks float64, exact bool, err error) {
	b := p.belief(0.999, 500)
	t := tree{ctx: ctx, work: work, exact: true}
	for _, c := range p.candidates(done) {
		if ctx.Err() != nil {
			return 0, false, ctx.Err()
		}
		t.probes = append(t.probes, p.answers(b, &c.look))
		t.minutes = append(t.minutes, c.Minutes)
	}
	t.taken = make([]bool, len(t.probes))
	looks = t.from(branch{all(b.groups), b.weight}, 0)
	return looks, t.exact, ctx.Err()
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
	work    int
	exact   bool
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

func (t *tree) from(b branch, depth int) float64 {
	most := 0.0
	for _, w := range b.weight {
		most = max(most, w)
	}
	if most >= Found || t.ctx.Err() != nil || depth > deepest {
		return 0
	}
	best, info, seen := t.best(b)
	if best < 0 {
		return 0
	}
	if t.work <= 0 { // each further look gives about what this one does
		t.exact = false
		return max(1, entropy(b.weight)/info)
	}
	t.taken[best] = true
	defer func() { t.taken[best] = false }()
	more, reckoned := 0.0, 0.0
	for s, p := range seen {
		if p >= rare {
			more += p * t.from(b.after(&t.probes[best], s, p), depth+1)
			reckoned += p
		}
	}
	return 1 + more/reckoned
}

// best is the probe that is worth most; -1 where none tells anything.
func (t *tree) best(b branch) (best int, info float64, seen distribution) {
	worth := 0.0
	best = -1
	for k := range t.probes {
		if t.taken[k] {
			continue
		}
		t.work -= len(b.groups)*symptoms + 10*symptoms
		if d, bit := b.information(&t.probes[k]); bit > leastInformation && bit/t.minutes[k] > worth {
			best, info, seen, worth = k, bit, d, bit/t.minutes[k]
		}
	}
	return best, info, seen
}

package isolate

import (
	"context"
	"math"
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
	// faint is the probability below which a hypothesis is no longer reckoned with.
	faint = 1e-6
)

// Expected is how many more looks it takes, on average, until a stage is Found or
// no look tells more, if the best one is taken each time. exact: within 0.05. Else
// only the most probable continuation was followed of too much of what may be
// seen.
func (p *Posterior) Expected(ctx context.Context, done map[string]bool) (looks float64, exact bool, err error) {
	b := p.belief(0.9999, 500)
	t := tree{ctx: ctx, work: work}
	for _, c := range p.candidates(done) {
		if ctx.Err() != nil {
			return 0, false, ctx.Err()
		}
		t.probes = append(t.probes, p.answers(b, &c.look))
		t.minutes = append(t.minutes, c.Minutes)
	}
	t.taken = make([]bool, len(t.probes))
	root := b.branch()
	for _, h := range b.list {
		t.stages = append(t.stages, stagesOf(h.faults))
	}
	t.weight = make([]float64, 1+len(p.network.stages))
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

// tree looks ahead: which probe is best, and after each answer again.
type tree struct {
	ctx     context.Context
	probes  []*answers
	minutes []float64
	taken   []bool
	stages  [][2]int  // at fault by each hypothesis
	weight  []float64 // room for the weights of stages, after that of no fault
	// least is the probability of having seen all of what leads to a branch from
	// which on all answers are gone into; below it only the likeliest.
	least float64
	work  int     // that is left
	cut   float64 // probability of the branches of which only the likeliest was followed
}

// branch is what is believed after some answers: hypotheses, with their weights,
// which sum to 1.
type branch struct {
	hypotheses []int
	weight     []float64
}

func (b belief) branch() branch {
	x := branch{hypotheses: all(len(b.list))}
	for _, h := range b.list {
		x.weight = append(x.weight, h.p)
	}
	return x
}

// all numbers below n.
func all(n int) []int {
	list := make([]int, n)
	for k := range list {
		list[k] = k
	}
	return list
}

// information is what is seen on average, and the mutual information of it and of
// which group is true, in bit: the entropy that the answer is expected to take
// away (Shannon 1948).
func (b branch) information(a *answers) (seen distribution, bit float64) {
	clear(a.sums)
	for k, h := range b.hypotheses {
		a.sums[a.of[h]] += b.weight[k]
	}
	for first, next := 0, 0; first < len(a.cases); first = next {
		var mix distribution
		total, one := 0.0, -1
		for next = first; next < len(a.cases) && a.cases[next].group == a.cases[first].group; next++ {
			w := a.sums[next]
			if w == 0 {
				continue
			}
			if one = next; total > 0 {
				one = len(a.cases) // more than one
			}
			total += w
			for s, x := range &a.cases[next].distribution {
				mix[s] += w * x
			}
		}
		switch {
		case one < 0:
			continue
		case one < len(a.cases):
			bit -= total * a.cases[one].entropy
		default:
			bit -= entropy(mix[:]) + total*math.Log2(total) // total times the entropy of mix divided by it
		}
		for s, x := range &mix {
			seen[s] += x
		}
	}
	return seen, max(0, bit+entropy(seen[:]))
}

// after an answer, which has a probability.
func (b branch) after(a *answers, s int, probability float64) branch {
	var next branch
	sum := 0.0
	for k, h := range b.hypotheses {
		if w := b.weight[k] * a.cases[a.of[h]].distribution[s] / probability; w > faint {
			next.hypotheses, next.weight = append(next.hypotheses, h), append(next.weight, w)
			sum += w
		}
	}
	for k := range next.weight {
		next.weight[k] /= sum
	}
	return next
}

// sure tells whether a stage is Found, or that there is no fault.
func (t *tree) sure(b branch) bool {
	clear(t.weight)
	for k, h := range b.hypotheses {
		of := t.stages[h] // -1, -1: no fault; -1, stage: one
		t.weight[1+of[1]] += b.weight[k]
		if of[0] >= 0 && of[0] != of[1] {
			t.weight[1+of[0]] += b.weight[k]
		}
	}
	return slices.Max(t.weight) >= Found
}

// from is how many looks more, from a branch that is come to with a
// probability.
func (t *tree) from(b branch, reach float64, depth int) float64 {
	if len(b.hypotheses) == 0 || t.sure(b) || depth > deepest || t.work <= 0 || t.ctx.Err() != nil {
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
		return 1 + t.from(b.after(t.probes[best], s, seen[s]), 0, depth+1)
	}
	more, reckoned := 0.0, 0.0
	for s, p := range seen {
		if p >= rare {
			more += p * t.from(b.after(t.probes[best], s, p), reach*p, depth+1)
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
		t.work -= len(b.hypotheses) + 2*symptoms*len(t.probes[k].cases)
		if d, bit := b.information(t.probes[k]); bit > leastInformation && bit/t.minutes[k] > worth {
			best, seen, worth = k, d, bit/t.minutes[k]
		}
	}
	return best, seen
}

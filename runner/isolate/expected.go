package isolate

import (
	"context"
)

// Found is the probability from which on stages count as found.
const Found = 0.95

// Expected is how many more looks it takes, on average, until what is at fault
// is Found or no look tells more, if the best one is taken each time. exact is
// false where that was cut short and the rest estimated by the information that
// is still lacking.
func (p *Posterior) Expected(ctx context.Context, done map[string]bool) (looks float64, exact bool, err error) {
	b := p.belief()
	t := tree{ctx: ctx, work: 100_000_000, done: done}
	for _, c := range p.candidates(done) {
		t.probes = append(t.probes, c)
		t.answers = append(t.answers, p.network.answers(b, &c.look))
	}
	looks = t.from(b.weight, make([]bool, len(t.probes)), 0)
	return looks, t.work > 0, ctx.Err()
}

// tree looks ahead: which probe is best, and after each answer again. Stages
// are told apart, their modes no more than they were at its root.
type tree struct {
	ctx     context.Context
	probes  []Probe
	answers [][]distribution // by probe and group
	done    map[string]bool
	work    int
}

const deepest = 40

func (t *tree) from(weight []float64, taken []bool, depth int) float64 {
	most := 0.0
	for _, w := range weight {
		most = max(most, w)
	}
	if most >= Found || t.ctx.Err() != nil || depth > deepest {
		return 0
	}
	best, worth, info := -1, 0.0, 0.0
	for k := range t.probes {
		if taken[k] {
			continue
		}
		i := information(weight, t.answers[k])
		t.work -= len(weight) * symptoms
		if x := i / t.probes[k].Minutes; i > leastInformation && x > worth {
			best, worth, info = k, x, i
		}
	}
	if best < 0 {
		return 0
	}
	if t.work <= 0 { // each further look gives about what this one does
		return max(1, entropy(weight)/info)
	}
	taken[best] = true
	defer func() { taken[best] = false }()
	sum := 1.0
	for s := range symptoms {
		next, all := make([]float64, len(weight)), 0.0
		for g, w := range weight {
			next[g] = w * t.answers[best][g][s]
			all += next[g]
		}
		if all < 0.005 {
			continue
		}
		for g := range next {
			next[g] /= all
		}
		sum += all * t.from(next, taken, depth+1)
	}
	return sum
}

// leastInformation is what a look has to tell to be worth taking, bit.
const leastInformation = 0.02

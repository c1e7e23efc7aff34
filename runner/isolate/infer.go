package isolate

import (
	"cmp"
	"context"
	"math"
)

// Options of an inference.
type Options struct {
	// Lose is the share of the probability that leaving out unlikely pairs of
	// faults may lose; 1e-9 unless stated. Negative: nothing is left out.
	Lose float64
	// Pairs bounds how many kinds of faults, told apart by the evidence, are taken
	// into pairs; 1500 unless stated. Where it cuts, Posterior.Lost may be large.
	Pairs int
}

// Posterior is what is believed after evidence.
type Posterior struct {
	network *Network
	looks   []look
	places  []string  // of looks, in words
	all     []variant // every way in which a stage may have failed
	sure    []float64 // probability of each, alone or with another
	alone   []float64 // and alone
	fit     []float64 // log likelihood of the evidence under each alone, over that of a good unit
	good    float64
	classes []class
	pairs   []pair       // of classes
	list    []hypothesis // the most probable ones, in order
	// Lost bounds the probability of pairs of faults that were left out, relative
	// to all.
	Lost float64
	// Outside is evidence for which the model has no way or no test point.
	Outside []Observation
}

// Infer weighs every single fault and every pair of faults by the evidence. The
// result is exact under these hypotheses but for pairs that were left out, whose
// probability is bounded by Posterior.Lost.
func (n *Network) Infer(ctx context.Context, evidence []Observation, o Options) (*Posterior, error) {
	post := &Posterior{network: n}
	see := n.seeing()
	for _, x := range evidence {
		if l, ok := see.lookOf(x); ok && l.seen >= 0 {
			post.looks = append(post.looks, l)
		} else {
			post.Outside = append(post.Outside, x)
		}
	}
	w := &weighing{n: n, looks: post.looks, lose: cmp.Or(o.Lose, 1e-9), most: cmp.Or(o.Pairs, 1500), all: n.variants(post.looks)}
	for _, step := range []func(context.Context) error{w.see, w.classify, w.pair} {
		if err := step(ctx); err != nil {
			return nil, err
		}
	}
	post.all, post.classes, post.pairs = w.all, w.classes, w.pairs
	w.normalise(post)
	post.list = post.likeliest()
	for k := range post.looks {
		post.places = append(post.places, post.looks[k].where(n))
	}
	return post, ctx.Err()
}

// weighing is an inference under way. Faults to which all looks answer alike
// make a class, so that a pair of classes is weighed for all its pairs of faults
// at once. Weights are logarithms, over that of a good unit.
type weighing struct {
	n       *Network
	looks   []look
	lose    float64
	most    int
	all     []variant
	columns []*column
	classes []class
	pairs   []pair
	lost    []float64 // logarithms of what was left out
}

// class is variants that have the same effect on every look.
type class struct {
	effects []uint16 // by column
	members []int
	prior   float64   // of all of them
	stages  []int     // that they are of, ascending
	part    []float64 // of the prior, by place in stages
	single  float64   // log likelihood of one of them alone
	most    float64   // the most that it can be with whatever other fault
	// weight is the likelihood alone, and with what of the prior of other faults
	// by place in stages, as shares of all.
	weight float64
	paired []float64
}

// pair is a fault of each of two classes, which may be the same.
type pair struct {
	a, b   int
	fit    float64
	weight float64 // likelihood as a share of all
}

// classify puts variants that do the same to all looks together.
func (w *weighing) classify(ctx context.Context) error {
	index := map[string]int{}
	key := make([]byte, 2*len(w.columns))
	for k, v := range w.all {
		if k%256 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		for i, c := range w.columns {
			key[2*i], key[2*i+1] = byte(c.effects[k]), byte(c.effects[k]>>8)
		}
		at, ok := index[string(key)]
		if !ok {
			at = len(w.classes)
			index[string(key)] = at
			w.classes = append(w.classes, w.classOf(k))
		}
		c := &w.classes[at]
		if last := len(c.stages) - 1; last < 0 || c.stages[last] != v.stage {
			c.stages, c.part = append(c.stages, v.stage), append(c.part, 0)
		}
		c.members = append(c.members, k)
		c.part[len(c.part)-1] += v.prior
		c.prior += v.prior
	}
	return nil
}

// classOf is a new class for a variant, empty yet.
func (w *weighing) classOf(variant int) class {
	c := class{effects: make([]uint16, len(w.columns))}
	for i, x := range w.columns {
		e := x.effects[variant]
		c.effects[i] = e
		c.single += x.count * x.table.fit[e][0]
		c.most += x.count * x.table.most[e]
	}
	return c
}

// others is the prior of faults of a class in other stages than the one: sums,
// so that no small one is lost in a difference.
func (c *class) others(stages int) []float64 {
	list := make([]float64, stages)
	for k := range list {
		list[k] = c.prior
	}
	before := 0.0
	for k, s := range c.stages {
		list[s] = before
		before += c.part[k]
	}
	after := 0.0
	for k := len(c.stages) - 1; k >= 0; k-- {
		list[c.stages[k]] += after
		after += c.part[k]
	}
	return list
}

// normalise makes probabilities of weights.
func (w *weighing) normalise(post *Posterior) {
	others := make([][]float64, len(w.classes))
	top := 0.0
	for k := range w.classes {
		c := &w.classes[k]
		top = max(top, math.Log(c.prior)+c.single)
		c.paired = make([]float64, len(c.stages))
	}
	for k := range w.pairs {
		p := &w.pairs[k]
		top = max(top, math.Log(w.classes[p.a].prior)+math.Log(w.classes[p.b].prior)+p.fit)
		for _, x := range []int{p.a, p.b} {
			if others[x] == nil {
				others[x] = w.classes[x].others(len(w.n.Model.Stages))
			}
		}
	}
	all := math.Exp(-top)
	for k := range w.classes {
		c := &w.classes[k]
		c.weight = math.Exp(c.single - top)
		all += c.weight * c.prior
	}
	for k := range w.pairs {
		p := &w.pairs[k]
		p.weight = math.Exp(p.fit - top)
		all += p.weight * w.together(p, others)
	}
	for k := range w.pairs {
		w.pairs[k].weight /= all
	}
	post.good = math.Exp(-top) / all
	post.sure, post.alone, post.fit = make([]float64, len(w.all)), make([]float64, len(w.all)), make([]float64, len(w.all))
	for k := range w.classes {
		c := &w.classes[k]
		c.weight /= all
		at := 0
		for _, m := range c.members {
			for c.stages[at] != w.all[m].stage {
				at++
			}
			post.fit[m] = c.single
			post.alone[m] = w.all[m].prior * c.weight
			post.sure[m] = post.alone[m] + w.all[m].prior*c.paired[at]/all
		}
	}
	for _, x := range w.lost {
		post.Lost += math.Exp(x-top) / all
	}
}

// together adds what a pair of classes gives to each stage of them, and returns
// the prior of all their pairs of faults in two stages.
func (w *weighing) together(p *pair, others [][]float64) (prior float64) {
	a, b := &w.classes[p.a], &w.classes[p.b]
	for k, s := range a.stages {
		a.paired[k] += p.weight * others[p.b][s]
		prior += a.part[k] * others[p.b][s]
	}
	if p.a == p.b {
		return prior / 2
	}
	for k, s := range b.stages {
		b.paired[k] += p.weight * others[p.a][s]
	}
	return prior
}

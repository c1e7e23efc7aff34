package isolate

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Options of an inference.
type Options struct {
	// Lose is the share of the probability that leaving out unlikely pairs of
	// faults may lose; 1e-9 unless stated. Negative: nothing is left out.
	Lose float64
	// Pairs bounds how many variants are taken into pairs; 600 unless stated.
	Pairs int
}

// hypothesis is no fault, one, or two.
type hypothesis struct {
	faults []variant
	p      float64
	fit    float64 // log likelihood of the evidence
}

// Posterior is what is believed after evidence.
type Posterior struct {
	network *Network
	looks   []look
	list    []hypothesis // most probable first; sums to 1
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
	for _, x := range evidence {
		if l, ok := n.lookOf(x); ok && place(x.Kind) >= 0 {
			post.looks = append(post.looks, l)
		} else {
			post.Outside = append(post.Outside, x)
		}
	}
	w := &weighing{n: n, looks: post.looks, options: o, all: n.variants(post.looks)}
	if err := w.singles(ctx); err != nil {
		return nil, err
	}
	if err := w.pairs(ctx); err != nil {
		return nil, err
	}
	post.list, post.Lost = w.normalised()
	return post, nil
}

// weighing is an inference under way. Weights are logarithms, of prior odds
// times likelihood.
type weighing struct {
	n       *Network
	looks   []look
	options Options
	all     []variant
	base    float64   // log likelihood of a good unit
	single  []float64 // log likelihood of each variant over that of a good unit
	most    []float64 // the same, of the variant with whatever else there may be
	list    []hypothesis
	lost    []float64 // logarithms of what was left out
}

func (w *weighing) singles(ctx context.Context) error {
	good := make([]float64, len(w.looks))
	for k := range w.looks {
		good[k] = math.Log(certain.leaky()[place(w.looks[k].obs.Kind)])
		w.base += good[k]
	}
	top := math.Log((1 - Leak) + Leak/symptoms)
	w.list = append(w.list, hypothesis{fit: w.base})
	for k, v := range w.all {
		if k%256 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		single, most := 0.0, 0.0
		for i := range w.looks {
			l := &w.looks[i]
			if !l.touches(v.stage) {
				most += top - good[i]
				continue
			}
			s := place(l.obs.Kind)
			var p, bound float64
			for _, x := range l.ways {
				d := w.n.inWay(v, l, x)
				p += d[s]
				bound += atMost(d, s)
			}
			share := (1 - Leak) / float64(len(l.ways))
			single += math.Log(p*share+Leak/symptoms) - good[i]
			most += math.Log(bound*share+Leak/symptoms) - good[i]
		}
		w.single, w.most = append(w.single, single), append(w.most, most)
		w.list = append(w.list, hypothesis{faults: w.all[k : k+1 : k+1], fit: w.base + single})
	}
	return nil
}

// atMost bounds what both gives for a symptom, whatever the other fault is.
func atMost(d distribution, s int) float64 {
	switch s {
	case sGood:
		return d[sGood]
	case sNone:
		return 1
	}
	return 1 - d[sNone]
}

// pairs weighs two faults at once. A pair is left out where a bound on its
// weight says that it does not matter.
func (w *weighing) pairs(ctx context.Context) error {
	kept, least := w.partners()
	seen := make([]effects, len(kept))
	for k, i := range kept {
		seen[k] = w.effects(w.all[i])
	}
	for i := range kept {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		for j := range i {
			a, b := kept[i], kept[j]
			if w.all[a].stage == w.all[b].stage {
				continue
			}
			prior := math.Log(w.all[a].prior) + math.Log(w.all[b].prior)
			if bound := prior + min(w.most[a], w.most[b]); bound < least {
				w.lost = append(w.lost, bound)
				continue
			}
			fit := w.base + w.together(seen[i], seen[j])
			w.list = append(w.list, hypothesis{faults: []variant{w.all[a], w.all[b]}, fit: fit})
		}
	}
	return nil
}

// partners lists the variants that pairs are made of, and the least weight (over
// that of a good unit) at which a pair matters.
func (w *weighing) partners() (kept []int, least float64) {
	lose, most := cmp.Or(w.options.Lose, 1e-9), cmp.Or(w.options.Pairs, 600)
	total, priors := 1.0, 0.0 // weights over a good unit's; at least 1, so that nothing overflows below
	shift := 0.0
	for k, v := range w.all {
		shift = max(shift, math.Log(v.prior)+w.single[k])
		priors += v.prior
	}
	total = math.Exp(-shift)
	for k, v := range w.all {
		total += math.Exp(math.Log(v.prior) + w.single[k] - shift)
	}
	all := math.Log(total) + shift
	bound := func(k int) float64 { return math.Log(w.all[k].prior) + w.most[k] + math.Log(priors) }
	order := make([]int, len(w.all))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(bound(a), bound(b)) })
	if lose < 0 {
		return order, math.Inf(-1)
	}
	sum, first := 0.0, 0
	for ; first < len(order); first++ {
		x := math.Exp(bound(order[first]) - all)
		if sum+x > lose/2 && len(order)-first <= most {
			break
		}
		sum += x
		w.lost = append(w.lost, bound(order[first]))
	}
	pairs := max(1, len(order)-first)
	return order[first:], all + math.Log(lose/2) - 2*math.Log(float64(pairs))
}

// effects is what a variant alone would do to each look.
type effects struct {
	touched []bool
	alone   []float64        // log likelihood over that of a good unit
	ways    [][]distribution // by look and way
}

func (w *weighing) effects(v variant) effects {
	e := effects{make([]bool, len(w.looks)), make([]float64, len(w.looks)), make([][]distribution, len(w.looks))}
	for k := range w.looks {
		l := &w.looks[k]
		if e.touched[k] = l.touches(v.stage); !e.touched[k] {
			continue
		}
		s, p := place(l.obs.Kind), 0.0
		for _, x := range l.ways {
			d := w.n.inWay(v, l, x)
			e.ways[k] = append(e.ways[k], d)
			p += d[s] / float64(len(l.ways))
		}
		e.alone[k] = math.Log((1-Leak)*p+Leak/symptoms) - math.Log(certain.leaky()[s])
	}
	return e
}

// together is the log likelihood of two variants over that of a good unit.
func (w *weighing) together(a, b effects) float64 {
	sum := 0.0
	for k := range w.looks {
		switch {
		case !b.touched[k]:
			sum += a.alone[k]
		case !a.touched[k]:
			sum += b.alone[k]
		default:
			s, p := place(w.looks[k].obs.Kind), 0.0
			for x := range a.ways[k] {
				d := both(a.ways[k][x], b.ways[k][x])
				p += d[s] / float64(len(a.ways[k]))
			}
			sum += math.Log((1-Leak)*p+Leak/symptoms) - math.Log(certain.leaky()[s])
		}
	}
	return sum
}

// normalised sorts and normalises the hypotheses; lost is relative to all.
func (w *weighing) normalised() (list []hypothesis, lost float64) {
	weight := func(h hypothesis) float64 {
		x := h.fit
		for _, v := range h.faults {
			x += math.Log(v.prior)
		}
		return x
	}
	top := math.Inf(-1)
	for _, h := range w.list {
		top = max(top, weight(h))
	}
	sum := 0.0
	for k := range w.list {
		w.list[k].p = math.Exp(weight(w.list[k]) - top)
		sum += w.list[k].p
	}
	for k := range w.list {
		w.list[k].p /= sum
	}
	for _, x := range w.lost {
		lost += math.Exp(x+w.base-top) / sum
	}
	slices.SortStableFunc(w.list, func(a, b hypothesis) int { return cmp.Compare(b.p, a.p) })
	return w.list, lost
}

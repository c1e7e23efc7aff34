package isolate

import (
	"cmp"
	"math"
	"slices"
)

// belief is the more probable hypotheses, grouped by which stages are at fault.
type belief struct {
	list    []hypothesis
	group   []int // of each hypothesis
	byGroup []int // the hypotheses, those of a group side by side
}

// mostBelieved bounds the hypotheses that the worth of a look is worked out from.
const mostBelieved = 2000

// supposed is what looks are proposed by: every hypothesis, but where a reading of
// the unit is bad only those of a fault. Whoever saw a unit fail goes on looking,
// though chance may still be the likeliest to explain it.
func (p *Posterior) supposed() []hypothesis {
	bad := func(l look) bool { return l.place == atReading && l.seen != sGood }
	if !slices.ContainsFunc(p.looks, bad) {
		return p.list
	}
	list, sum := make([]hypothesis, 0, len(p.list)), 0.0
	for _, h := range p.list {
		if len(h.faults) > 0 {
			list, sum = append(list, h), sum+h.p
		}
	}
	if sum == 0 {
		return p.list
	}
	for k := range list {
		list[k].p /= sum
	}
	return list
}

// belief takes hypotheses, the most probable first, until they come to a share
// of all or are too many. Those that are as probable as each other are all taken,
// or none: else the order of stages in the file would have a say.
func (p *Posterior) belief(enough float64, most int) belief {
	b, sum, index := belief{}, 0.0, map[[2]int]int{}
	list := p.supposed()
	alike := func(k int) bool { return k > 0 && list[k].p >= list[k-1].p*(1-1e-9) }
	end := 0
	for ; end < len(list) && list[end].p > 0 && (alike(end) || end < most && sum < enough); end++ {
		if end == 2*most { // too many that are alike
			for ; end > 1 && alike(end); end-- {
			}
			break
		}
		sum += list[end].p
	}
	b.list, sum = slices.Clone(list[:end]), 0
	for k := range b.list {
		sum += b.list[k].p
	}
	for k := range b.list {
		b.list[k].p /= sum
		key := stagesOf(b.list[k].faults)
		if _, ok := index[key]; !ok {
			index[key] = len(index)
		}
		b.group = append(b.group, index[key])
	}
	b.byGroup = all(len(b.list))
	slices.SortStableFunc(b.byGroup, func(x, y int) int { return cmp.Compare(b.group[x], b.group[y]) })
	return b
}

// stagesOf numbers which stages are at fault, whatever the mode.
func stagesOf(faults []variant) [2]int {
	key := [2]int{-1, -1}
	for k, v := range faults {
		key[k] = v.stage
	}
	return [2]int{min(key[0], key[1]), max(key[0], key[1])}
}

// rare is the probability below which an answer is not reckoned with.
const rare = 0.005

// answers is what a look shows under each hypothesis. Many show the same.
type answers struct {
	of    []uint16 // number in cases, of each hypothesis
	cases []answerCase
	sums  []float64 // room for the weights of cases
}

// answerCase is what a look shows under some hypotheses of one group. The cases of
// a group stand side by side.
type answerCase struct {
	group int
	*shown
}

// shown is what a look shows under a hypothesis, and the entropy of that, bit.
type shown struct {
	distribution
	entropy float64
}

// answers works out what a look shows: each two effects are put together once.
func (p *Posterior) answers(b belief, l *look) *answers {
	e, met := newEffects(sOther, len(l.ways)), map[[2]uint16]*shown{}
	effect := make([]int32, len(p.all)) // one more than its number; 0 where it is not known yet
	ways := make([]distribution, len(l.ways))
	number := func(variant int) uint16 {
		if variant < 0 || !l.touches(p.all[variant].stage) {
			return 0
		}
		if effect[variant] == 0 {
			for k, w := range l.ways {
				ways[k] = p.network.inWay(p.all[variant], l, w)
			}
			effect[variant] = int32(e.number(ways)) + 1
		}
		return uint16(effect[variant] - 1)
	}
	a := &answers{of: make([]uint16, len(b.list))}
	index := map[answerCase]uint16{}
	for _, k := range b.byGroup {
		key := [2]uint16{number(b.list[k].of[0]), number(b.list[k].of[1])}
		x := met[key]
		if x == nil {
			x = e.together(key)
			met[key] = x
		}
		c := answerCase{b.group[k], x}
		if _, ok := index[c]; !ok {
			index[c] = uint16(len(a.cases))
			a.cases = append(a.cases, c)
		}
		a.of[k] = index[c]
	}
	a.sums = make([]float64, len(a.cases))
	return a
}

// together is what two effects show.
func (e *effects) together(of [2]uint16) *shown {
	x := &shown{}
	for k, d := range e.ways[of[0]] {
		for s, p := range both(d, e.ways[of[1]][k]) {
			x.distribution[s] += p / float64(len(e.ways[0]))
		}
	}
	x.distribution = x.leaky()
	x.entropy = entropy(x.distribution[:])
	return x
}

// entropy of a distribution, bit.
func entropy(of []float64) float64 {
	sum := 0.0
	for _, p := range of {
		if p > 0 {
			sum -= p * math.Log(p)
		}
	}
	return sum / math.Ln2
}

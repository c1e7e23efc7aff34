package isolate

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// enumeration weighs each hypothesis by plain products of probabilities, 200 bit
// wide: nothing is merged, left out, or taken to a logarithm.
type enumeration struct {
	total, good *big.Float
	stage       []*big.Float
	pair        map[[2]int]*big.Float
}

func wide(x float64) *big.Float { return new(big.Float).SetPrec(200).SetFloat64(x) }

func enumerate(n *Network, evidence []Observation) enumeration {
	var looks []look
	for _, o := range evidence {
		if l, ok := n.seeing().lookOf(o); ok {
			looks = append(looks, l)
		}
	}
	e := enumeration{total: wide(0), good: wide(0), pair: map[[2]int]*big.Float{}}
	for range n.Model.Stages {
		e.stage = append(e.stage, wide(0))
	}
	weigh := func(faults ...variant) *big.Float {
		p := wide(1)
		for _, v := range faults {
			p.Mul(p, wide(v.prior))
		}
		for k := range looks {
			p.Mul(p, wide(shows(n, &looks[k], faults)))
		}
		e.total.Add(e.total, p)
		return p
	}
	e.good = weigh()
	all := n.variants(looks)
	for i, v := range all {
		p := weigh(v)
		e.stage[v.stage].Add(e.stage[v.stage], p)
		for _, w := range all[:i] {
			if v.stage == w.stage {
				continue
			}
			p := weigh(v, w)
			e.stage[v.stage].Add(e.stage[v.stage], p)
			e.stage[w.stage].Add(e.stage[w.stage], p)
			key := [2]int{min(v.stage, w.stage), max(v.stage, w.stage)}
			if e.pair[key] == nil {
				e.pair[key] = wide(0)
			}
			e.pair[key].Add(e.pair[key], p)
		}
	}
	return e
}

func (e enumeration) share(x *big.Float) float64 {
	p, _ := new(big.Float).Quo(x, e.total).Float64()
	return p
}

// shows is the probability of what was seen: each way as likely, and what two
// faults show worked out from each thing that one shows with each of the other.
func shows(n *Network, l *look, faults []variant) float64 {
	seen, sum := l.seen, 0.0
	for _, w := range l.ways {
		d := distribution{sGood: 1}
		for _, v := range faults {
			d = joined(d, n.inWay(v, l, w))
		}
		sum += d[seen] / float64(len(l.ways))
	}
	return (1-Leak)*sum + Leak/symptoms
}

// joined says the rule of both in words, symptom by symptom.
func joined(a, b distribution) (out distribution) {
	for i, x := range a {
		for j, y := range b {
			p := x * y
			switch {
			case i == sNone || j == sNone: // nothing beats everything
				out[sNone] += p
			case i == sGood:
				out[j] += p
			case j == sGood || i == j:
				out[i] += p
			default: // either, or neither
				out[i] += p / 4
				out[j] += p / 4
				out[sOther] += p / 2
			}
		}
	}
	return out
}

// What Infer gives for stages, for pairs of stages and for none is what plain
// enumeration of every hypothesis gives.
func TestInferAgainstEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := loaded(t, randomModel(t, small{stages: 4, ways: 3, points: 3}))
		evidence := randomEvidence(t, 8)
		want, got := enumerate(n, evidence), inferred(t, n, evidence)
		require.InDelta(t, want.share(want.good), got.Good(), 1e-12, "good")
		for k, s := range n.Model.Stages {
			require.InDelta(t, want.share(want.stage[k]), got.Stage(s.Name), 1e-12, s.Name)
		}
		pairs := map[[2]int]float64{}
		for _, p := range got.Pairs(0) {
			a, b := n.stages[p.Stages[0]], n.stages[p.Stages[1]]
			pairs[[2]int{min(a, b), max(a, b)}] = p.Probability
		}
		for key, p := range want.pair {
			require.InDelta(t, want.share(p), pairs[key], 1e-12, "%v", key)
		}
		require.Len(t, pairs, len(want.pair))
		require.Zero(t, got.Lost)
	})
}

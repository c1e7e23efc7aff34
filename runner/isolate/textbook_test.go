package isolate

import (
	"context"
	"fmt"
	"math"
	"testing"

	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// cause is one way in which a stage may be at fault, by its odds against good,
// with how many times as likely as without it each thing seen is.
type cause struct {
	stage int
	odds  float64
	times []float64
}

// reasoned weighs causes by ratios of likelihoods; pair gives those of two at once.
func reasoned(t *testing.T, causes []cause, pair func(a, b, seen int) float64) *Posterior {
	t.Helper()
	w := &weighing{n: &Network{Model: &Model{}}, lose: -1, most: 100}
	for k, c := range causes {
		w.all = append(w.all, variant{stage: c.stage, prior: c.odds, x: math.NaN()})
		for len(w.n.Model.Stages) <= c.stage {
			w.n.Model.Stages = append(w.n.Model.Stages, Stage{Name: fmt.Sprint(len(w.n.Model.Stages))})
		}
		_ = k
	}
	for seen := range causes[0].times {
		x := &table{fit: make([][]float64, len(causes)+1), most: make([]float64, len(causes)+1)}
		of := &column{1, make([]uint16, len(causes)), x}
		for a := range x.fit {
			x.fit[a] = make([]float64, len(causes)+1)
			for b := range x.fit[a] {
				switch {
				case a > 0 && b > 0:
					x.fit[a][b] = math.Log(pair(a-1, b-1, seen))
				case a+b > 0:
					x.fit[a][b] = math.Log(causes[a+b-1].times[seen])
				}
			}
			if a > 0 {
				of.effects[a-1] = uint16(a)
			}
		}
		w.columns = append(w.columns, of)
	}
	require.NoError(t, w.classify(context.Background()))
	require.NoError(t, w.pair(context.Background()))
	p := &Posterior{network: w.n, all: w.all}
	p.classes, p.pairs = w.classes, w.pairs
	w.normalise(p)
	return p
}

func none(int, int, int) float64 { return 0 }

// Casscells, Schoenberger, Graboys 1978, N Engl J Med 299: an illness that one in
// 1000 has, a test that finds it always and is wrong in 5 % of the healthy: of
// those found positive 2 % are ill (from memory; 0.001/(0.001 + 0.999 · 0.05)).
func TestPositiveTestOfARareIllness(t *testing.T) {
	p := reasoned(t, []cause{{0, 0.001 / 0.999, []float64{1 / 0.05}}}, none)
	require.InDelta(t, 0.001/(0.001+0.999*0.05), p.stages()[0], 1e-15)
	require.InDelta(t, 0.02, p.stages()[0], 5e-4)
	require.InDelta(t, 1-p.stages()[0], p.Good(), 1e-15)
}

// Two urns, as likely: one has 30 white and 10 black balls, the other 20 of each.
// A white one speaks for the first with 0.6; two, drawn with putting back, with
// 9/13 (the textbook example of two bowls, from memory).
func TestTwoUrns(t *testing.T) {
	for drawn, want := range map[int]float64{0: 0.5, 1: 0.6, 2: 9.0 / 13} {
		c := cause{0, 1, []float64{}}
		for range drawn {
			c.times = append(c.times, (30.0/40)/(20.0/40))
		}
		require.InDelta(t, want, reasoned(t, []cause{c}, none).stages()[0], 1e-15)
	}
}

// Three machines make 20 %, 30 % and 50 % of all pieces, of which 5 %, 3 % and 1 %
// are bad: a bad one is of the third with 5/24 (a general encyclopaedia's example
// of Bayes' theorem, from memory). They exclude each other, as modes of a stage do.
func TestThreeMachines(t *testing.T) {
	p := reasoned(t, []cause{{0, 0.2 / 0.5, []float64{5}}, {0, 0.3 / 0.5, []float64{3}}}, none)
	require.InDelta(t, 5.0/24, p.Good(), 1e-15)
	require.InDelta(t, 10.0/24, p.sure[0], 1e-15)
	require.InDelta(t, 9.0/24, p.sure[1], 1e-15)
}

// The alarm that a burglary or an earthquake sets off, or both, of which two
// neighbours call (Pearl 1988, with the figures of Russell and Norvig, Artificial
// Intelligence: a Modern Approach, section 14.4): P(burglary | both call) = 0.284.
// Tables of probability as published in lecture notes; the result from memory.
func TestAlarm(t *testing.T) {
	called := func(alarm float64) float64 { return alarm*0.90*0.70 + (1-alarm)*0.05*0.01 }
	unless := called(0.001)
	p := reasoned(t, []cause{{0, 0.001 / 0.999, []float64{called(0.94) / unless}}, {1, 0.002 / 0.998, []float64{called(0.29) / unless}}},
		func(a, b, _ int) float64 { return called(0.95) / unless })
	require.InDelta(t, 0.284, p.stages()[0], 0.0005)
	require.InDelta(t, 0.284171835, p.stages()[0], 1e-8)
}

// Three multipliers and two adders (de Kleer and Williams 1987, Artificial
// Intelligence 32): F = M1 + M2 is wrong, G = M2 + M3 is right. The candidates of
// one fault are M1 and A1, as likely; the others need a second fault. The next
// look worth most is at M1's output X, which splits those two (from memory).
const polybox = `schema = "bandproof block model 1"
name = "three multipliers and two adders"
unit = "polybox"
origin = "de Kleer and Williams 1987"
reading = "display"
stage = [
  { name = "in F", kind = "connector", input = "F", rate = "1e-6", modes = ["dead"] },
  { name = "in G", kind = "connector", input = "G", rate = "1e-6", modes = ["dead"] },
  { name = "M1", kind = "other", modes = ["dead"] },
  { name = "M2", kind = "other", modes = ["dead"] },
  { name = "M3", kind = "other", modes = ["dead"] },
  { name = "A1", kind = "other", modes = ["dead"] },
  { name = "A2", kind = "other", modes = ["dead"] },
  { name = "display", kind = "other", rate = "1e-6", modes = ["dead"] },
]
way = [{ name = "F", input = "F" }, { name = "G", input = "G" }]
connection = [
  { from = "in F", to = "M1" }, { from = "in F", to = "M2" }, { from = "in G", to = "M2" }, { from = "in G", to = "M3" },
  { from = "M1", to = "A1" }, { from = "M2", to = "A1", ways = ["F"] }, { from = "M2", to = "A2", ways = ["G"] }, { from = "M3", to = "A2" },
  { from = "A1", to = "display", ways = ["F"] }, { from = "A2", to = "display", ways = ["G"] },
]
test_point = [
  { name = "X", after = "M1", access = "probe" }, { name = "Y", after = "M2", access = "probe" }, { name = "Z", after = "M3", access = "probe" },
]
`

func TestThreeMultipliersTwoAdders(t *testing.T) {
	n := loaded(t, polybox)
	post := inferred(t, n, []Observation{{ID: "F", Input: "F", Frequency: 1e6, Kind: symptom.None}, {ID: "G", Input: "G", Frequency: 1e6, Kind: symptom.Good}})
	require.InDelta(t, post.Stage("M1"), post.Stage("A1"), 1e-12)
	require.Greater(t, post.Stage("M1"), 0.4)
	for _, s := range []string{"M2", "M3", "A2"} {
		require.Less(t, post.Stage(s), 0.1, s)
	}
	probes, err := post.Probes(t.Context(), nil)
	require.NoError(t, err)
	require.Equal(t, "X", probes[0].TestPoint)
	require.Equal(t, "F", probes[0].Input)
	require.Equal(t, []string{"M1", "A1"}, Alike(post.Suspects(), 0.1)[0])
}

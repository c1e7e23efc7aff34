package isolate

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// everything asks all that can be asked, and looks for what is no probability.
func everything(t require.TestingT, n *Network, evidence []Observation) {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	post, err := n.Infer(ctx, evidence, Options{})
	require.NoError(t, err)
	probability := func(p float64) {
		if !(p >= 0 && p <= 1+1e-9) {
			require.InDelta(t, 0.5, p, 0.5)
		}
	}
	probability(post.Good())
	require.False(t, math.IsNaN(post.Lost) || math.IsInf(post.Lost, 0) || post.Lost < 0)
	for _, s := range post.Suspects() {
		probability(s.Probability)
		sum := 0.0
		for _, m := range s.Modes {
			probability(m.Probability)
			sum += m.Probability
		}
		require.InDelta(t, s.Probability, sum, 1e-9)
	}
	Alike(post.Suspects(), 0)
	for _, p := range post.Pairs(0) {
		probability(p.Probability)
	}
	require.LessOrEqual(t, len(post.Unexplained())+len(post.Outside), len(evidence))
	probes, err := post.Probes(ctx, nil)
	require.NoError(t, err)
	for _, p := range probes {
		require.True(t, p.Information >= 0 && p.Information < 64 && p.Minutes > 0, "%+v", p)
	}
	looks, _, err := post.Expected(ctx, map[string]bool{})
	require.NoError(t, err)
	require.True(t, looks >= 0 && looks < 1e6, "%g", looks)
	n.Testability()
}

// Whatever model is read and whatever is said to have been seen, there is an
// answer in probabilities.
func TestAnyModelAnyEvidence(t *testing.T) {
	strange := []float64{0, -1, 1e-300, 1, 1e6, 3.3e8, 1e18, 1e300, math.MaxFloat64, math.Inf(1), math.Inf(-1), math.NaN()}
	rapid.Check(t, func(t *rapid.T) {
		n := loaded(t, randomModel(t, small{stages: 5, ways: 3, points: 3}))
		evidence := randomEvidence(t, 8)
		number := rapid.SampledFrom(strange)
		for k := range evidence {
			o := &evidence[k]
			switch rapid.IntRange(0, 6).Draw(t, "made strange") {
			case 0:
				o.Frequency = number.Draw(t, "frequency")
			case 1:
				x := number.Draw(t, "margin")
				o.Margin = &x
			case 2:
				o.Powered = number.Draw(t, "powered")
			case 3:
				o.Readings = rapid.SampledFrom([]int{math.MinInt, -1, math.MaxInt}).Draw(t, "readings")
			case 4:
				o.TestPoint, o.Input = rapid.SampledFrom([]string{"", "TP0", "nowhere"}).Draw(t, "test point"), rapid.SampledFrom([]string{"", "A", "Z"}).Draw(t, "input")
			case 5:
				o.Kind = symptom.Kind(rapid.SampledFrom([]string{"", "nonsense", "nothing"}).Draw(t, "seen"))
			}
		}
		everything(t, n, evidence)
	})
}

func TestExpressionsStayNumbers(t *testing.T) {
	for _, bad := range []string{"9**9**9**9", "f^9", "1..1000000", "max(1..999999)", "[f][0]", `"f"`, "f > 1 ? 1 : 2", "map(f, f)", "len(f)", "f % 2",
		strings.Repeat("(", 200) + "f" + strings.Repeat(")", 200) + strings.Repeat("+f", 60), strings.Repeat("f+", 400) + "f", "f // x", "now()", "lo", "f f"} {
		_, err := parseExpression(bad, []string{"f"})
		require.Error(t, err, bad)
	}
	for text, want := range map[string]float64{"f": 7, "f / 32": 7.0 / 32, "floor((f - 20e6) / 2)": -1e7 + 3, "min(f, 2) - -1": 3, "abs(-f)": 7, "1": 1} {
		x, err := parseExpression(text, []string{"f"})
		require.NoError(t, err, text)
		require.Equal(t, want, x.at(map[string]float64{"f": 7}), text)
	}
	for _, none := range []string{"1 / (f - f)", "f / 0", "1e308 * 1e308", "0 / (f - f)"} {
		x, err := parseExpression(none, []string{"f"})
		if err == nil {
			require.True(t, math.IsNaN(x.at(map[string]float64{"f": 7})), none)
		}
	}
}

// Load takes no text amiss, and what it takes can be reasoned over.
func FuzzLoad(f *testing.F) {
	f.Add([]byte(polybox))
	small := strings.NewReplacer("f / 32", "floor((f - 20e6) / 2e8)", "name = \"F\", ", "name = \"F\", from = \"1 MHz\", to = \"100 MHz\", ").Replace(polybox)
	f.Add([]byte(small + "[[internal]]\nname = \"lo\"\nexpression = \"min(f, 2e8)\"\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		n, err := Load("fuzz.toml", text)
		if err != nil || len(n.Model.Stages)*len(n.Model.Ways)*(1+len(n.Model.TestPoints)) > 2000 {
			return
		}
		var evidence []Observation
		for k, w := range n.Model.Ways {
			o := Observation{Input: w.Input, SelfTest: w.SelfTest, Kind: symptom.Kinds()[k%symptoms]}
			if at, ok := w.middle(); ok {
				o.Frequency = at
			}
			evidence = append(evidence, o)
		}
		everything(t, n, evidence)
	})
}

package isolate

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// chain is a model of n stages in a row between input A and the reading, each
// as likely to be dead as any other, with a test point after each but the last.
// Two faults at once are next to impossible: the first of two lies early in a
// row, which moves the best split forward.
func chain(t testing.TB, n int) *Network {
	t.Helper()
	var b strings.Builder
	b.WriteString("schema = \"bandproof block model 1\"\nname = \"chain\"\nunit = \"chain\"\norigin = \"a test\"\nfaults = \"1e-4\"\n")
	fmt.Fprintf(&b, "reading = \"stage %d\"\n[[way]]\nname = \"A\"\ninput = \"A\"\nfrom = \"1 MHz\"\nto = \"100 MHz\"\n", n)
	b.WriteString("[[stage]]\nname = \"input A\"\nkind = \"connector\"\ninput = \"A\"\nrate = \"1e-9\"\nmodes = [\"dead\"]\n")
	before := "input A"
	for k := 1; k <= n; k++ {
		name := fmt.Sprintf("stage %d", k)
		fmt.Fprintf(&b, "[[stage]]\nname = %q\nkind = \"amplifier\"\nmodes = [\"dead\"]\n[[connection]]\nfrom = %q\nto = %q\n", name, before, name)
		if k < n {
			fmt.Fprintf(&b, "[[test_point]]\nname = \"TP%d\"\nafter = %q\naccess = \"probe\"\n", k, name)
		}
		before = name
	}
	network, err := Load("chain.toml", []byte(b.String()))
	require.NoError(t, err)
	return network
}

// A chain of n equally likely stages is searched by halving it: about log2 n
// looks (half-split method, common practice; the information of a yes or no is
// greatest where both are equally likely, Shannon 1948).
func TestHalfSplitting(t *testing.T) {
	for _, n := range []int{4, 8, 16, 32, 64} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			network := chain(t, n)
			var dead []Observation
			for k := range 4 {
				dead = append(dead, Observation{ID: fmt.Sprint(k), Input: "A", Frequency: float64(k+1) * 1e7, Kind: symptom.None})
			}
			post, err := network.Infer(t.Context(), dead, Options{})
			require.NoError(t, err)
			probes, err := post.Probes(t.Context(), nil)
			require.NoError(t, err)
			require.Equal(t, fmt.Sprintf("TP%d", n/2), probes[0].TestPoint)
			total, faults := 0, 0
			for fault := 1; fault <= n; fault += max(1, n/16) {
				faults++
				evidence := dead
				for look := 1; ; look++ {
					require.LessOrEqual(t, look, n, "stage %d is not found", fault)
					post, err := network.Infer(t.Context(), evidence, Options{})
					require.NoError(t, err)
					if post.Stage(fmt.Sprintf("stage %d", fault)) >= Found {
						break
					}
					probes, err := post.Probes(t.Context(), nil)
					require.NoError(t, err)
					kind := symptom.Good
					if network.stages[probes[0].After] >= fault {
						kind = symptom.None
					}
					evidence = append(evidence, probes[0].Observation(kind))
					total++
				}
			}
			mean := float64(total) / float64(faults)
			require.InDelta(t, math.Log2(float64(n)), mean, 0.5)
			looks, exact, err := post.Expected(t.Context(), nil)
			require.NoError(t, err)
			t.Logf("%d stages: %.2f looks, expected %.2f (%v)", n, mean, looks, exact)
			require.InDelta(t, mean, looks, 0.5)
		})
	}
}

package isolate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
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
	return unequalChain(t, slices.Repeat([]int{1}, n), slices.Repeat([]string{"probe"}, n))
}

// unequalChain is a chain of stages of some rates, with test points of some access.
func unequalChain(t testing.TB, rates []int, access []string) *Network {
	t.Helper()
	n := len(rates)
	var b strings.Builder
	b.WriteString("schema = \"bandproof block model 1\"\nname = \"chain\"\nunit = \"chain\"\norigin = \"a test\"\nfaults = \"1e-4\"\n")
	fmt.Fprintf(&b, "reading = \"stage %d\"\n[[way]]\nname = \"A\"\ninput = \"A\"\nfrom = \"1 MHz\"\nto = \"100 MHz\"\n", n)
	b.WriteString("[[stage]]\nname = \"input A\"\nkind = \"connector\"\ninput = \"A\"\nrate = \"1e-9\"\nmodes = [\"dead\"]\n")
	before := "input A"
	for k := 1; k <= n; k++ {
		name := fmt.Sprintf("stage %d", k)
		fmt.Fprintf(&b, "[[stage]]\nname = %q\nkind = \"amplifier\"\nrate = \"%d\"\nmodes = [\"dead\"]\n[[connection]]\nfrom = %q\nto = %q\n", name, rates[k-1], before, name)
		if k < n {
			fmt.Fprintf(&b, "[[test_point]]\nname = \"TP%d\"\nafter = %q\naccess = %q\n", k, name, access[k-1])
		}
		before = name
	}
	network, err := Load("chain.toml", []byte(b.String()))
	require.NoError(t, err)
	return network
}

func deadPoints() []Observation {
	var dead []Observation
	for k := range 4 {
		dead = append(dead, Observation{ID: fmt.Sprint(k), Input: "A", Frequency: float64(k+1) * 1e7, Kind: symptom.None})
	}
	return dead
}

// A chain of n equally likely stages is searched by halving it: about log2 n
// looks (half-split method, common practice; the information of a yes or no is
// greatest where both are equally likely, Shannon 1948).
func TestHalfSplitting(t *testing.T) {
	for _, n := range []int{4, 8, 16, 32, 64} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			network := chain(t, n)
			dead := deadPoints()
			post, err := network.Infer(t.Context(), dead, Options{})
			require.NoError(t, err)
			probes, err := post.Probes(t.Context(), nil)
			require.NoError(t, err)
			require.Equal(t, fmt.Sprintf("TP%d", n/2), probes[0].TestPoint)
			total, faults := 0, 0
			for fault := 1; fault <= n; fault += max(1, n/8) {
				faults++
				total += len(walked(t, network, fault))
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

// leastCost is the least mean cost of finding which of stages first to last is
// dead, times how often they fail: every order of looks is tried.
func leastCost(rates []int, cost []float64, first, last int) float64 {
	if first == last {
		return 0
	}
	often, least := 0.0, math.Inf(1)
	for k := first; k <= last; k++ {
		often += float64(rates[k])
	}
	for k := first; k < last; k++ {
		least = min(least, cost[k]*often+leastCost(rates, cost, first, k)+leastCost(rates, cost, k+1, last))
	}
	return least
}

// Where stages fail unequally often and looks cost unequally, taking what is worth
// most per minute costs little more than the best of all orders of looks.
func TestUnequalChainAgainstAllOrders(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	sum, worst, cases := 0.0, 0.0, 0
	for n := 2; n <= 6; n++ {
		for range 4 {
			rates, access, cost := make([]int, n), make([]string, n), make([]float64, n)
			often := 0.0
			for k := range n {
				rates[k] = 1 + random.IntN(5)
				x := accessTable()[random.IntN(3)]
				access[k], cost[k] = x.name, x.minutes
				often += float64(rates[k])
			}
			network, taken := unequalChain(t, rates, access), 0.0
			for fault := 1; fault <= n; fault++ {
				for _, p := range walked(t, network, fault) {
					taken += float64(rates[fault-1]) * p.Minutes
				}
			}
			ratio := taken / leastCost(rates, cost, 0, n-1)
			sum, worst, cases = sum+ratio, max(worst, ratio), cases+1
		}
	}
	t.Logf("mean %.3f, worst %.3f of the least", sum/float64(cases), worst)
	require.Less(t, sum/float64(cases), 1.02)
	require.Less(t, worst, 1.1)
}

// walked follows the probes until a dead stage of a chain is found.
func walked(t *testing.T, network *Network, fault int) (taken []Probe) {
	t.Helper()
	evidence := deadPoints()
	for {
		post, err := network.Infer(t.Context(), evidence, Options{})
		require.NoError(t, err)
		if post.Stage(fmt.Sprintf("stage %d", fault)) >= Found {
			return taken
		}
		probes, err := post.Probes(t.Context(), nil)
		require.NoError(t, err)
		require.NotEmpty(t, probes, "stage %d is not found", fault)
		kind := symptom.Good
		if network.stages[probes[0].After] >= fault {
			kind = symptom.None
		}
		evidence, taken = append(evidence, probes[0].Observation(kind)), append(taken, probes[0])
	}
}

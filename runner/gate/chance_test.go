package gate

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func walked(n int) []float64 {
	x := make([]float64, n)
	for k := range x {
		x[k] = step * float64(k)
	}
	return x
}

// The probability that a good unit misses a value of its last digit, against a
// simulation of the count itself: floor(x + a phase that is evenly drawn).
func TestChanceAgainstSimulation(t *testing.T) {
	const trials = 1_000
	for _, row := range []struct {
		settings, n int
		perDigit    float64
	}{{14, 1, 1}, {28, 1, 1}, {28, 2, 1}, {40, 1, 10 / 3.2}} {
		x, r := walked(row.settings), rand.New(rand.NewPCG(1, 2))
		worst := 0.0
		for s := range 25 {
			shift, misses := float64(s)*10*row.perDigit/25, 0
			for range trials {
				var seen [10]bool
				for _, at := range x {
					for range row.n {
						seen[digit(math.Floor(at+shift+r.Float64()), row.perDigit)] = true
					}
				}
				for _, v := range seen {
					if !v {
						misses++
						break
					}
				}
			}
			worst = math.Max(worst, float64(misses)/trials)
		}
		got := asynchronous(x, row.perDigit, row.n)
		noise := 5 * math.Sqrt(math.Max(got, 1/float64(trials))/trials)
		require.LessOrEqual(t, worst, got+noise, "%+v: a bound holds", row)
		if got < 0.2 { // where several values are missed at once their sum is far above
			require.GreaterOrEqual(t, worst, 0.6*got-noise, "%+v: and is not far off", row)
		}
	}
}

// Two readings at each of 28 settings bring it below 0.1 %: by hand, the worst
// shift has settings at 0.185, 0.555 and 0.925 counts to both sides of a value,
// (0.185·0.555·0.925)^4 times ten is 8·10^-4, and shifts differ by value.
func TestChanceByHand(t *testing.T) {
	got := asynchronous(walked(28), 1, 2)
	require.Less(t, got, 10*math.Pow(0.185*0.555*0.925, 4)*1.1)
	require.Greater(t, got, 1e-5)
	require.InDelta(t, 0, frozen(walked(28), 1), 0, "no gap is as wide as a count")
	require.InDelta(t, 5, frozen([]float64{0, 1, 2, 3, 4}, 1), 1e-9, "half of the decade, half of the values")
	require.InDelta(t, 9.4e-4, noisy(88), 1e-5, "0.9^88 = 9.4e-5")
}

// Noise only evens out: with settings spread evenly the bound (9/10)^N holds for
// any shape of it.
func TestNoisyBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		weights := rapid.SliceOfN(rapid.Float64Range(0, 1), 10, 10).Draw(t, "how likely each distance is")
		sum := 0.0
		for _, w := range weights {
			sum += w
		}
		if sum == 0 {
			return
		}
		never := 1.0
		for x := range 10 { // one reading at each of ten settings, one digit apart
			never *= 1 - weights[x]/sum
		}
		require.LessOrEqual(t, 10*never, noisy(10)*(1+1e-12))
	})
}

func TestCommonStep(t *testing.T) {
	list := func(text ...string) (l []seen) {
		for _, x := range text {
			l = append(l, seen{value: quantity.MustParse[quantity.Hertz](x + " Hz").Exact()})
		}
		return l
	}
	require.Equal(t, "0.1", commonStep(list("100.3", "100.5", "100.8")).String())
	require.Equal(t, "32", commonStep(list("3200", "3264", "3168")).String())
	require.Equal(t, "0", commonStep(list("5", "5")).String())
	rapid.Check(t, func(t *rapid.T) {
		q := big.NewRat(rapid.Int64Range(1, 1000).Draw(t, "p"), rapid.Int64Range(1, 1000).Draw(t, "q"))
		var l []seen
		for _, n := range rapid.SliceOfN(rapid.Int64Range(0, 1e9), 2, 20).Draw(t, "counts") {
			l = append(l, seen{value: quantity.ExactOf(new(big.Rat).Mul(q, big.NewRat(n, 1)))})
		}
		ratio := new(big.Rat).Quo(commonStep(l).Rat(), q)
		require.True(t, ratio.IsInt(), "a multiple of one count")
	})
}

func TestDigitOf(t *testing.T) {
	x := quantity.MustParse[quantity.Hertz]("12345.678 Hz").Exact()
	for place, want := range map[int]int{4: 1, 3: 2, 0: 5, -1: 6, -3: 8, -4: 0, 5: 0} {
		require.Equal(t, want, digitOf(x, place), place)
	}
	require.Equal(t, "10 Hz", hertz(1))
}

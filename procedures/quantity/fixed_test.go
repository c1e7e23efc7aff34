package quantity_test

import (
	"math/big"
	"testing"

	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Fixed writes what rounding to a value and writing that gives; and within half
// of the last place of x.
func TestFixed(t *testing.T) {
	for in, want := range map[string][3]string{"0": {"0", "0.0", "0.000"}, "-1/3": {"0", "-0.3", "-0.333"}, "5/2": {"2", "2.5", "2.500"}, "-1/2000": {"0", "0.0", "0.000"}, "18000000000.0455": {"18000000000", "18000000000.0", "18000000000.046"}, "-7/2": {"-4", "-3.5", "-3.500"}} {
		r, ok := new(big.Rat).SetString(in)
		require.True(t, ok)
		for k, places := range []int{0, 1, 3} {
			require.Equal(t, want[k], quantity.ExactOf(r).Fixed(places), "%s to %d places", in, places)
		}
	}
	require.Equal(t, "0.00", quantity.Exact{}.Fixed(2))
	require.Equal(t, "15", quantity.ExactInt(15).Fixed(-1), "places below zero are none")
	rapid.Check(t, func(t *rapid.T) {
		r := big.NewRat(rapid.Int64().Draw(t, "numerator"), rapid.Int64Range(1, 1<<62).Draw(t, "denominator"))
		places := rapid.IntRange(0, 25).Draw(t, "places")
		got := quantity.ExactOf(r).Fixed(places)
		if want := quantity.FromRat[quantity.One](r, places).Plain(); got != want {
			t.Fatalf("%s to %d places: %q, want %q", r, places, got, want)
		}
		back, ok := new(big.Rat).SetString(got)
		if !ok {
			t.Fatalf("%q is no number", got)
		}
		unit := new(big.Rat).SetFrac(big.NewInt(1), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(places)), nil))
		if off := new(big.Rat).Abs(new(big.Rat).Sub(back, r)); off.Mul(off, big.NewRat(2, 1)).Cmp(unit) > 0 {
			t.Fatalf("%s to %d places: %q is off by more than half a place", r, places, got)
		}
	})
}

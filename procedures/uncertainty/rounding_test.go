package uncertainty_test

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestReport(t *testing.T) {
	for _, row := range []struct{ value, u, y, reported string }{
		{"0", "10.47", "0", "11"},
		{"0", "28.05", "0", "28"},
		{"10.05762", "0.027", "10.058", "0.027"},
		{"100.02147", "0.000791", "100.02147", "0.00079"},
		{"1", "1.02", "1.0", "1.0"},  // lowered by 2 %
		{"1", "1.03", "1.0", "1.1"},  // would be lowered by 2.9 %
		{"1", "2.44", "1.0", "2.4"},  // lowered by 1.6 %
		{"1", "1.05", "1.0", "1.1"},  // a tie goes up
		{"1", "9.949", "1.0", "9.9"}, //
		{"1", "9.95", "1", "10"},     // carries into the next place
		{"1", "0.0996", "1.00", "0.10"},
		{"123456.5", "1234", "123500", "1300"},
		{"-0.004", "0.1", "0.00", "0.10"}, // no minus before a zero
		{"-12345", "99999", "-10000", "100000"},
		{"2.5", "12", "2", "12"}, // half to even
		{"0.123456789012345678901", "0.00000000000000000012", "0.12345678901234567890", "0.00000000000000000012"},
		{"1/3", "2/3", "0.33", "0.67"},
	} {
		t.Run(row.value+"±"+row.u, func(t *testing.T) {
			y, reported, ok := uncertainty.Report(exact(t, row.value), exact(t, row.u))
			require.True(t, ok)
			require.Equal(t, row.y, y)
			require.Equal(t, row.reported, reported)
		})
	}
	for _, u := range []string{"0", "-1"} {
		_, _, ok := uncertainty.Report(exact(t, "1"), exact(t, u))
		require.False(t, ok, u)
	}
}

// From the smallest to the largest float64: two digits, never lowered by more
// than 2.5 %, raised by less than 10 %, and rounding again changes nothing.
func TestTwoDigitsProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := quantity.ExactFloat(rapid.Float64Range(math.SmallestNonzeroFloat64, math.MaxFloat64).Draw(t, "u"))
		if rapid.Bool().Draw(t, "ordinary size") {
			u = quantity.ExactOf(big.NewRat(rapid.Int64Range(1, 1e12).Draw(t, "numerator"), rapid.Int64Range(1, 1e12).Draw(t, "denominator")))
		}
		r, places, ok := uncertainty.TwoDigits(u)
		if !ok {
			t.Fatal("refused")
		}
		if q := r.Quo(u).Float(); q < 0.975 || q > 1.1 {
			t.Fatalf("%v becomes %v", u, r)
		}
		text := uncertainty.Decimal(r, places)
		if digits := strings.TrimLeft(strings.Replace(text, ".", "", 1), "0"); len(strings.TrimRight(digits, "0")) > 2 || places >= 0 && len(digits) != 2 {
			t.Fatalf("%v becomes %q", u, text)
		}
		again, samePlaces, _ := uncertainty.TwoDigits(r)
		if again.Cmp(r) != 0 || samePlaces != places {
			t.Fatalf("%v becomes %v, then %v", u, r, again)
		}
		value := quantity.ExactOf(big.NewRat(rapid.Int64().Draw(t, "value"), 1000))
		half := quantity.ExactInt(5).Mul(quantity.ExactInt(10).Quo(quantity.ExactInt(100)))
		if places >= -18 && places <= 18 {
			step := exactPower(-places)
			if d := uncertainty.Rounded(value, places).Sub(value).Abs(); d.Cmp(half.Mul(step)) > 0 {
				t.Fatalf("%v to place %d is off by %v", value, places, d)
			}
		}
	})
}

func exactPower(n int) quantity.Exact {
	ten, x := quantity.ExactInt(10), quantity.ExactInt(1)
	for range max(n, -n) {
		x = x.Mul(ten)
	}
	if n < 0 {
		return quantity.ExactInt(1).Quo(x)
	}
	return x
}

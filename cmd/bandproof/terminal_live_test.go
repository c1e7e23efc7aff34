package main

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func reading(ppm string) runner.Live {
	expected := quantity.ExactInt(1_000_000_000)
	y := quantity.MustParse[quantity.One](ppm)
	l := runner.Live{Expected: expected, Limit: quantity.ExactInt(500), PPM: y.Float() * 1e6, Level: quantity.DBmLevel(-10, 1), Left: 14*time.Minute + 32*time.Second, Places: 1}
	l.Good, l.Error = true, y.Exact().Mul(expected)
	return l
}

// What one reading looks like on terminals of different width: 0.5 ppm either way
// are allowed, and the target is 0.1 ppm.
func TestLiveLine(t *testing.T) {
	l := reading("-0.3 ppm")
	l.Trend = &runner.LiveTrend{Slope: 0.02, U: 0.004}
	for _, c := range []struct {
		width int
		want  string
	}{
		{120, "-0.3000 ppm  ....[-----O------------|------------]....  +0.0200 ppm/min   -300.0 Hz  14:32 left  -10.0 dBm"},
		{80, "-0.3000 ppm  .[--O---|----].  +0.0200 ppm/min   -300.0 Hz  14:32 left  -10.0 dBm"},
		{50, "-0.3000 ppm  ..[--O-----|-----]..  +0.0200 ppm/min"},
		{26, "-0.3000 ppm  .[-O---|---]."},
		{8, "-0.3000 "},
	} {
		got := liveLine(l, 0.1, c.width)
		require.LessOrEqual(t, utf8.RuneCountInString(got), c.width)
		require.Equal(t, c.want, got)
	}
	l.Trend = &runner.LiveTrend{Slope: 0.002, U: 0.004}
	require.Contains(t, liveLine(l, 0.1, 100), "steady")
	require.Contains(t, liveLine(reading("3 ppm"), 0, 100), "-----]..>")
	require.Contains(t, liveLine(reading("-3 ppm"), 0, 100), "<..[-----")
	require.Equal(t, "no count  14:32 left", liveLine(runner.Live{Left: l.Left}, 0, 80))
	bad := runner.Live{Left: l.Left}
	bad.Bench = "source not locked"
	require.Equal(t, "source not locked  14:32 left", liveLine(bad, 0, 80))
}

// No reading is wider than the terminal, and the bar holds its marks.
func TestLiveLineFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := reading("0 ppm")
		l.PPM = rapid.Float64Range(-1e4, 1e4).Draw(t, "ppm")
		l.Limit = quantity.ExactInt(int64(rapid.IntRange(0, 1_000_000).Draw(t, "limit")))
		l.Measured = rapid.Bool().Draw(t, "measured")
		width, target := rapid.IntRange(1, 200).Draw(t, "width"), rapid.Float64Range(-10, 10).Draw(t, "target")
		got := liveLine(l, target, width)
		if utf8.RuneCountInString(got) > width {
			t.Fatalf("%d characters in %d: %q", utf8.RuneCountInString(got), width, got)
		}
		if i := strings.Index(got, ".."); i > 0 && !strings.ContainsAny(got, "O<>") {
			t.Fatalf("no value on the bar: %q", got)
		}
	})
}

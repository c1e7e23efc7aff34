package sheet

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Thinning keeps the extremes of each stretch and a dot at every place with a
// flag, adds none, and bounds what is left.
func TestThin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &chart{words: english(t), From: 10, To: 1e9, Bands: []band{{Points: []xy{{10, 1}, {1e9, 1}}}}}
		n := rapid.IntRange(0, 3000).Draw(t, "dots")
		seed := rapid.Uint64().Draw(t, "seed")
		s := series{}
		for range n {
			seed = seed*6364136223846793005 + 1442695040888963407
			x := float64(seed>>40) / (1 << 24)
			d := dot{X: 10 * math.Pow(1e8, x), Y: math.Tan(3 * (float64(seed>>20&0xfffff)/(1<<20) - 0.5)), Valued: seed&0x70 != 0}
			switch {
			case !d.Valued && seed&0x80 == 0:
				d.Mark = notJudged
			case !d.Valued || math.Abs(d.Y) > 1:
				d.Mark = failed
			}
			s.Points = append(s.Points, d)
		}
		c.Series = []series{s}
		left := c.thin()
		got := c.Series[0].Points
		if left != (len(got) < n) || n <= thinFrom && left {
			t.Fatalf("of %d dots %d are left; said %t", n, len(got), left)
		}
		high, flagged := map[int]float64{}, map[int]bool{}
		for _, d := range got {
			high[c.column(d.X)] = max(high[c.column(d.X)], math.Abs(d.Y))
			flagged[c.column(d.X)] = flagged[c.column(d.X)] || d.Mark != plain
		}
		for _, d := range s.Points {
			if d.Valued && high[c.column(d.X)] < math.Abs(d.Y) {
				t.Fatalf("the worst dot %+v of its stretch is left out", d)
			}
			if d.Mark != plain && !flagged[c.column(d.X)] {
				t.Fatalf("no flag is left where %+v was", d)
			}
		}
	})
}

// However many points: a drawing of bounded size, and the one that fails in it.
func TestThinManyPoints(t *testing.T) {
	c := &chart{words: english(t), From: 10, To: 1e9}
	b, s := band{}, series{}
	for k := range 100000 {
		f := 10 * math.Pow(1e8, float64(k)/100000)
		d := dot{X: f, Y: 0.5 * math.Sin(float64(k)), U: 0.1, Valued: true}
		if k == 54321 {
			d.Y, d.Mark = 1.2, failed
		}
		s.Points, b.Points = append(s.Points, d), append(b.Points, xy{f, 1 + 1000/f})
	}
	c.Series, c.Bands = []series{s}, []band{b}
	require.True(t, c.thin())
	assert.LessOrEqual(t, len(c.Series[0].Points), 2*thinColumns+3)
	assert.Contains(t, c.Series[0].Points, s.Points[54321])
	assert.LessOrEqual(t, len(c.Bands[0].Points), 4*thinColumns+4)
	drawing, err := svg(c.plot, pageOf("A4").bodyWidth, chartHeight)
	require.NoError(t, err)
	assert.Less(t, len(drawing), 1<<20)
}

func TestThinnedSteps(t *testing.T) {
	g := &graph{words: english(t), X: graphAxis{Log: true}}
	for k := range 50000 {
		f := 10 * math.Pow(1e6, float64(k)/50000)
		g.Steps = append(g.Steps, graphStep{f, f, math.Sin(float64(k))})
	}
	got := g.thinnedSteps()
	assert.LessOrEqual(t, len(got), 4*thinColumns)
	low, high := 0.0, 0.0
	for _, s := range got {
		low, high = min(low, s.Y), max(high, s.Y)
	}
	assert.InDelta(t, 1, high, 1e-6)
	assert.InDelta(t, -1, low, 1e-6)
}

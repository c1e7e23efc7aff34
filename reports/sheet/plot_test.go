package sheet

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func chartOf(t tester, limits, values []float64) *chart {
	c := &chart{words: english(t), From: 10, To: 1e9}
	b := band{}
	for k, l := range limits {
		b.Points = append(b.Points, xy{10 * float64(k+1), l})
	}
	c.Bands = []band{b}
	s := series{}
	for k, v := range values {
		s.Points = append(s.Points, dot{X: 10 * float64(k+1), Y: v, Valued: true})
	}
	c.Series = []series{s}
	return c
}

func TestYScaleKeepsTheLimitReadable(t *testing.T) {
	for _, c := range []struct {
		name           string
		limits, values []float64
		top            float64
		linear         bool
	}{
		{"quiet", []float64{1, 1}, []float64{0.1, -0.2}, 1.5, true},
		{"one point far off", []float64{1, 1}, []float64{0.1, -1e6}, 1.5, true},
		{"a little outside", []float64{1, 1}, []float64{0.1, 2}, 2.5, true},
		{"wide limits", []float64{10000, 0.8}, []float64{0.1}, 40000, false},
	} {
		y := chartOf(t, c.limits, c.values).yScale()
		assert.InDelta(t, c.top, y.Top, 1e-9, c.name)
		assert.Equal(t, c.linear, math.IsInf(y.Linear, 1), c.name)
	}
	// The narrowest limit takes at least a twentieth of the height to each side.
	y := chartOf(t, []float64{10000, 0.8}, nil).yScale()
	assert.Greater(t, y.Normalize(-y.Top, y.Top, 0.8)-0.5, 0.05)
}

func TestYScaleAndTicks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		positive := rapid.Float64Range(1e-6, 1e6)
		c := chartOf(t, rapid.SliceOfN(positive, 0, 5).Draw(t, "limits"), rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 0, 5).Draw(t, "values"))
		y := c.yScale()
		if !(y.Top > 0) || math.IsInf(y.Top, 0) {
			t.Fatalf("top %g", y.Top)
		}
		for _, b := range c.Bands {
			for _, p := range b.Points {
				if p.Y > y.Top {
					t.Fatalf("limit %g lies above the top %g", p.Y, y.Top)
				}
			}
		}
		ticks := y.ticks(english(t))
		if len(ticks) < 3 || len(ticks) > 25 {
			t.Fatalf("%d ticks for %+v", len(ticks), y)
		}
		seen := map[string]bool{}
		for _, k := range ticks {
			if seen[k.Label] {
				t.Fatalf("two ticks labelled %q for %+v", k.Label, y)
			}
			seen[k.Label] = true
		}
	})
}

func TestFrequencyTicks(t *testing.T) {
	for _, c := range []struct {
		name     string
		from, to float64
		gaps     []gap
		want     []string
	}{
		{"seven decades", 10, 120e6, nil, []string{"10\u202fHz", "100\u202fHz", "1\u202fkHz", "10\u202fkHz", "100\u202fkHz", "1\u202fMHz", "10\u202fMHz", "120\u202fMHz"}},
		{"with a gap", 1.4e9, 22e9, []gap{{From: 18e9, To: 22e9}}, []string{"1.4\u202fGHz", "2\u202fGHz", "5\u202fGHz", "10\u202fGHz", "18\u202fGHz", "22\u202fGHz"}},
	} {
		var got []string
		for _, k := range (&chart{words: english(t), From: c.from, To: c.to, Gaps: c.gaps}).frequencyTicks() {
			if k.Label != "" {
				got = append(got, k.Label)
			}
		}
		assert.ElementsMatch(t, c.want, got, c.name)
	}
}

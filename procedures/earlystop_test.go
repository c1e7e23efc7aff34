package procedures_test

import (
	"math"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/testdata/checks/checktable"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

type stopCheck struct {
	ID, Source                       string
	Rate, Detection                  []float64
	Readings                         []int
	Both, First, Second, Neither     float64
	Difference, Low, High, Tolerance float64
}

func stopChecks(t *testing.T) map[string]stopCheck {
	t.Helper()
	all := map[string]stopCheck{}
	for _, c := range checktable.Load[stopCheck](t, "../testdata/checks/earlystop.toml") {
		all[c.ID] = c
	}
	return all
}

func share(f float64) quantity.Ratio {
	return quantity.FromRat[quantity.One](quantity.ExactFloat(f).Rat(), 9)
}

func TestLeastReadings(t *testing.T) {
	c := stopChecks(t)["one-sided-tolerance-sizes"]
	require.NotEmpty(t, c.Readings)
	for k, want := range c.Readings {
		e := procedures.EarlyStop{Rate: share(c.Rate[k]), Detection: share(c.Detection[k])}
		require.Equal(t, want, e.Least(1000), "rate %v, detection %v", c.Rate[k], c.Detection[k])
		require.Equal(t, want-1, e.Least(want-1), "never more than are planned")
	}
	e := procedures.EarlyStop{Rate: share(0.5), Detection: share(0.75)}
	require.Equal(t, 2, e.Least(10), "1 - 0.5^2 is 0.75")
}

// Least keeps the rise in false accepts within half the margin, at every rate.
func TestLeastKeepsTheMargin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		margin := share(rapid.Float64Range(0.0001, 0.01).Draw(t, "margin"))
		e := procedures.EarlyStop{Rate: share(rapid.Float64Range(0.01, 0.9).Draw(t, "rate")), Detection: share(rapid.Float64Range(0.1, 0.99).Draw(t, "detection")),
			Share: share(rapid.Float64Range(0, 0.1).Draw(t, "share")), Margin: &margin}
		n := rapid.IntRange(1, 50).Draw(t, "n")
		k := e.Least(n)
		if k < 1 || k > n {
			t.Fatalf("least %d of %d", k, n)
		}
		for rate := 0.001; rate < 1; rate += 0.001 {
			if rise := e.Share.Float() * (math.Pow(1-rate, float64(k)) - math.Pow(1-rate, float64(n))); rise > margin.Float()/2*(1+1e-9) {
				t.Fatalf("%d of %d readings at a rate of %v let %v more pass", k, n, rate, rise)
			}
		}
	})
}

// near is a direct count of 100 MHz with a gate of 100 ms: one count is 10 Hz,
// 0.5 ppm are 50 Hz.
func near(errors ...float64) procedures.Measurement {
	m := procedures.Measurement{Reference: quantity.ExactInt(100_000_000), Limit: accuracy.Limit{Resolution: quantity.ExactInt(10), Total: quantity.ExactInt(60),
		Terms: []accuracy.Term{{Name: "counts", Hz: quantity.ExactInt(10)}, {Name: "timebase", Hz: quantity.ExactInt(50)}}},
		Counting: accuracy.Counting{Kind: accuracy.Direct}, Bench: uncertainty.Budget{uncertainty.Line("reference", 0.005, uncertainty.Normal, 0, "invented")}}
	for _, e := range errors {
		m.Readings = append(m.Readings, m.Reference.Add(quantity.ExactFloat(e)))
	}
	return m
}

func TestEnough(t *testing.T) {
	rule := procedures.StopRule{Least: 3, Confirm: 2, Confidence: 0.99}
	for _, c := range []struct {
		name    string
		errors  []float64
		missing int
		want    bool
	}{
		{"well within, but too few", []float64{0, 0}, 0, false},
		{"well within", []float64{0, 0, 0}, 0, true},
		{"a count apart: U of s/√3 = 3.33 Hz with two degrees of freedom is 15.1 Hz, more than a quarter of 60 Hz", []float64{0, 10, 0}, 0, false},
		{"a count apart, but four: 2.5 Hz with three degrees of freedom give 8.3 Hz", []float64{0, 10, 0, 0}, 0, true},
		{"within, and one count more would be on the limit", []float64{50, 50, 50}, 0, true},
		{"within, and one count more would not", []float64{50.1, 50.1, 50.1}, 0, false},
		{"outside once", []float64{80}, 0, false},
		{"outside twice", []float64{80, 80}, 0, true},
		{"outside twice, and a count less would not mend that", []float64{60.1, 60.1}, 0, true},
		{"outside and within: scatter", []float64{80, 0}, 0, false},
		{"scatter of more than one count, wide apart", []float64{0, 19, 0}, 0, false},
		{"no count, once", nil, 1, false},
		{"no count, twice", nil, 2, true},
		{"no count, but only sometimes", []float64{0, 0, 0}, 1, false},
		{"all are there", []float64{0, 0, 0, 0, 0}, 0, false},
		{"none yet", nil, 0, false},
	} {
		got, err := rule.Enough(decision.Rule{Name: decision.Simple}, near(c.errors...), c.missing, 5)
		require.NoError(t, err, c.name)
		require.Equal(t, c.want, got, c.name)
	}
	coarse := near(40, 40, 40)
	step := uncertainty.Line("rounding of the reply", 12.5, uncertainty.Rectangular, 0, "invented")
	coarse.Reply = &step
	for _, c := range []struct {
		m    procedures.Measurement
		want bool
	}{{near(40, 40, 40), true}, {coarse, false}} {
		got, err := rule.Enough(decision.Rule{Name: decision.Simple}, c.m, 0, 5)
		require.NoError(t, err)
		require.Equal(t, c.want, got, "replies in steps of 25 Hz: the next may be 65 Hz off")
	}
	again := near(0, 0, 0)
	again.Also = again.Readings[:1]
	got, err := rule.Enough(decision.Rule{Name: decision.Simple}, again, 0, 5)
	require.NoError(t, err)
	require.False(t, got, "a first look scattered")
	got, err = rule.Enough(decision.Rule{Name: decision.Guarded}, near(50, 50, 50), 0, 5)
	require.NoError(t, err)
	require.True(t, got, "the bench adds next to nothing, so that the guard band is as good as none")
}

// Readings of a reciprocal counter scatter by many of its small counts: the
// interval of those left out is that of prediction. Of 0, 1 and 2 Hz, mean 1 and
// s 1, two more lie, with 99 %, within ±t·√(4/3) of the mean; t of two degrees of
// freedom for 1 − 0.01/4 is 14.089 (tables of Student's t, from memory): ±16.27.
func TestEnoughByPrediction(t *testing.T) {
	rule := procedures.StopRule{Least: 3, Confirm: 2, Confidence: 0.99}
	of := func(trigger, limit int64) bool {
		m := near(0, 1, 2)
		m.Limit = accuracy.Limit{Resolution: quantity.ExactDecimal(0.01), Total: quantity.ExactInt(limit),
			Terms: []accuracy.Term{{Name: "trigger", Hz: quantity.ExactInt(trigger)}}}
		got, err := rule.Enough(decision.Rule{Name: decision.Simple}, m, 0, 5)
		require.NoError(t, err)
		return got
	}
	require.True(t, of(17, 18), "17.27 Hz is within the limit, and 32.5 Hz apart are allowed 34")
	require.False(t, of(17, 17), "17.27 Hz is not")
	require.False(t, of(16, 18), "32.5 Hz apart would be unstable")
}

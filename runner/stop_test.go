package runner_test

import (
	"testing"

	"bandproof/drivers"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// stopping lets input B, which is read five times, do with two readings where
// every second one is to be found wrong.
var stopping = []string{"readings = 5\nabove_sensitivity = \"6 dB\"\n", `readings = 5
above_sensitivity = "6 dB"

[sweep.early_stop]
rate = "50 %"
detection = "75 %"
share = "0.1 %"
`}

func countedOf(p runner.PointResult, use runner.Use) (n int) {
	for _, x := range p.Readings {
		if x.Use == use {
			n++
		}
	}
	return n
}

// last is the highest point of B, at 1.6 GHz.
func last(result runner.Result) runner.PointResult {
	list := pointsOfB(result)
	return list[len(list)-1]
}

func pointsOfB(result runner.Result) (list []runner.PointResult) {
	for _, p := range result.Points {
		if p.Point.Input == "B" {
			list = append(list, p)
		}
	}
	return list
}

func TestReadingsThatWouldChangeNothingAreLeftOut(t *testing.T) {
	result := runnertest.New(t, runnertest.Options{Procedure: stopping}).Run()
	stopped := 0
	for _, p := range result.Points {
		want, said := 2, "2 of 5 readings: the rest would not change the verdict (99 % confidence)"
		switch {
		case p.Point.Input == "A": // its sweep says nothing of stopping
			want, said = 3, ""
		case p.Spread.Sign() > 0: // two that differ would leave one degree of freedom
			require.Greater(t, p.Counted, 2, p.Point.ID)
			continue
		default:
			stopped++
		}
		require.Equal(t, decision.Pass, p.Verdict.Word, p.Point.ID)
		require.Equal(t, want, p.Counted, p.Point.ID)
		require.Equal(t, want, countedOf(p, runner.Counted), p.Point.ID)
		require.Equal(t, said, p.StoppedEarly, p.Point.ID)
	}
	require.Positive(t, stopped)
}

func TestAFailureIsConfirmedAndNotReadFurther(t *testing.T) {
	result := runnertest.New(t, runnertest.Options{Procedure: stopping, Faults: []string{"timebase-offset:amount=5 ppm"}}).Run()
	for _, p := range pointsOfB(result) {
		require.Equal(t, "fail: error outside the limit", p.Verdict.String(), p.Point.ID)
		require.Equal(t, 2, p.Counted, p.Point.ID)
		require.Contains(t, p.StoppedEarly, "2 of 5 readings")
	}
	result = runnertest.New(t, runnertest.Options{Procedure: stopping, Faults: []string{"dead-above:input=B,from=850 MHz"}}).Run()
	p := last(result)
	require.Equal(t, "fail: no count", p.Verdict.String())
	require.Equal(t, 2, countedOf(p, runner.Counted))
	require.Equal(t, "2 of 5 readings, none of which counted", p.StoppedEarly)
}

// Whatever scatters is read to the end, twice, and is judged as ever.
func TestScatterIsNeverStoppedAt(t *testing.T) {
	for name, c := range map[string]struct {
		n       int // the reading of a point that is off, its discarded one not counted
		verdict string
		counted int
		first   int
	}{
		"the second of five": {2, "fail: unstable", 5, 5},
		"the first":          {1, "fail: unstable", 5, 5},
	} {
		t.Run(name, func(t *testing.T) {
			r := runnertest.New(t, runnertest.Options{Procedure: stopping})
			each := 0
			r.Setup.Counter = &counted{Counter: r.Setup.Counter, change: func(_ int, x drivers.Reading) drivers.Reading {
				if x.Frequency.Float() < 1.5e9 { // the last point of B only
					return x
				}
				if each++; (each-1)%6 == c.n { // one discarded before five that count; the second look has none
					x.Frequency = x.Frequency.Add(quantity.Of[quantity.Hertz](900, 0))
					x.Text = x.Frequency.Plain()
				}
				return x
			}}
			p := last(r.Run())
			require.Equal(t, c.first, countedOf(p, runner.FirstLook))
			require.Equal(t, c.counted, countedOf(p, runner.Counted))
			require.Empty(t, p.StoppedEarly)
			require.Equal(t, decision.Fail, p.Verdict.Word, p.Verdict)
		})
	}
}

// A point whose readings could still go either way is read to the end.
func TestAMarginalPointIsReadToTheEnd(t *testing.T) {
	// 0.8 ppm and one count of 32 Hz are allowed: at 1.6 GHz 1312 Hz. The unit is
	// off by 0.13 ppm as it comes.
	result := runnertest.New(t, runnertest.Options{Procedure: stopping, Faults: []string{"timebase-offset:amount=0.665 ppm"}}).Run()
	p := last(result)
	require.Equal(t, 5, p.Counted, "error %s of %s", p.Error, p.Limit.Total)
	require.Empty(t, p.StoppedEarly)
}

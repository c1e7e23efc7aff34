package symptom_test

import (
	"math"
	"math/big"
	"testing"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/edge"
	"bandproof/runner/levelrange"
	"bandproof/runner/observation"
	"bandproof/runner/overlap"
	"bandproof/runner/selftest"
	"bandproof/runner/sensitivity"
	"bandproof/runner/symptom"
	"bandproof/runner/timebase"

	"github.com/stretchr/testify/require"
)

var manyB = []float64{40e6, 100e6, 400e6, 900e6, 1.2e9, 1.6e9}

// TestKindOfEachPoint: what a point shows, from all its readings and from those of
// its neighbours.
func TestKindOfEachPoint(t *testing.T) {
	for name, c := range map[string]struct {
		made *synth
		want string
	}{
		"good":              {result(t).steady("B", right, 100e6, 400e6), "good, good"},
		"no count":          {result(t).point("B", 1e8, 0, 0, 0), "nothing"},
		"comes and goes":    {result(t).point("B", 1e8, 1e8, 0, 1e8), "comes and goes"},
		"twice, at times":   {result(t).point("B", 1e8, 1e8, 2e8, 1e8), "comes and goes"},
		"half":              {result(t).point("B", 1e8, 0.5e8, 0.5e8), "half"},
		"twice":             {result(t).point("B", 1e8, 2e8, 2e8), "twice"},
		"one and a half":    {result(t).point("B", 1e8, 1.5e8), "another ratio"},
		"32/31, one point":  {result(t).point("B", 1.2e9, 1.2e9*32/31), "another ratio"},
		"32/31":             {result(t).steady("B", ratio(32./31), manyB...), "another ratio, another ratio, another ratio, another ratio, another ratio, another ratio"},
		"one point is off":  {result(t).steady("B", right, 100e6, 400e6).point("B", 9e8, 9e8+5e3), "good, good, wrong in another way"},
		"5 ppm":             {result(t).steady("B", ratio(1+5e-6), 400e6, 1.2e9, 1.6e9), "off by a small share, off by a small share, off by a small share"},
		"5 ppm, two inputs": {result(t).steady("A", ratio(1+5e-6), 120e6).steady("B", ratio(1+5e-6), 1.2e9), "off by a small share, off by a small share"},
		// At the limit some points pass; the others are still the same relative error.
		"at the limit":            {result(t).steady("A", ratio(1+0.82e-6), 10e6, 50e6, 100e6, 120e6), "good, good, off by a small share, off by a small share"},
		"a constant":              {result(t).steady("C", plus(200e6), 2e9, 6e9, 12e9), "off by a constant, off by a constant, off by a constant"},
		"two constants":           {result(t).steady("C", plus(200e6), 2e9, 4e9).steady("C", plus(-400e6), 6e9, 9e9), "off by a constant, off by a constant, off by a constant, off by a constant"},
		"a constant, one point":   {result(t).steady("C", right, 2e9).point("C", 12e9, 12.2e9), "good, off by a constant"},
		"a constant of 1 MHz, B":  {result(t).steady("B", plus(1.37e6), 400e6, 900e6, 1.6e9), "off by a constant, off by a constant, off by a constant"},
		"multiples of a constant": {result(t).point("C", 2e9, 2e9+137e6).point("C", 6e9, 6e9-274e6).point("C", 12e9, 12e9+411e6), "off by a constant, off by a constant, off by a constant"},
		// Harmonics 9, 29 and 59 of 200 MHz that is 1 kHz high.
		"its oscillator is off": {result(t).point("C", 2e9, 2e9+9e3).point("C", 5.9e9, 5.9e9+29e3).point("C", 11.99e9, 11.99e9+59e3), "off by a constant, off by a constant, off by a constant"},
		"scatter":               {result(t).point("B", 1e8, 1e8-2e3, 1e8+2e3, 1e8+5e2), "scatters"},
		"scatter, all low":      {result(t).point("B", 1e8, 1e8-2e3, 1e8-9e3, 1e8-5e2), "scatters"}, // three readings lie low by chance once in eight
		"lost cycles":           {result(t).point("B", 1e8, 1e8-2e3, 1e8-9e3, 1e8-5e2).point("B", 4e8, 4e8-7e3, 4e8-2e4, 4e8-5e5), "too few, too few"},
		// A shift far above the scatter is what a point mainly shows.
		"twice, and scatter": {result(t).point("B", 1e8, 2e8, 2e8+300, 2e8-300), "twice"},
	} {
		t.Run(name, func(t *testing.T) {
			got := symptom.Read(c.made.r)
			require.Equal(t, c.want, kinds(got))
			for k, x := range got {
				require.Equal(t, k, x.Order)
				require.NotEmpty(t, x.Says)
				require.Equal(t, x.Kind == symptom.Double || x.Kind == symptom.Half || x.Kind == symptom.Ratio, x.Ratio != nil)
				require.InDelta(t, 6, x.Margin, 1e-9)
				require.InDelta(t, 1800+x.At.Sub(began).Seconds(), x.Powered, 1e-6)
			}
		})
	}
}

// TestFiguresOfAPoint: what else stands with a point.
func TestFiguresOfAPoint(t *testing.T) {
	got := symptom.Read(result(t).point("B", 1e8, 1e8, 0, 1e8, 3e8).point("B", 1.2e9, 1.2e9*32/31).r)
	require.Equal(t, 0.5, got[0].Share)
	require.Equal(t, big.NewRat(32, 31), got[1].Ratio)
	require.Equal(t, 1.0, got[1].Share)
	require.InDelta(t, 1.2e9/31, got[1].Error, 1)
	require.InDelta(t, 1e6/31, got[1].PPM, 1e-3)
	require.InDelta(t, -14, got[1].Level, 1e-9)
	require.Equal(t, "reads 32/31 of the frequency", got[1].Says)
	require.Equal(t, "intermittent: 1 of 4 readings gave no count, 1 of 4 readings showed three times the frequency", got[0].Says)
}

// TestNotJudgedIsNoEvidence: what the bench could not show says nothing.
func TestNotJudgedIsNoEvidence(t *testing.T) {
	s := result(t).steady("B", right, 100e6, 400e6)
	s.r.Points[1].Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.SourceNotLocked}
	require.Equal(t, "good", kinds(symptom.Read(s.r)))
	require.Empty(t, symptom.Read(runner.Result{}))
}

// TestChangeWithinTheRun: a point that passed and was repeated is seen twice.
func TestChangeWithinTheRun(t *testing.T) {
	s := result(t).steady("B", right, 100e6, 400e6)
	later := func(f float64) {
		g := s.reading(f)
		g.Use = runner.ClosingCheck
		s.r.Points[0].Readings = append(s.r.Points[0].Readings, g)
	}
	later(1e8)
	got := symptom.Read(s.r)
	require.Equal(t, "good, good, good", kinds(got))
	require.Equal(t, "B-001", got[2].Point)
	require.Greater(t, got[2].Powered, got[1].Powered)

	later(2e8)
	later(2e8)
	require.Equal(t, "good, good", kinds(symptom.Read(s.r)), "a closing check that could not be judged")
	s.r.Changes = []runner.Change{{Point: "B-001", Why: runner.AsClosingCheck, LaterAt: s.at, Later: decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}}}
	require.Equal(t, "good, good, comes and goes", kinds(symptom.Read(s.r)))

	s.r.Points[0].Readings = s.r.Points[0].Readings[:3]
	s.r.Changes[0].Why, s.r.Changes[0].Later.Reason = "to prove the path at point B-003", decision.NoCount
	got = symptom.Read(s.r)
	require.Equal(t, "good, good, nothing", kinds(got))
	require.Equal(t, "no count, repeated to prove the path at point B-003", got[2].Says)
}

// TestOtherMeasurements: what rows of other kinds of measurement say.
func TestOtherMeasurements(t *testing.T) {
	exact := func(x float64) *quantity.Exact { e := quantity.ExactDecimal(x); return &e }
	at := hz(4e8)
	bad := func(why decision.Reason) decision.Verdict { return decision.Verdict{Word: decision.Fail, Reason: why} }
	pass := decision.Verdict{Word: decision.Pass}
	take := func(kind string, rows ...runner.Row) []symptom.Seen {
		s := result(t)
		s.r.Outcomes = []runner.Outcome{{Task: procedures.Task{ID: "x", Kind: kind, Input: "B", Measure: "m"}, Rows: rows, Started: began}}
		return symptom.Read(s.r)
	}
	one := func(kind string, rows ...runner.Row) symptom.Seen {
		t.Helper()
		got := take(kind, rows...)
		require.Len(t, got, 1)
		return got[0]
	}
	got := one(sensitivity.Kind{}.Kind(), runner.Row{At: &at, Unit: "dBm", Found: exact(-14.5), Limit: exact(-20), Verdict: bad(decision.OutsideLimit)})
	require.Equal(t, symptom.Weak, got.Kind)
	require.InDelta(t, 5.5, got.Margin, 1e-9)
	require.InDelta(t, -14.5, got.Level, 1e-9)
	require.InDelta(t, 4e8, got.Frequency, 1)
	got = one(sensitivity.Kind{}.Kind(), runner.Row{At: &at, Unit: "dBV", Found: exact(-40), Limit: exact(-30), Verdict: pass})
	require.Equal(t, symptom.Good, got.Kind)
	require.InDelta(t, -10, got.Margin, 1e-9)
	require.InDelta(t, -40+10*math.Log10(1/50./1e-3), got.Level, 1e-9)

	got = one(selftest.Kind{}.Kind(), runner.Row{Verdict: bad(decision.SelfTestFailed)})
	require.True(t, got.SelfTest)
	require.Equal(t, symptom.Other, got.Kind)
	require.Equal(t, symptom.Good, one(selftest.Kind{}.Kind(), runner.Row{Verdict: pass}).Kind)
	require.Empty(t, take(selftest.Kind{}.Kind(), runner.Row{Says: "not stated"}), "no verdict")

	offset := runner.Row{What: timebase.OffsetRow, Unit: "1", Found: exact(5e-6), Limit: exact(8e-7), Verdict: bad(decision.OutsideLimit)}
	far := runner.Row{What: "farthest single reading, limit and one count", Verdict: bad(decision.OutsideLimit)}
	got = one(timebase.Kind{}.Kind(), offset, far)
	require.Equal(t, symptom.Off, got.Kind)
	require.InDelta(t, -5, got.PPM, 1e-9, "readings are off the other way")
	offset.Verdict = pass
	require.Equal(t, "good, scatters", kinds(take(timebase.Kind{}.Kind(), offset, far)))

	require.Empty(t, take(observation.Kind{}.Kind(), runner.Row{Verdict: bad(decision.NotAsExpected)}))
	difference := runner.Row{What: "difference of inputs A and B", At: &at, Unit: "Hz", Found: exact(500), Limit: exact(10), Verdict: bad(decision.OutsideLimit)}
	require.InDelta(t, 1.25, one(overlap.Kind{}.Kind(), difference).PPM, 1e-9)
	require.Equal(t, "good", kinds(take("any other", runner.Row{Verdict: pass}, runner.Row{Verdict: pass})))
	require.Equal(t, "scatters", kinds(take("any other", runner.Row{Verdict: pass}, runner.Row{Verdict: bad(decision.Unstable)})))
}

// shotAt is a setting of a search at a level.
func shotAt(s *synth, level string, shown ...float64) runner.PointResult {
	s.point("B", 4e8, shown...)
	p := s.r.Points[len(s.r.Points)-1]
	s.r.Points = s.r.Points[:len(s.r.Points)-1]
	p.Point.Levels.Input = quantity.MustLevel(level)
	return p
}

// TestLevels: searches in level say nothing of levels at which nothing is promised.
func TestLevels(t *testing.T) {
	take := func(kind, what string, shots func(*synth) []runner.PointResult) []symptom.Seen {
		s := result(t)
		o := runner.Outcome{Task: procedures.Task{ID: "x", Kind: kind, Input: "B"}, Rows: []runner.Row{{What: what}}, Shots: shots(s), Started: began}
		s.r.Outcomes = []runner.Outcome{o}
		return symptom.Read(s.r)
	}
	inLevel := func(shots func(*synth) []runner.PointResult) symptom.Seen {
		got := take(edge.Kind{}.Kind(), "edge in level", shots)
		require.Len(t, got, 1)
		return got[0]
	}
	got := inLevel(func(s *synth) []runner.PointResult {
		return []runner.PointResult{shotAt(s, "0 dBm", 4e8), shotAt(s, "-25 dBm", 0), shotAt(s, "-22 dBm", 4e8)}
	})
	require.Equal(t, symptom.Good, got.Kind)
	require.True(t, got.Sensitivity)
	require.InDelta(t, -2, got.Margin, 1e-9)
	got = inLevel(func(s *synth) []runner.PointResult {
		return []runner.PointResult{shotAt(s, "0 dBm", 4e8), shotAt(s, "-16 dBm", 0), shotAt(s, "-12 dBm", 4e8)}
	})
	require.Equal(t, symptom.Weak, got.Kind)
	require.InDelta(t, 8, got.Margin, 1e-9)
	got = inLevel(func(s *synth) []runner.PointResult {
		return []runner.PointResult{shotAt(s, "0 dBm", 0), shotAt(s, "-16 dBm", 4e8)}
	})
	require.Equal(t, symptom.None, got.Kind, "it counts below and not above")
	all := take(levelrange.Kind{}.Kind(), "", func(s *synth) []runner.PointResult {
		return []runner.PointResult{shotAt(s, "-20 dBm", 4e8), shotAt(s, "-16 dBm", 0), shotAt(s, "-12 dBm", 4e8)}
	})
	require.Equal(t, "good, nothing", kinds(all))
}

// TestProofsDoNotCount: readings that the verdict does not rest on say nothing of a point.
func TestProofsDoNotCount(t *testing.T) {
	s := result(t).steady("B", right, 100e6)
	for _, use := range []runner.Use{runner.Discarded, runner.Proof, runner.RFOffLook, runner.Lost} {
		s.r.Points[0].Readings = append(s.r.Points[0].Readings, runner.Reading{Reading: drivers.Reading{Mark: drivers.NoReply}, Use: use})
	}
	require.Equal(t, "good", kinds(symptom.Read(s.r)))
}

package symptom_test

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// named finds the only finding of a symptom.
func named(t testing.TB, list []symptom.Finding, s symptom.Symptom) symptom.Finding {
	t.Helper()
	var found []symptom.Finding
	for _, f := range list {
		if f.Symptom == s {
			found = append(found, f)
		}
	}
	require.Len(t, found, 1, "%s among %v", s, list)
	return found[0]
}

// figure finds a figure of a finding by how its name begins.
func figure(t testing.TB, f symptom.Finding, what string) symptom.Figure {
	t.Helper()
	for _, x := range f.Figures {
		if strings.HasPrefix(x.What, what) {
			return x
		}
	}
	t.Fatalf("%s has no figure %q", f, what)
	return symptom.Figure{}
}

func words(list []symptom.Finding) string {
	var out []string
	for _, f := range list {
		out = append(out, string(f.Symptom))
	}
	return strings.Join(out, ", ")
}

// TestNames: the symptom of a run as a whole, and where.
func TestNames(t *testing.T) {
	for name, c := range map[string]struct {
		made *synth
		want string
	}{
		"nothing judged": {result(t), "nothing judged"},
		"all good":       {result(t).steady("A", right, 1e6, 1e8).steady("B", right, manyB...), "nothing wrong, inputs A and B, 1 MHz to 1.6 GHz: all 8 findings pass"},
		"dead input":     {result(t).steady("A", right, 1e8).point("B", 1e8, 0, 0).point("B", 9e8, 0, 0), "dead input, input B, 100 MHz to 900 MHz: no count at any of 2 points"},
		"dead above": {result(t).steady("B", right, 1e8, 4e8).point("B", 9e8, 0, 0).point("B", 1.2e9, 0, 0),
			"dead above a frequency, input B, 900 MHz to 1.2 GHz: counts up to 400 MHz, nothing from 900 MHz on"},
		"dead below": {result(t).point("B", 4e7, 0, 0).point("B", 1e8, 0, 0).steady("B", right, 4e8, 9e8),
			"dead below a frequency, input B, 40 MHz to 100 MHz: counts from 400 MHz on, nothing up to 100 MHz"},
		"dead between": {result(t).steady("C", right, 2e9, 4e9).point("C", 7e9, 0, 0).point("C", 11e9, 0, 0).steady("C", right, 13e9),
			"dead between two frequencies, input C, 7 GHz to 11 GHz: counts below and above, nothing at 2 points"},
		"dead at both ends": {result(t).point("B", 4e7, 0, 0).steady("B", right, 4e8, 9e8).point("B", 1.6e9, 0, 0),
			"dead below a frequency, input B at 40 MHz: counts from 400 MHz on, nothing up to 40 MHz\ndead above a frequency, input B at 1.6 GHz: counts up to 900 MHz, nothing from 1.6 GHz on"},
		"dead here and there": {result(t).point("B", 4e7, 0, 0).steady("B", right, 1e8).point("B", 4e8, 0, 0).steady("B", right, 9e8).point("B", 1.2e9, 0, 0).steady("B", right, 1.6e9),
			"no count at some frequencies, input B, 40 MHz to 1.2 GHz: no count at 3 of 6 frequencies, spread among others that count"},
		"one wrong point": {result(t).steady("B", right, 100e6, 400e6).point("B", 9e8, 9e8+5e3),
			"not explained, input B at 900 MHz: 1 finding that none of the symptoms covers"},
	} {
		t.Run(name, func(t *testing.T) {
			var got []string
			for _, f := range symptom.Name(c.made.r) {
				got = append(got, f.String())
			}
			if name == "nothing judged" {
				require.Equal(t, "nothing judged: no point of the run was judged", strings.Join(got, "\n"))
				return
			}
			require.Equal(t, c.want, strings.Join(got, "\n"))
		})
	}
}

// TestOneSilentPoint: a single look does not tell a dead stretch from chance.
func TestOneSilentPoint(t *testing.T) {
	f := named(t, symptom.Name(result(t).steady("B", right, 1e8).point("B", 4e8, 0, 0, 0).steady("B", right, 9e8).r), symptom.DeadBetween)
	require.Contains(t, strings.Join(f.Open, "\n"), "frequency or chance")
}

// TestSeveralAtOnce: each is named, also where one hides in the error of another.
func TestSeveralAtOnce(t *testing.T) {
	y := 1 + 5e-6
	s := result(t).steady("A", ratio(y), 1e7, 1e8).steady("B", ratio(y*32/31), manyB...)
	s.steady("C", ratio(y), 2e9, 4e9).steady("C", func(f float64) float64 { return f*y + 200e6 }, 7e9, 9e9, 11e9).point("C", 13e9, 0, 0).point("C", 18e9, 0, 0)
	got := symptom.Name(s.r)
	require.Equal(t, "same relative error, wrong ratio, constant error in hertz, dead above a frequency", words(got))
	require.InDelta(t, -5, figure(t, got[0], "offset that the timebase would have").Value, 0.01)
	require.Equal(t, "32/31", figure(t, got[1], "shown over true").Text)
	require.Equal(t, []string{"B"}, got[1].Inputs)
	c := figure(t, got[2], "error")
	require.InDelta(t, 200e6, c.Value, math.Max(c.U, 1))
	require.Contains(t, strings.Join(got[2].Evidence, "\n"), "between them lies the crossover at 6 GHz")
	require.Contains(t, strings.Join(got[3].Evidence, "\n"), "between them lies the crossover at 12 GHz")
}

// TestNotTheTimebase: what inputs do not share is not booked on what they share.
func TestNotTheTimebase(t *testing.T) {
	s := result(t).steady("A", right, 1e7, 1e8).steady("B", ratio(1+5e-6), 4e8, 9e8, 1.6e9)
	f := named(t, symptom.Name(s.r), symptom.SameShare)
	require.Equal(t, []string{"B"}, f.Inputs)
	require.Contains(t, f.Suggests, "not the timebase")
	require.Contains(t, strings.Join(f.Against, "\n"), "2 points at input A read otherwise")

	s = result(t).steady("A", ratio(1+5e-6), 1e7, 1e8)
	f = named(t, symptom.Name(s.r), symptom.SameShare)
	require.Contains(t, strings.Join(f.Open, "\n"), "only points at input A tell of it")
	require.Contains(t, strings.Join(f.Open, "\n"), "timebase or gate")

	// Unit and source on one reference: an offset of its own timebase can't show.
	delete(s.r.Topology, "S")
	f = named(t, symptom.Name(s.r), symptom.SameShare)
	require.Contains(t, strings.Join(f.Against, "\n"), "does not run from its own timebase")

	// A gate that is short shows in full where all is counted, and as a share of the
	// intermediate frequency where it is mixed down.
	s = result(t).steady("A", ratio(0.99), 1e7, 1e8).steady("B", ratio(0.99), 4e8, 9e8)
	for _, p := range []struct{ f, rest float64 }{{2e9, 200e6}, {5.94e9, 140e6}, {11e9, 200e6}, {13.1e9, 100e6}} {
		s.point("C", p.f, p.f-0.01*p.rest, p.f-0.01*p.rest)
	}
	f = named(t, symptom.Name(s.r), symptom.SameShare)
	require.Equal(t, []string{"A", "B", "C"}, f.Inputs)
	require.Contains(t, f.Suggests, "the time of the gate")
	require.Contains(t, strings.Join(f.Evidence, "\n"), "multiples of 200 MHz")
}

// TestInternalFrequency: what constants tell of it, and what they can't.
func TestInternalFrequency(t *testing.T) {
	one := symptom.Name(result(t).steady("C", plus(-400e6), 2e9, 4e9, 5e9).r)
	f := named(t, one, symptom.SameHertz)
	require.Contains(t, strings.Join(f.Open, "\n"), "400 MHz, 200 MHz, 133.333 MHz and 100 MHz; one constant alone can't tell")
	two := symptom.Name(result(t).steady("C", plus(-400e6), 2e9, 4e9).steady("C", plus(600e6), 7e9, 9e9).r)
	require.Equal(t, "constant error in hertz, constant error in hertz", words(two))
	require.InDelta(t, 200e6, figure(t, two[0], "greatest common measure").Value, 1)
	// Harmonics 9, 29 and 59 of 200 MHz that is 1 kHz, 5 ppm, high.
	f = named(t, symptom.Name(result(t).point("C", 2e9, 2e9+9e3).point("C", 5.9e9, 5.9e9+29e3).point("C", 11.99e9, 11.99e9+59e3).r), symptom.SameHertz)
	require.InDelta(t, 1000, figure(t, f, "step").Value, 2)
	lo := figure(t, f, "internal frequency")
	require.InDelta(t, 200e6, lo.Value, lo.U)
	require.InDelta(t, 5, figure(t, f, "relative error").Value, 0.1)
}

// TestTimeAndFrequency: points come in order of frequency, so that only what is
// read again tells the two apart.
func TestTimeAndFrequency(t *testing.T) {
	again := func(s *synth, use runner.Use, f float64) {
		g := s.reading(f)
		g.Use = use
		s.r.Points[0].Readings = append(s.r.Points[0].Readings, g)
	}
	dead := func() *synth {
		return result(t).steady("B", right, 1e8, 4e8).point("B", 9e8, 0, 0).point("B", 1.2e9, 0, 0)
	}
	open := dead()
	f := named(t, symptom.Name(open.r), symptom.DeadAbove)
	require.Contains(t, strings.Join(f.Open, "\n"), "frequency or time")

	frequency := dead()
	again(frequency, runner.ClosingCheck, 1e8)
	f = named(t, symptom.Name(frequency.r), symptom.DeadAbove)
	require.Contains(t, strings.Join(f.Evidence, "\n"), "not a matter of time: 1 point read right")
	require.NotContains(t, strings.Join(f.Open, "\n"), "frequency or time")

	proof := dead()
	g := proof.reading(4e8)
	g.Use = runner.Proof
	proof.r.Points[2].Readings = append(proof.r.Points[2].Readings, g)
	f = named(t, symptom.Name(proof.r), symptom.DeadAbove)
	require.Contains(t, strings.Join(f.Evidence, "\n"), "at B-003 a point that had passed was read again")

	time := dead()
	again(time, runner.ClosingCheck, 0)
	time.r.Changes = []runner.Change{{Point: "B-001", Input: "B", Why: runner.AsClosingCheck, LaterAt: time.at, Later: decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}}}
	got := symptom.Name(time.r)
	require.Equal(t, "worse the longer it is on", words(got), "no symptom of frequency")
	require.Len(t, got[0].Points, 3)
	when := figure(t, got[0], "time that the unit had been on")
	seen := symptom.Read(time.r)
	require.InDelta(t, seen[2].Powered, when.Value, when.U)
}

// TestEdgeOfALimit: a point whose error one count takes over the limit when it is
// read again has not changed.
func TestEdgeOfALimit(t *testing.T) {
	s := result(t).steady("B", plus(64), 4e7).steady("B", ratio(1+1.7e-6), 4e8, 9e8, 1.6e9)
	g := s.reading(4e7 + 96)
	g.Use = runner.ClosingCheck
	s.r.Points[0].Readings = append(s.r.Points[0].Readings, g)
	s.r.Changes = []runner.Change{{Point: "B-001", Input: "B", Why: runner.AsClosingCheck, LaterAt: s.at, Later: decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}}}
	require.Equal(t, "same relative error", words(symptom.Name(s.r)))
}

// TestDrift: relative errors that change with time, and with nothing else.
func TestDrift(t *testing.T) {
	s := result(t)
	for k, f := range []float64{1e8, 4e8, 9e8, 1.2e9, 1.6e9, 1.3e9, 1.1e9} {
		x := f * (1 + 1e-6*float64(k))
		s.point("B", f, x, x, x)
	}
	f := named(t, symptom.Name(s.r), symptom.Drifts)
	perHour := figure(t, f, "change of the relative error")
	taken := s.r.Points[1].Started.Sub(s.r.Points[0].Started).Hours()
	require.InDelta(t, 1/taken, perHour.Value, perHour.U)
	require.Contains(t, strings.Join(f.Open, "\n"), "time or frequency")
}

// TestLevelOfAnInput: a point that lacks level is not called dead.
func TestLevelOfAnInput(t *testing.T) {
	s := result(t).steady("B", right, 1e8).point("B", 9e8, 0, 0)
	high := s.r.Points[1]
	s.point("B", 9e8, 9e8, 9e8)
	s.r.Points[2].Point.ID, s.r.Points[2].Point.Levels.Input = high.Point.ID, quantity.MustLevel("-5 dBm")
	f := named(t, symptom.Name(s.r), symptom.NeedsLevel)
	require.Equal(t, "not explained", words(symptom.Name(result(t).point("B", 9e8, 9e8+5e3).r)))
	require.Contains(t, strings.Join(f.Open, "\n"), "no search for the least level was made")
}

// TestText: lines keep to the width of the terminal, and JSON holds all.
func TestText(t *testing.T) {
	list := symptom.Name(result(t).steady("A", ratio(1+5e-6), 1e7, 1e8).steady("B", ratio(1+5e-6), manyB...).r)
	for _, columns := range []int{80, 100} {
		text := list[0].Text(columns)
		for _, line := range strings.Split(text, "\n") {
			require.LessOrEqual(t, utf8.RuneCountInString(line), columns, line)
		}
		require.Contains(t, strings.Join(strings.Fields(text), " "), list[0].String())
	}
	body, err := json.Marshal(list)
	require.NoError(t, err)
	require.Contains(t, string(body), `"symptom":"same relative error"`)
	require.Contains(t, string(body), `"would_confirm"`)
}

// covered holds that every failing point stands in a finding and that no number is
// lost on the way to JSON.
func covered(t interface{ Fatalf(string, ...any) }, r runner.Result) {
	seen, list := symptom.Read(r), symptom.Name(r)
	points := map[string]bool{}
	for _, f := range list {
		for _, id := range f.Points {
			points[id] = true
		}
		_ = f.Text(80)
	}
	for _, x := range seen {
		if x.Kind != symptom.Good && !points[x.Point] {
			t.Fatalf("%s (%s: %s) is in no finding of %s", x.Point, x.Kind, x.Says, words(list))
		}
	}
	if len(list) == 0 {
		t.Fatalf("nothing is said")
	}
	if _, err := json.Marshal(list); err != nil {
		t.Fatalf("%v", err)
	}
}

// TestAnyResult: whatever was read, nothing panics, and every failing point is
// covered.
func TestAnyResult(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := result(t)
		for range rapid.IntRange(0, 12).Draw(rt, "points") {
			input := rapid.SampledFrom([]string{"A", "B", "C"}).Draw(rt, "input")
			f := rapid.SampledFrom([]float64{10, 1e3, 1e6, 4e7, 1e8, 4e8, 1.4e9, 2e9, 6e9, 18e9}).Draw(rt, "frequency")
			var shown []float64
			for range rapid.IntRange(1, 6).Draw(rt, "readings") {
				shown = append(shown, rapid.OneOf(
					rapid.Just(0.), rapid.Just(f), rapid.Just(2*f), rapid.Just(f/2), rapid.Just(f+200e6), rapid.Just(f*(1+5e-6)), rapid.Just(f*32/31),
					rapid.Float64Range(f*0.9, f*1.1), rapid.Float64Range(1e-3, 1e12)).Draw(rt, "shown"))
			}
			s.point(input, f, shown...)
		}
		for k := range s.r.Points {
			p := &s.r.Points[k]
			switch rapid.IntRange(0, 9).Draw(rt, "damage") {
			case 0:
				p.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.PathNotProven}
			case 1:
				p.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}
			case 2:
				p.Readings = nil
			case 3:
				p.Limit.Terms, p.Limit.Total, p.Limit.Resolution = nil, quantity.Exact{}, quantity.Exact{}
			case 4:
				p.Reference = quantity.Exact{}
			case 5:
				p.Readings[0].Use = runner.ClosingCheck
			case 6:
				s.r.Changes = append(s.r.Changes, runner.Change{Point: p.Point.ID, Input: p.Point.Input, Why: rapid.SampledFrom([]string{runner.AsClosingCheck, "to prove the path"}).Draw(rt, "why"),
					Later: decision.Verdict{Word: decision.Fail, Reason: rapid.SampledFrom([]decision.Reason{decision.NoCount, decision.Unstable, decision.OutsideLimit}).Draw(rt, "reason")}, LaterAt: s.at})
			case 7:
				p.Started = began
			}
		}
		if rapid.Bool().Draw(rt, "no inputs") {
			s.r.Inputs = nil
		}
		covered(rt, s.r)
	})
}

// TestEmptyResults: nothing, one point, and points without anything in them.
func TestEmptyResults(t *testing.T) {
	covered(t, runner.Result{})
	covered(t, runner.Result{Points: make([]runner.PointResult, 3)})
	covered(t, runner.Result{Outcomes: make([]runner.Outcome, 3), Inputs: make([]runner.InputResult, 2)})
	bad := runner.PointResult{}
	bad.Verdict = decision.Verdict{Word: decision.Fail}
	covered(t, runner.Result{Points: []runner.PointResult{bad, bad}})
	require.Equal(t, "nothing judged", words(symptom.Name(runner.Result{})))
	require.Equal(t, fmt.Sprint(symptom.NoEvidence), words(symptom.Name(runner.Result{})))
}

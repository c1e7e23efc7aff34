package symptom_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// synth makes results point by point, judged as a run judges them.
type synth struct {
	t      testing.TB
	r      runner.Result
	at     time.Time
	stated float64 // what the timebase promises
}

var began = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

func hz(f float64) quantity.Frequency { return quantity.Significant(f, 12) }

// result begins a result of a unit with a direct, a prescaled (by 32) and a
// down-converted input, on a timebase good to 0.8 ppm, on for half an hour.
func result(t testing.TB) *synth {
	s := &synth{t: t, at: began, stated: 0.8e-6}
	s.r = runner.Result{Started: began, OnFor: quantity.Of[quantity.Second](1800, 0), Topology: map[string]procedures.Topology{"S": {TimebaseTested: true}}}
	for _, i := range []struct {
		name      string
		low, high float64
		counting  accuracy.Counting
		crossover []quantity.Frequency
	}{
		{"A", 10, 120e6, accuracy.Counting{Kind: accuracy.Direct}, nil},
		{"B", 40e6, 1.6e9, accuracy.Counting{Kind: accuracy.Prescaled, Prescale: 32}, nil},
		{"C", 1.4e9, 22e9, accuracy.Counting{Kind: accuracy.Converted}, []quantity.Frequency{hz(6e9), hz(12e9)}},
	} {
		in := procedures.Input{Name: i.name, Range: [2]quantity.Frequency{hz(i.low), hz(i.high)}, Impedance: quantity.Dbm50(), Crossovers: i.crossover,
			Accuracy:    accuracy.Spec{Figures: accuracy.Figures{Counting: i.counting}},
			Sensitivity: []procedures.Sensitivity{{From: hz(i.low), To: hz(i.high), Level: quantity.MustLevel("-20 dBm")}}}
		s.r.Inputs = append(s.r.Inputs, runner.InputResult{Input: in})
	}
	return s
}

func (s *synth) input(name string) procedures.Input {
	for _, i := range s.r.Inputs {
		if i.Input.Name == name {
			return i.Input
		}
	}
	s.t.Fatalf("no input %s", name)
	return procedures.Input{}
}

// reading of a value, or of nothing where it is 0.
func (s *synth) reading(f float64) runner.Reading {
	s.at = s.at.Add(2 * time.Second)
	x := runner.Reading{Reading: drivers.Reading{At: s.at}, Use: runner.Counted}
	if f == 0 {
		x.Mark = drivers.NoSignal
		return x
	}
	x.Frequency = quantity.FromRat[quantity.Hertz](quantity.ExactFloat(f).Rat(), 3)
	return x
}

// point adds a point with the readings that were shown, in Hz; 0 is no count.
// Readings are rounded to counts.
func (s *synth) point(input string, f float64, shown ...float64) *synth {
	s.t.Helper()
	i := s.input(input)
	gate := quantity.Of[quantity.Second](1, 0)
	promise := quantity.ExactDecimal(s.stated)
	limit, err := i.Accuracy.Limit(accuracy.Conditions{Nominal: hz(f), Reference: hz(f).Exact(), Gate: gate, Timebase: &promise})
	require.NoError(s.t, err)
	p := runner.PointResult{Started: s.at, Gate: gate, Point: procedures.Point{ID: fmt.Sprintf("%s-%03d", input, s.count(input)+1), Input: input, Frequency: hz(f),
		Path: "S to " + input, Source: "S", Gate: gate, Readings: len(shown), Levels: procedures.Levels{Input: quantity.MustLevel("-14 dBm")}}}
	m := procedures.Measurement{Reference: hz(f).Exact(), Limit: limit, Counting: i.Accuracy.At(hz(f)).Counting}
	for _, x := range shown {
		g := s.reading(x)
		p.Readings = append(p.Readings, g)
		if x == 0 {
			m.Symptom = decision.NoCount
			continue
		}
		m.Readings = append(m.Readings, g.Frequency.Exact())
	}
	if m.Symptom == "" && procedures.Spread(m.Readings).Cmp(limit.Scatter().Mul(quantity.ExactInt(2))) > 0 {
		m.Symptom = decision.Unstable
	}
	p.Judgement, err = procedures.Judge(decision.Rule{Name: decision.Simple}, m)
	require.NoError(s.t, err)
	s.at = s.at.Add(10 * time.Second)
	p.Finished = s.at
	s.r.Points = append(s.r.Points, p)
	return s
}

func (s *synth) count(input string) int {
	n := 0
	for _, p := range s.r.Points {
		if p.Point.Input == input {
			n++
		}
	}
	return n
}

// steady adds a point for each frequency that shows three times what of makes of it.
func (s *synth) steady(input string, of func(f float64) float64, frequencies ...float64) *synth {
	for _, f := range frequencies {
		x := of(f)
		s.point(input, f, x, x, x)
	}
	return s
}

func right(f float64) float64 { return f }

func ratio(x float64) func(float64) float64 { return func(f float64) float64 { return f * x } }

func plus(x float64) func(float64) float64 { return func(f float64) float64 { return f + x } }

// kinds writes what was seen, point by point.
func kinds(list []symptom.Seen) string {
	var words []string
	for _, x := range list {
		words = append(words, string(x.Kind))
	}
	return strings.Join(words, ", ")
}

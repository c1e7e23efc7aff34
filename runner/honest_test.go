package runner_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"bandproof/drivers"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// counted wraps the unit: it counts the readings that came and lets a test
// change them.
type counted struct {
	drivers.Counter
	came   int
	change func(n int, r drivers.Reading) drivers.Reading
	gate   func(quantity.Duration) quantity.Duration
}

func (c *counted) Read(ctx context.Context) (drivers.Reading, error) {
	r, err := c.Counter.Read(ctx)
	if err == nil {
		c.came++
		if c.change != nil {
			r = c.change(c.came, r)
		}
	}
	return r, err
}

func (c *counted) SetGate(ctx context.Context, g quantity.Duration) (quantity.Duration, error) {
	got, err := c.Counter.SetGate(ctx, g)
	if err == nil && c.gate != nil {
		got = c.gate(g)
	}
	return got, err
}

// told wraps a source: it writes down what it is told and lets a test change
// the level that it reports.
type told struct {
	drivers.Source
	said  []string
	level func(quantity.Level) quantity.Level
}

func (s *told) RFOff(ctx context.Context) error {
	s.said = append(s.said, "off")
	return s.Source.RFOff(ctx)
}
func (s *told) RFOn(ctx context.Context) error {
	s.said = append(s.said, "on")
	return s.Source.RFOn(ctx)
}

func (s *told) SetFrequency(ctx context.Context, f quantity.Frequency) (quantity.Frequency, error) {
	s.said = append(s.said, "frequency")
	return s.Source.SetFrequency(ctx, f)
}

func (s *told) SetLevel(ctx context.Context, l quantity.Level) (quantity.Level, error) {
	s.said = append(s.said, "level")
	got, err := s.Source.SetLevel(ctx, l)
	if err == nil && s.level != nil {
		got = s.level(l)
	}
	return got, err
}

// Whatever an intermittent unit does: every reading that came is in the result,
// and no point passes that holds a reading outside its limit or none at all.
func TestNoReadingIsForgiven(t *testing.T) {
	for _, fault := range []string{"dead-input:input=B,probability=20 %", "double-counting:input=B,probability=5 %", "noisy:input=B,amount=1,probability=20 %", "dead-input:probability=5 %"} {
		for seed := 1; seed <= 12; seed++ {
			t.Run(fmt.Sprintf("%s seed %d", fault, seed), func(t *testing.T) {
				r := newRig(t, options{Faults: []string{fault}, Seed: seed})
				r.Operator.Answers = []bool{true, true, true, true, true, true}
				unit := &counted{Counter: r.Setup.Counter}
				r.Setup.Counter = struct {
					drivers.Counter
					drivers.ReferenceReporter
				}{unit, unit.Counter.(drivers.ReferenceReporter)}
				got := r.Run()
				kept := 0
				for _, p := range got.Points {
					kept += len(p.Readings)
					for _, x := range p.Readings {
						if !p.Verdict.Good() || x.Use != runner.Counted && x.Use != runner.FirstLook {
							continue
						}
						require.Equal(t, drivers.None, x.Mark, "%s passes with a reading %q", p.Point.ID, x.Text)
						require.LessOrEqual(t, x.Frequency.Exact().Sub(p.Reference).Abs().Cmp(p.Limit.Total), 0, "%s passes with a reading %q", p.Point.ID, x.Text)
					}
				}
				require.Equal(t, unit.came, kept, "readings that came, and readings that are in the result")
			})
		}
	}
}

func TestSourceOnAnotherReferenceThanStated(t *testing.T) {
	t.Run("from the start", func(t *testing.T) {
		r := newRig(t, options{Scenario: []string{"name = \"MW\"\nreference = \"standard\"", "name = \"MW\"\nreference = \"own\""}})
		got, err := runner.Run(t.Context(), r.Setup)
		require.ErrorIs(t, err, runner.ErrBench)
		require.ErrorContains(t, err, "source MW reports that it runs from its own reference before the points of input B, the bench file says house standard")
		require.Empty(t, verdicts(got, "B"))
	})
	t.Run("from half-way", func(t *testing.T) {
		r := newRig(t, options{})
		reference := "external"
		r.Setup.Sources["MW"] = &wanders{r.Setup.Sources["MW"], &reference}
		r.Setup.Watcher = watcher(func(p runner.PointResult) {
			if p.Point.ID == "B-003" {
				reference = "own"
			}
		})
		require.Equal(t, all("not judged: source runs from another reference than stated", 6), verdicts(r.Run(), "B"))
	})
}

// wanders is a source that loses its reference on the way.
type wanders struct {
	drivers.Source
	reference *string
}

func (w *wanders) Reference(context.Context) (string, error) { return *w.reference, nil }

func TestLevelReadBackIsCompared(t *testing.T) {
	r := newRig(t, options{})
	r.Setup.Sources["MW"] = &told{Source: r.Setup.Sources["MW"], level: func(quantity.Level) quantity.Level { return quantity.MustLevel("-45 dBm") }}
	require.Equal(t, all("not judged: source does not report what was set", 6), verdicts(r.Run(), "B"))
}

func TestGateThatIsNotInForce(t *testing.T) {
	r := newRig(t, options{})
	r.Setup.Counter = &counted{Counter: r.Setup.Counter, gate: func(quantity.Duration) quantity.Duration { return quantity.MustParse[quantity.Second]("10 ms") }}
	got := r.Run()
	require.Equal(t, all("not judged: gate not in force", 6), verdicts(got, "B"))
}

// The limit is that of the gate in force, where a unit rounds its gate a little.
func TestLimitOfTheGateInForce(t *testing.T) {
	r := newRig(t, options{})
	r.Setup.Counter = &counted{Counter: r.Setup.Counter, gate: func(g quantity.Duration) quantity.Duration { return g.Scale(1005, -3) }}
	p := find(r.Run(), "B-001")
	require.Equal(t, "pass", p.Verdict.String())
	require.Equal(t, "6400/201", p.Limit.Resolution.String()) // 32/1.005
}

// A reading that was never answered among others that were is the link's fault.
func TestLostReplies(t *testing.T) {
	lose := func(which ...int) func(int, drivers.Reading) drivers.Reading {
		return func(n int, r drivers.Reading) drivers.Reading {
			for _, w := range which {
				if n == w {
					return drivers.Reading{Mark: drivers.NoReply, At: r.At}
				}
			}
			return r
		}
	}
	t.Run("once", func(t *testing.T) {
		r := newRig(t, options{})
		r.Setup.Counter = &counted{Counter: r.Setup.Counter, change: lose(3)}
		p := find(r.Run(), "A-001")
		require.Equal(t, "pass", p.Verdict.String())
		require.Equal(t, 3, p.Counted)
		require.Equal(t, runner.Lost, p.Readings[2].Use)
		require.Contains(t, strings.Join(p.Notes, ""), "1 readings were never answered and were taken anew")
	})
	t.Run("again", func(t *testing.T) {
		r := newRig(t, options{})
		r.Setup.Counter = &counted{Counter: r.Setup.Counter, change: lose(3, 5)}
		require.Equal(t, "not judged: link", find(r.Run(), "A-001").Verdict.String())
	})
}

// Replies with suppressed zeros say nothing of their digits.
func TestSuppressedZeros(t *testing.T) {
	short := func(n int, r drivers.Reading) drivers.Reading {
		r.Frequency = r.Frequency.Trimmed()
		return r
	}
	r := newRig(t, options{})
	r.Setup.Counter = &counted{Counter: r.Setup.Counter, change: short}
	p := find(r.Run(), "A-003") // 1 MHz
	require.Equal(t, "pass", p.Verdict.String())
	require.Less(t, p.Decision.Expanded, 0.1)
}

// Replies of a fixed number of digits resolve less where the frequency has more
// of them before the point: at 120 MHz eight digits end at 10 Hz, so that the
// mean may be off by 5 Hz (rectangular, JCGM 100:2008, F.2.2.1), while at 1 MHz
// they end at the count of 0.1 Hz.
func TestRepliesOfFixedLength(t *testing.T) {
	eight := func(_ int, r drivers.Reading) drivers.Reading {
		if mhz := r.Frequency.Float() / 1e6; r.Mark == drivers.None && mhz > 0 {
			r.Text = fmt.Sprintf("%.*f MHz", 7-int(math.Floor(math.Log10(mhz))), mhz)
			r.Frequency = quantity.MustParse[quantity.Hertz](r.Text)
		}
		return r
	}
	r := newRig(t, options{})
	r.Setup.Counter = &counted{Counter: r.Setup.Counter, change: eight}
	got := r.Run()
	seen := 0
	for _, p := range got.Points {
		if p.Point.Input != "A" {
			continue
		}
		notes := strings.Join(p.Notes, "\n")
		if p.Point.Frequency.String() != "120 MHz" {
			require.NotContains(t, notes, "replies show fewer digits", p.Point.ID)
			continue
		}
		seen++
		require.Contains(t, notes, "replies show fewer digits than the unit counts")
		require.GreaterOrEqual(t, p.Decision.Expanded, 2*5/math.Sqrt(3)*0.95)
	}
	require.Equal(t, 1, seen)
}

// From RF off, which may have detuned the source, the frequency goes first.
func TestOrderOfCommands(t *testing.T) {
	r := newRig(t, options{})
	mw := &told{Source: r.Setup.Sources["MW"]}
	r.Setup.Sources["MW"] = mw
	r.Run()
	text := strings.Join(mw.said, " ")
	require.Contains(t, text, "off frequency level on")
	require.NotContains(t, text, "off level")
	require.NotContains(t, text, "off on")
}

// A path whose fixed pad takes more at higher frequencies: the level rises only
// after the frequency, and what the plan allowed the interlock allows.
func TestInterlockFollowsTheFrequency(t *testing.T) {
	r := newRig(t, options{
		Procedure: []string{`above_sensitivity = "6 dB"`, `above_sensitivity = "24 dB"`, `damage = "20 dBm"`, `damage = "10 dBm"`},
		BenchFile: []string{"name = \"cable 2, 1.5 m\"\ncoax = true\nloss = [[\"10 MHz\", \"0.1 dB\"], [\"100 MHz\", \"0.3 dB\"], [\"1 GHz\", \"0.9 dB\"], [\"4 GHz\", \"1.9 dB\"], [\"18 GHz\", \"4.3 dB\"]]\nuncertainty = \"0.2 dB\"",
			"name = \"pad\"\nfixed = true\nloss = [[\"10 MHz\", \"0 dB\"], [\"400 MHz\", \"1 dB\"], [\"900 MHz\", \"7 dB\"], [\"18 GHz\", \"7 dB\"]]"},
		Scenario: []string{"max = \"7 dBm\"\ndamage = \"20 dBm\"", "max = \"15 dBm\"\ndamage = \"20 dBm\""},
	})
	require.Equal(t, all("pass", 6), verdicts(r.Run(), "B"))
}

func TestInterruptedRunAsksForTheReferenceOnceMore(t *testing.T) {
	r := newRig(t, options{})
	ctx, stop := context.WithCancel(t.Context())
	r.Setup.Watcher = watcher(func(p runner.PointResult) {
		if p.Point.ID == "B-002" {
			runnertest.Ask(t, r.Bench, "counter", "SENS:ROSC:SOUR EXT;SOUR?")
			stop()
		}
	})
	got, err := runner.Run(ctx, r.Setup)
	require.NoError(t, err)
	require.Equal(t, all("not judged: reference changed", 2), verdicts(got, "B"))
	require.Equal(t, decision.ReferenceChanged, r.Journal.Last("B-001").Verdict.Reason)
	require.Equal(t, "unit reports own before and after", got.Inputs[0].ReferenceCheck)
}

// A run that ends while points are put off keeps what was read of them.
func TestInterruptedRunKeepsPointsThatArePutOff(t *testing.T) {
	r := newRig(t, options{Faults: []string{"dead-below:input=B,to=150 MHz"}})
	ctx, stop := context.WithCancel(t.Context())
	r.Setup.Watcher = watcher(func(p runner.PointResult) {
		if p.Point.ID == "B-003" {
			stop()
		}
	})
	got, err := runner.Run(ctx, r.Setup)
	require.NoError(t, err)
	r.Always(got)
	for _, id := range []string{"B-001", "B-002"} {
		p := find(got, id)
		require.Equal(t, "not judged: path not proven", p.Verdict.String())
		require.Len(t, p.Readings, 6, "one discarded, five that count")
		require.Contains(t, strings.Join(p.Notes, ""), "the run ended before it was taken again")
		require.Equal(t, p.Readings, r.Journal.Last(id).Readings)
	}
	require.False(t, got.Complete)
}

package procedures_test

import (
	"math/big"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func ratio(text string) *quantity.Ratio {
	r := quantity.MustParse[quantity.One](text)
	return &r
}

func single(nominal, reading, from string) procedures.Single {
	return procedures.Single{Nominal: hz(nominal), Readings: []quantity.Frequency{hz(reading)}, Gate: quantity.MustParse[quantity.Second]("1 s"),
		Spec: accuracy.Spec{Figures: accuracy.Figures{Counting: accuracy.Counting{Kind: accuracy.Direct}}}, UnitReference: from, Rule: decision.Rule{Name: decision.Simple}}
}

// The five rows of the reference topology: limit, reference value and budget of
// each (a shared reference cancels: it is in neither).
func TestSingleTopologies(t *testing.T) {
	for _, c := range []struct {
		name      string
		change    func(*procedures.Single)
		from      string
		reference string
		limit     string
		benchU    float64
	}{
		{"own", func(s *procedures.Single) { s.Timebase, s.ReferenceU = ratio("0.5 ppm"), *ratio("1e-9") }, "own", "25000000", "13.5", 0.025},
		{"own, reference known to be off", func(s *procedures.Single) { s.Timebase, s.ReferenceOffset = ratio("0.5 ppm"), *ratio("1e-9") }, "own", "25000000.025", "13.5000000125", 0},
		{"external", func(s *procedures.Single) {
			s.ReferenceU, s.UnitReferenceU = *ratio("3e-9"), *ratio("4e-9")
		}, "external", "25000000", "1", 0.125},
		{"external, both known to be off", func(s *procedures.Single) {
			s.ReferenceOffset, s.UnitReferenceOffset = *ratio("1e-9"), *ratio("2e-9")
		}, "external", "25000000025000000/1000000002", "1", 0},
		{"shared, and what is stated cancels", func(s *procedures.Single) {
			s.Timebase, s.ReferenceU, s.ReferenceOffset = ratio("0.5 ppm"), *ratio("1e-9"), *ratio("1e-9")
		}, "shared", "25000000", "1", 0},
		{"drives the source", func(s *procedures.Single) {}, "drives-source", "25000000", "1", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := single("25 MHz", "25 MHz", c.from)
			c.change(&s)
			_, j, err := s.Judge()
			require.NoError(t, err)
			want := new(big.Rat)
			_, ok := want.SetString(c.reference)
			require.True(t, ok)
			require.Zero(t, j.Reference.Cmp(quantity.ExactOf(want)), "got %s", j.Reference)
			require.Equal(t, c.limit, j.Limit.Total.String())
			require.InDelta(t, c.benchU, j.Bench.Expanded, 1e-12)
			require.Equal(t, c.benchU == 0, j.TUR == nil)
		})
	}
}

// A reading exactly at the limit passes and one count beyond fails, from
// 0.001 Hz to 110 GHz, at every gate and point that is accepted.
func TestSingleAtTheBoundary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Decimal gates, so that one count is a decimal that a unit can send.
		exponent := rapid.IntRange(-3, 3).Draw(t, "gate exponent")
		s := procedures.Single{Nominal: quantity.Of[quantity.Hertz](rapid.Int64Range(1, 110_000_000_000_000).Draw(t, "millihertz"), -3),
			Gate: quantity.Of[quantity.Second](1, int32(exponent)), UnitReference: "own", Rule: decision.Rule{Name: decision.Simple},
			Spec: accuracy.Spec{Figures: accuracy.Figures{Counting: accuracy.Counting{Kind: accuracy.Direct}, Counts: rapid.IntRange(1, 3).Draw(t, "counts")}}}
		timebase := quantity.Of[quantity.One](rapid.Int64Range(0, 5000).Draw(t, "ppb"), -9)
		s.Timebase = &timebase
		count := quantity.Of[quantity.Hertz](1, int32(-exponent))
		s.Readings = []quantity.Frequency{s.Nominal}
		_, j, err := s.Judge()
		if err != nil {
			return // vacuous: the plan would refuse it too
		}
		at, beyond := s, s
		// nominal · ppb·1e-9 is a decimal: the limit is one, exactly.
		share := quantity.FromRat[quantity.Hertz](new(big.Rat).Mul(s.Nominal.Rat(), timebase.Rat()), 15)
		exact := count.Scale(int64(s.Spec.Counts), 0).Add(share)
		if j.Limit.Total.Cmp(exact.Exact()) != 0 {
			t.Fatalf("limit %s, by hand %s", j.Limit.Total, exact)
		}
		at.Readings = []quantity.Frequency{s.Nominal.Add(exact)}
		beyond.Readings = []quantity.Frequency{s.Nominal.Add(exact).Add(count)}
		_, a, err1 := at.Judge()
		_, b, err2 := beyond.Judge()
		if err1 != nil || err2 != nil || a.Verdict.Word != decision.Pass || b.Verdict.Word != decision.Fail {
			t.Fatalf("f %s, gate %s: at the limit %s (%v), one count beyond %s (%v)", s.Nominal, s.Gate, a.Verdict, err1, b.Verdict, err2)
		}
	})
}

func TestSingleRefusesWhatMakesNoSense(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*procedures.Single)
		want   string
	}{
		"no reading":           {func(s *procedures.Single) { s.Readings = nil }, "there is no reading"},
		"negative reading":     {func(s *procedures.Single) { s.Readings[0] = hz("-1 Hz") }, "is negative"},
		"negative uncertainty": {func(s *procedures.Single) { s.ReferenceU = *ratio("-1e-9") }, "can't be negative"},
		"negative timebase":    {func(s *procedures.Single) { s.Timebase = ratio("-1 ppm") }, "expected at least zero"},
		"no timebase":          {func(s *procedures.Single) { s.Timebase = nil }, "state what it promises"},
		"offset of a percent":  {func(s *procedures.Single) { s.ReferenceOffset = *ratio("2 %") }, "expected within 1 %"},
		"negative trigger":     {func(s *procedures.Single) { s.Spec.Trigger = *ratio("-1 ppm") }, "can't be negative"},
		"negative residual": {func(s *procedures.Single) {
			s.Spec.Residuals = []accuracy.Residual{{To: hz("1 GHz"), Error: hz("-20 Hz")}}
		}, "residual error"},
		"negative display":  {func(s *procedures.Single) { s.Spec.Display = hz("-5 Hz") }, "display resolution"},
		"truncates nothing": {func(s *procedures.Single) { s.Spec.Truncates = true }, "needs its resolution"},
		"a marker":          {func(s *procedures.Single) { s.Readings[0] = hz("9.91E37 Hz") }, "is a marker"},
		"zero gate":         {func(s *procedures.Single) { s.Gate = quantity.Duration{} }, "must be longer than zero"},
		"zero nominal":      {func(s *procedures.Single) { s.Nominal = quantity.Frequency{} }, "expected above zero"},
		"vacuous":           {func(s *procedures.Single) { s.Nominal = hz("9 Hz") }, "more than a tenth"},
	} {
		s := single("25 MHz", "25 MHz", "own")
		s.Timebase = ratio("1 ppm")
		c.change(&s)
		_, _, err := s.Judge()
		require.ErrorContains(t, err, c.want, name)
	}
}

func BenchmarkJudge(b *testing.B) {
	s := single("25 MHz", "25000004 Hz", "own")
	s.Timebase = ratio("0.5 ppm")
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := s.Judge(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "points/s")
}

// In reported U stands the larger of resolution and repeatability; the decision
// leaves out what lies within one count.
func TestReportedHoldsTheLarger(t *testing.T) {
	s := single("10 MHz", "10 MHz", "shared")
	s.Spec.Counts = 2
	s.Readings = append(s.Readings, hz("10000001 Hz"))
	_, j, err := s.Judge()
	require.NoError(t, err)
	require.InEpsilon(t, 0.5, j.Reported.Standard, 1e-12, "s/√n of 0 and 1")
	require.Equal(t, "repeatability", j.ReportedBudget[len(j.ReportedBudget)-1].Name)
	require.Zero(t, j.Decision.Expanded)
	require.NotNil(t, j.Risks)
}

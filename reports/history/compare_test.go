package history_test

import (
	"math"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/history"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// certified gives a record's points a budget: the reference with a certificate
// (6 Hz), its drift since, and the resolution, in a proportion of 3, 1 and 2.
func certified(certificate string) func(*record.Record) {
	return func(r *record.Record) {
		for k := range r.Run.Points {
			r.Run.Points[k].ReportedBudget = uncertainty.Budget{
				uncertainty.Line("reference R", 6, uncertainty.Normal, 0, "certificate "+certificate+", k = 2"),
				uncertainty.Line("drift of reference R", 2, uncertainty.Normal, 0, "0 per day over 9 d"),
				uncertainty.Line("resolution of the unit", 4, uncertainty.Normal, 0, "count")}
			u, err := r.Run.Points[k].ReportedBudget.Combine()
			if err != nil {
				panic(err)
			}
			r.Run.Points[k].Reported = u
		}
	}
}

func rowOf(t *testing.T, c history.Comparison, name string) history.Change {
	t.Helper()
	for _, r := range c.Rows {
		if r.Name == name {
			return r
		}
	}
	require.Fail(t, "no such row", "%s in %+v", name, c.Rows)
	return history.Change{}
}

// What one certificate says of a reference is the same error in both and cancels;
// all else adds up as the root of the sum of squares.
func TestUncertaintyOfAChange(t *testing.T) {
	for name, c := range map[string]struct {
		a, b   string
		want   float64 // standard
		common []string
	}{
		"one certificate":  {"C-1", "C-1", math.Sqrt(2*2*2 + 2*4*4), []string{"reference R"}},
		"two certificates": {"C-1", "C-2", math.Sqrt(2*6*6 + 2*2*2 + 2*4*4), nil},
		"none":             {"", "", math.Sqrt(2*6*6 + 2*2*2 + 2*4*4), nil},
	} {
		x := history.Compare(built(0, found, 1e-7, certified(c.a)), built(1, left, 0, certified(c.b)), false)
		require.Empty(t, x.Against, name)
		r := rowOf(t, x, "B 1 GHz")
		require.Equal(t, "100", r.Change.String(), name)
		require.InEpsilon(t, c.want, r.U.Standard, 1e-9, name)
		require.InEpsilon(t, 100/(2*c.want), *r.Ratio, 1e-6, name)
		require.Equal(t, c.common, r.Common, name)
	}
	// Another frequency source in B: what they have in common cancels as far as it
	// is equally large.
	b := built(1, left, 0, certified("C-1"))
	b.Run.Points[1].ReportedBudget[0] = uncertainty.Line("reference R", 5, uncertainty.Normal, 0, "certificate C-1, k = 2")
	r := rowOf(t, history.Compare(built(0, found, 0, certified("C-1")), b, false), "B 1 GHz")
	require.InEpsilon(t, math.Sqrt(1+2*2*2+2*4*4), r.U.Standard, 1e-9)
	// Without budgets the reported uncertainties count.
	r = rowOf(t, history.Compare(built(0, found, 0), built(1, left, 0), false), "B 1 GHz")
	require.InEpsilon(t, 5*math.Sqrt2, r.U.Standard, 1e-9)
}

func TestWhatCrossed(t *testing.T) {
	a, b := built(0, found, 1.2e-6), built(1, left, 0)
	c := history.Compare(a, b, false)
	require.Equal(t, history.Summary{Both: 2, Changed: 2, In: 2}, c.Summary)
	require.Equal(t, history.CameIn, c.Rows[0].Crossed)
	c = history.Compare(b, a, false)
	require.Equal(t, history.Summary{Both: 2, Changed: 2, Out: 2}, c.Summary)
	require.Contains(t, c.Notes, "B is the earlier one; changes are B less A")
	a.Run.Points = append(a.Run.Points, point("B-009", "3 GHz", 1, 1))
	b.Run.Points[0].Counted, b.Run.Points[0].Verdict = 0, decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}
	b.Run.Points = append(b.Run.Points, point("B-008", "2 GHz", 1, 1))
	c = history.Compare(a, b, false)
	require.Equal(t, []string{"B 3 GHz"}, c.OnlyA)
	require.Equal(t, []string{"B 2 GHz"}, c.OnlyB)
	require.Equal(t, "no number in B", rowOf(t, c, "B 100 MHz").Why)
	require.Equal(t, history.Summary{Both: 2, Changed: 1, In: 1, NotCompared: 1, OnlyA: 1, OnlyB: 1}, c.Summary)
}

// Two gates at one frequency and level are two points.
func TestPointsOfOnePlace(t *testing.T) {
	two := func(r *record.Record) { r.Run.Points = append(r.Run.Points, point("B-003", "1 GHz", 7, 1)) }
	c := history.Compare(built(0, found, 0, two), built(1, left, 0, two), false)
	require.Len(t, c.Rows, 3)
	require.Equal(t, "7", rowOf(t, c, "B 1 GHz (2)").A.Value.String())
}

func TestWhatStandsAgainst(t *testing.T) {
	a := built(0, found, 0)
	for name, c := range map[string]struct {
		change func(*record.Record)
		want   string
	}{
		"serial":    {func(r *record.Record) { r.Job.Serial = "S-2" }, `unit, serial number: "S-1" in A, "S-2" in B`},
		"model":     {func(r *record.Record) { r.Model = "Other" }, `unit, maker and model: "Invented Instruments Test Counter" in A, "Invented Instruments Other" in B`},
		"procedure": {func(r *record.Record) { r.Procedure.Name = "Q" }, `procedure: "P" in A, "Q" in B`},
		"topology":  {shared, "reference topology: of all that both have, timebase tested in A, timebase not tested in B"},
		"withdrawn": {func(r *record.Record) {
			r.Corrects = &record.Correction{ID: "x", Reason: "why", Withdrawn: true}
		}, "B withdraws record x: why"},
	} {
		c2 := history.Compare(a, built(1, left, 1e-7, c.change), false)
		require.Equal(t, []string{c.want}, c2.Against, name)
	}
	c := history.Compare(a, built(1, left, 1e-7, shared), false)
	require.Nil(t, c.Rows[0].Change)
	require.Equal(t, 2, c.Summary.NotCompared)
	c = history.Compare(a, built(1, left, 1e-7, shared), true)
	require.Equal(t, "-10", c.Rows[0].Change.String(), "--anyway")
	require.NotEmpty(t, c.Rows[0].Why)
	nameless := func(r *record.Record) { r.Job.Serial = "" }
	c = history.Compare(built(0, found, 0, nameless), built(1, left, 0, nameless), false)
	require.Contains(t, c.Against[0], "neither record has one")
	c = history.Compare(a, built(1, left, 0, func(r *record.Record) { r.Procedure = record.NewSource("p.toml", "P", "2", []byte("q")) }), false)
	require.Empty(t, c.Against)
	require.Contains(t, c.Notes[0], "not the same text in both")
}

// Rows of other measurements, and findings without a number.
func TestRowsAreCompared(t *testing.T) {
	with := func(dbm int64, lamp decision.Word) func(*record.Record) {
		return func(r *record.Record) {
			value, limit := quantity.ExactInt(dbm), quantity.ExactInt(-20)
			f := quantity.MustParse[quantity.Hertz]("1.0 GHz")
			r.Run.Outcomes = []runner.Outcome{{Task: procedures.Task{ID: "t", Kind: "sensitivity", Measure: "sensitivity B", Input: "B"}, Rows: []runner.Row{
				{What: "least level", At: &f, Unit: "dBm", Found: &value, Limit: &limit, Side: runner.AtMost, Uncertainty: &uncertainty.Result{Standard: 0.5, CoverageFactor: 2, Expanded: 1}, Verdict: decision.Verdict{Word: decision.Pass}},
				{What: "lamp", Verdict: decision.Verdict{Word: lamp}}}}}
		}
	}
	c := history.Compare(built(0, found, 0, with(-30, decision.Pass)), built(1, left, 0, with(-27, decision.Fail)), false)
	r := rowOf(t, c, "sensitivity B, least level, 1 GHz")
	require.Equal(t, "3", r.Change.String())
	require.InEpsilon(t, math.Sqrt2, r.U.Expanded, 1e-5)
	lamp := rowOf(t, c, "sensitivity B, lamp")
	require.Equal(t, history.WentOut, lamp.Crossed)
	require.Empty(t, lamp.Why)
}

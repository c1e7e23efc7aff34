package sheet

import (
	"testing"
	"time"

	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// adjusted is the as-left run after two tries at the trimmer.
func adjusted(t *testing.T) record.Record {
	r := fixture(t, runner.AsLeft)
	start := r.Run.Started.Add(-time.Hour)
	settled := func(ppm float64) *runner.Settled { return &runner.Settled{PPM: ppm, Readings: 3} }
	a := record.Adjustment{ID: "a", AsFound: "EX-1", Serial: "S", Who: "A. Example (invented)", Started: start.Add(-2 * time.Hour), Finished: start.Add(-time.Hour),
		Tries: []runner.Try{{Ended: start.Add(-90 * time.Minute), Before: settled(0.734), After: settled(0.2), Note: "a quarter turn"}, {Ended: start.Add(-80 * time.Minute), Before: settled(0.2), After: settled(-0.0012)}}}
	a.Point.Input, a.Point.Frequency = "B", quantity.MustParse[quantity.Hertz]("1 GHz")
	r.Adjustments = []record.Adjustment{a}
	return r
}

func TestAdjustmentsOnTheSheet(t *testing.T) {
	s := sheetOf(t, adjusted(t))
	text := dump(s.build())
	for _, want := range []string{"Adjustments", "after as-found record EX-1, before the as left run", "at input B, to +0.0000 ppm, by A. Example (invented)", "a quarter turn", "+0.7340", "−0.0012"} {
		require.Contains(t, text, want)
	}
	require.NotEmpty(t, pdfOf(t, s))

	cut := adjusted(t)
	cut.Adjustments[0].Finished, cut.Adjustments[0].AsFound, cut.Adjustments[0].NotObtainable = time.Time{}, "", "display dark"
	text = dump(sheetOf(t, cut).build())
	require.Contains(t, text, "the adjustment was cut off")
	require.Contains(t, text, "as-found not obtainable: display dark")
	require.NotContains(t, dump(sheetOf(t, fixture(t, runner.AsLeft)).build()), "Adjustments")
}

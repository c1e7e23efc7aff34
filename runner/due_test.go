package runner_test

import (
	"strings"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// day is a date as bench files state it, days from the day on which the rig's
// clock begins.
func day(r *rig, days int) string {
	return r.Clock.Now().AddDate(0, 0, days).Format(time.DateOnly)
}

// dueOn builds a rig in which a standard of the demo bench is due on that day.
func dueOn(t *testing.T, old string, days int) *rig {
	t.Helper()
	date := day(newRig(t, options{}), days)
	return newRig(t, options{BenchFile: []string{old, `calibrated = "1999-03-02"` + "\n" + `due = "` + date + `"`}})
}

const (
	standardDue = "calibrated = \"2026-03-02\"\ndue = \"2027-03-02\""
	sourcesDue  = "calibrated = \"2026-03-05\"\ndue = \"2027-03-05\""
)

func TestOverdueStandardStopsTheRunBeforeRF(t *testing.T) {
	r := dueOn(t, standardDue, -1)
	mw := &told{Source: r.Setup.Sources["MW"]}
	r.Setup.Sources["MW"] = mw
	got, err := runner.Run(t.Context(), r.Setup)
	require.ErrorIs(t, err, runner.ErrOverdue)
	require.ErrorContains(t, err, "reference house standard: calibration was due on")
	require.NotContains(t, strings.Join(mw.said, " "), "on")
	require.Empty(t, got.Points)
	require.Empty(t, r.Operator.Moves)
}

func TestOverdueStandardThatIsAccepted(t *testing.T) {
	r := dueOn(t, standardDue, -1)
	past := pastDue(r)
	require.Len(t, past, 1)
	at := r.Clock.Now()
	var err error
	r.Setup.Overdue, err = runner.Accept(past, []string{"house standard"}, "A. Example (invented)", at)
	require.NoError(t, err)
	got := r.Run()
	require.Equal(t, runner.WithinAll, got.Statement)
	require.Equal(t, []runner.Overdue{{Due: past[0], By: "A. Example (invented)", At: at}}, got.Overdue)
	require.True(t, r.Journal.Said("accepted by A. Example (invented)"))
}

func TestTheDueDateItselfIsInDate(t *testing.T) {
	r := dueOn(t, standardDue, 0)
	require.Empty(t, pastDue(r))
	require.Empty(t, r.Run().Overdue)
}

// Only what the results rest on counts: a source that no path of the plan uses
// may be overdue.
func TestOverdueStandardsThatNobodyUses(t *testing.T) {
	r := dueOn(t, sourcesDue, -1)
	require.Len(t, pastDue(r), 2, "both sources")
	for k := range r.Setup.Plan.Points {
		if r.Setup.Plan.Points[k].Source == "LF" {
			r.Setup.Plan.Points = r.Setup.Plan.Points[:k]
			break
		}
	}
	require.Empty(t, r.Setup.Plan.Points)
	require.Empty(t, pastDue(r))
}

func TestNamesThatCannotBeAccepted(t *testing.T) {
	_, err := runner.Accept(nil, []string{"G1"}, "x", time.Time{})
	require.EqualError(t, err, `"G1" is not overdue, or is no standard of this run; none is`)
	_, err = runner.Accept([]procedures.Due{{Name: "G2", What: "source"}}, []string{"G2", "G1"}, "x", time.Time{})
	require.EqualError(t, err, `"G1" is not overdue, or is no standard of this run; overdue are "G2"`)
}

// A calibration that lapses at midnight while the run is on ends nothing: the
// record tells from which point on.
func TestCalibrationThatLapsesDuringTheRun(t *testing.T) {
	r := dueOn(t, standardDue, 0)
	r.Setup.Watcher = watcher(func(p runner.PointResult) {
		if p.Point.ID == "B-002" {
			require.NoError(t, r.Clock.Sleep(t.Context(), 24*time.Hour))
		}
	})
	got := r.Run()
	require.Equal(t, runner.WithinAll, got.Statement)
	require.Len(t, got.Overdue, 1)
	require.False(t, got.Overdue[0].Lapsed.IsZero())
	require.Empty(t, got.Overdue[0].By)
	for _, p := range got.Points {
		late := p.Point.Input == "B" && p.Point.ID > "B-002"
		require.Equal(t, late, strings.Contains(strings.Join(p.Notes, "\n"), "until which the calibration of house standard was relied on"), p.Point.ID)
	}
	require.Contains(t, strings.Join(got.Warnings, "\n"), "which passed during the run; what was taken from B-003 on")
}

// Other kinds of measurement rest on the standards too.
func TestCalibrationThatLapsesBeforeAnotherMeasurement(t *testing.T) {
	day := day(newRig(t, options{}), 0)
	r := newRig(t, options{Append: halves, Kinds: []runner.MeasureKind{half{}}, BenchFile: []string{standardDue, "calibrated = \"1999-03-02\"\ndue = \"" + day + "\""}})
	r.Setup.Watcher = measured(func(o runner.Outcome) {
		if o.Task.ID == "B-half-001" {
			require.NoError(t, r.Clock.Sleep(t.Context(), 24*time.Hour))
		}
	})
	got := r.Run()
	require.Len(t, got.Overdue, 1)
	require.Empty(t, got.Outcomes[0].Notes)
	require.Contains(t, strings.Join(got.Outcomes[1].Notes, "\n"), "until which the calibration of house standard was relied on")
}

func pastDue(r *rig) []procedures.Due {
	var past []procedures.Due
	for _, d := range r.Setup.Plan.Due(r.Setup.Bench) {
		if d.Past(r.Clock.Now()) {
			past = append(past, d)
		}
	}
	return past
}

// What a second look may rest on is one of the run's standards too.
func TestDueOfAnotherSourceForASecondLook(t *testing.T) {
	r := newRig(t, twoSources())
	var id string
	for _, p := range r.Setup.Plan.Points {
		if len(p.Also) > 0 {
			id = p.ID
		}
	}
	require.NoError(t, r.Setup.Plan.Restrict(r.Setup.Bench, []string{id}))
	var names []string
	for _, d := range r.Setup.Plan.Due(r.Setup.Bench) {
		names = append(names, d.Name)
	}
	require.Subset(t, names, []string{"LF", "MW"})
}

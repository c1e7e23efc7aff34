package record_test

import (
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
)

var correctedAt = time.Date(2026, 11, 27, 9, 0, 0, 0, time.UTC)

func TestACorrectionKeepsWhatWasMeasured(t *testing.T) {
	old := reads(t, full())
	job := old.Job
	require.NoError(t, job.Set("customer", "Right Customer"))
	require.NoError(t, job.Set("temperature", ""))
	job.Limited = []procedures.Limited{{What: "input C", Why: "not fitted", Agreed: "the customer"}}
	r, err := old.Correct("new", correctedAt, job, "misspelt", "A. B.", false)
	require.NoError(t, err)
	require.Equal(t, &record.Correction{ID: "x", Reason: "misspelt", Who: "A. B.", Changes: []record.Change{
		{Path: "/job/customer", Old: old.Job.Customer, New: "Right Customer"},
		{Path: "/job/limited", Old: "", New: `[{"agreed":"the customer","what":"input C","why":"not fitted"}]`},
		{Path: "/job/temperature", Old: "23.1 °C", New: ""}}}, r.Corrects)
	require.Equal(t, old.Run, r.Run)
	require.Equal(t, []any{"new", correctedAt, "Right Customer", old.Follows}, []any{r.ID, r.Created, r.Job.Customer, r.Follows})
	require.NoError(t, r.CorrectsOnly(old))
	require.NoError(t, reads(t, r).CorrectsOnly(old))
	// A correction of a correction names that one.
	require.NoError(t, job.Set("serial", "S-2"))
	again, err := r.Correct("newer", correctedAt, job, "serial number", "A. B.", false)
	require.NoError(t, err)
	require.Equal(t, "new", again.Corrects.ID)
	require.Len(t, again.Corrects.Changes, 1)
	gone, err := again.Correct("gone", correctedAt, again.Job, "wrong cable", "A. B.", true)
	require.NoError(t, err)
	require.True(t, gone.Corrects.Withdrawn)
	require.Empty(t, gone.Corrects.Changes)
	_, err = gone.Correct("back", correctedAt, job, "no", "A. B.", false)
	require.ErrorContains(t, err, "it was withdrawn (wrong cable)")
}

func TestCorrectionsThatAreRefused(t *testing.T) {
	old := reads(t, full())
	for name, c := range map[string]struct {
		key, value, reason, who string
		withdraw                bool
		want                    string
	}{
		"no reason":          {"customer", "C", " ", "A", false, "no reason is given"},
		"nobody":             {"customer", "C", "r", "", false, "nobody is named"},
		"nothing":            {"customer", old.Job.Customer, "r", "A", false, "nothing would change"},
		"adjusted":           {"adjusted", "2026-01-01", "r", "A", false, `"adjusted" can't be corrected: the limits rest on it`},
		"on for":             {"on_for", "9 h", "r", "A", false, `"on_for" can't be corrected: the warm-up rests on it`},
		"change and retract": {"customer", "C", "r", "A", true, "withdrawing it changes nothing else"},
		"control characters": {"customer", "C", "r\x1b[31m", "A", false, "control character"},
	} {
		job := old.Job
		require.NoError(t, job.Set(c.key, c.value))
		_, err := old.Correct("new", correctedAt, job, c.reason, c.who, c.withdraw)
		require.ErrorIs(t, err, record.ErrCorrection, name)
		require.ErrorContains(t, err, c.want, name)
	}
}

// A correction that does not keep to what it says is found by itself, or held
// against the record that it corrects.
func TestCorrectionsThatDoMore(t *testing.T) {
	old := reads(t, full())
	job := old.Job
	require.NoError(t, job.Set("customer", "C"))
	for name, c := range map[string]struct {
		damage func(*record.Record)
		check  string // by the record itself
		only   string // against the old one
	}{
		"of itself":         {func(r *record.Record) { r.Corrects.ID = r.ID }, "which can't be", ""},
		"without reason":    {func(r *record.Record) { r.Corrects.Reason = "" }, "why and by whom", ""},
		"nothing":           {func(r *record.Record) { r.Corrects.Changes = nil }, "changes nothing", ""},
		"measured":          {func(r *record.Record) { r.Corrects.Changes[0].Path = "/run/points/0/error_hz" }, "which is never corrected", ""},
		"limits":            {func(r *record.Record) { r.Corrects.Changes[0].Path = "/job/adjusted" }, "which is never corrected", ""},
		"another value":     {func(r *record.Record) { r.Corrects.Changes[0].New = "D" }, "which is not what it is", ""},
		"the same":          {func(r *record.Record) { r.Corrects.Changes[0].Old = "C" }, "to what it was", ""},
		"a reading too":     {func(r *record.Record) { r.Run.Points[0].Readings[1].Text = "0" }, "", "differs from it in /run/points/0"},
		"the warnings too":  {func(r *record.Record) { r.Run.Warnings = []string{"none"} }, "", "differs from it in /run/warnings"},
		"the model too":     {func(r *record.Record) { r.Model = "better" }, "", "differs from it in /model"},
		"another old value": {func(r *record.Record) { r.Corrects.Changes[0].Old = "B" }, "", "is not how they differ"},
		"one untold":        {func(r *record.Record) { r.Job.Remarks = "fine" }, "", "is not how they differ"},
	} {
		r, err := old.Correct("new", correctedAt, job, "misspelt", "A. B.", false)
		require.NoError(t, err)
		r = reads(t, r)
		c.damage(&r)
		if c.check != "" {
			require.ErrorContains(t, r.Check(), c.check, name)
			continue
		}
		require.NoError(t, r.Check(), name)
		require.ErrorContains(t, r.CorrectsOnly(old), c.only, name)
	}
}

// A record from before there were seals is corrected by one of today.
func TestCorrectionOfAnOldRecord(t *testing.T) {
	old := full()
	old.Schema = "bandproof record 1"
	at := time.Date(2026, 5, 1, 10, 0, 0, 0, time.FixedZone("", 2*3600))
	old.Run.Started, old.Created = at, at
	old = reads(t, old)
	job := old.Job
	require.NoError(t, job.Set("customer", "C"))
	r, err := old.Correct("new", correctedAt, job, "misspelt", "A. B.", false)
	require.NoError(t, err)
	require.Equal(t, record.Schema, r.Schema)
	require.Equal(t, "+02:00", r.Zone.Offset)
	require.Equal(t, time.UTC, r.Run.Started.Location())
	require.NoError(t, reads(t, r).CorrectsOnly(old))
	require.Equal(t, old.Run.Points, r.Run.Points)
}

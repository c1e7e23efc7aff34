package dcc

import (
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
)

// complete is a record that lacks nothing.
func complete(t testing.TB) record.Record {
	r := foundRecord(t)
	r.Standards[1].Overdue = false
	r.Run.Outcomes = nil
	return r
}

func TestMissingOfOneRecord(t *testing.T) {
	require.Empty(t, Missing(complete(t)))
	for _, row := range []struct {
		remove func(*record.Record)
		want   string
	}{
		{func(r *record.Record) { r.Laboratory.Name = " " }, "name and address of the laboratory"},
		{func(r *record.Record) { r.Laboratory.Address = nil }, "address in [laboratory]"},
		{func(r *record.Record) { r.ID = "" }, "no id"},
		{func(r *record.Record) { r.Job.Customer = "" }, "customer (7.8.2.1 e): customer in the job file"},
		{func(r *record.Record) { r.Job.Contact = "" }, "contact of the customer"},
		{func(r *record.Record) { r.Procedure.Revision = "" }, "method with its revision"},
		{func(r *record.Record) { r.Model = "" }, "maker and model"},
		{func(r *record.Record) { r.Job.Serial, r.Job.Asset = "", "" }, "identification of the unit"},
		{func(r *record.Record) { r.Job.Condition = "" }, "condition of the unit"},
		{func(r *record.Record) { r.Job.Received = procedures.Date{} }, "date of receipt"},
		{func(r *record.Record) { r.Run.Finished = time.Time{} }, "date of performance"},
		{func(r *record.Record) { r.Created = time.Time{} }, "date of issue"},
		{func(r *record.Record) { r.Job.Technician = "" }, "who is responsible"},
		{func(r *record.Record) { r.Job.Temperature, r.Run.Ambient = nil, nil }, "ambient conditions"},
		{func(r *record.Record) { r.Standards = nil }, "standards that the results"},
		{func(r *record.Record) { r.Standards[0].Certificate = "" }, "certificate of standard house standard"},
		{func(r *record.Record) { r.Standards[0].Calibrated = procedures.Date{} }, "date of calibration of standard house standard"},
		{func(r *record.Record) { r.Standards[1].Overdue = true }, "valid calibration of standard MW"},
		{func(r *record.Record) { r.Run.Points[0].Reported = uncertainty.Result{} }, "uncertainty of points (7.8.4.1 a): A-001"},
		{func(r *record.Record) { r.Run.Outcomes = outcomes(t); r.Run.Outcomes[0].Rows[0].Uncertainty = nil }, "uncertainty of findings (7.8.4.1 a): C-sensitivity-001 least level that counts"},
		{func(r *record.Record) { r.Run.Statement = "" }, "the run has none"},
		{func(r *record.Record) { r.Run.Complete = false }, "ended before its plan did"},
		{func(r *record.Record) { r.Run.Kind, r.Follows = "as-left", "x" }, "what was adjusted or repaired"},
	} {
		r := complete(t)
		row.remove(&r)
		list := Missing(r)
		require.Len(t, list, 1, row.want)
		require.Contains(t, list[0], row.want)
	}
}

func TestMissingOfACertificate(t *testing.T) {
	left := leftRecord(t)
	left.Standards[1].Overdue = false
	c, err := New(options(), complete(t), left)
	require.NoError(t, err)
	require.Empty(t, c.Missing())
	alone := complete(t)
	alone.Job.Contact, alone.Laboratory.Contact = "2 Example Street", "+00 123 456"
	c, err = New(options(), alone)
	require.NoError(t, err)
	require.Equal(t, []string{
		`mail address of the laboratory, which DCC 3.1.2 wants: contact in [laboratory] of the bench file names none, and the certificate says "not stated"`,
		`mail address of the customer, which DCC 3.1.2 wants: contact in the job file names none, and the certificate says "not stated"`,
		"status of the unit (7.8.4.1 d): This certificate holds no as-left run: it says how the unit was released only if nothing was altered since.",
	}, c.Missing())
	c, err = New(Options{}, correctedRecord(t))
	require.NoError(t, err)
	require.Contains(t, c.Missing(), "hash of record EX-2026-118-as-left, which this one takes the place of: it is not at hand; the statements name it")
}

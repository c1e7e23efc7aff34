package dcc

import (
	"fmt"
	"strings"

	"bandproof/reports/record"
	"bandproof/runner"
)

// Missing lists what ISO/IEC 17025:2017 7.8 wants on a certificate, or what the
// schema wants filled, and the records lack: a file that is valid by the schema
// need not be complete. Clause numbers are from memory; check them against your
// own copy.
func (c *Certificate) Missing() []string {
	var list []string
	for _, r := range c.runs {
		for _, m := range Missing(r.Record) {
			list = append(list, r.label+": "+m)
		}
	}
	l := c.last()
	mail := func(what, how, key string) {
		if c.v.MailRequired && mailAddress(how) == "" {
			list = append(list, fmt.Sprintf("mail address of the %s, which DCC %s wants: %s names none, and the certificate says %q", what, c.v.Name, key, notStated))
		}
	}
	mail("laboratory", l.Laboratory.Contact, "contact in [laboratory] of the bench file")
	mail("customer", l.Job.Contact, "contact in the job file")
	if s := c.whichRuns(); s != "" {
		list = append(list, "status of the unit (7.8.4.1 d): "+s)
	}
	if l.Corrects != nil && c.o.Hashes[l.Corrects.ID] == "" {
		list = append(list, "hash of record "+l.Corrects.ID+", which this one takes the place of: it is not at hand; the statements name it")
	}
	return once(list)
}

// Missing lists what ISO/IEC 17025:2017 7.8 wants and a record by itself lacks,
// each with the clause and the key that mends it.
func Missing(r record.Record) []string {
	var list []string
	add := func(absent bool, format string, args ...any) {
		if absent {
			list = append(list, fmt.Sprintf(format, args...))
		}
	}
	none := func(s string) bool { return strings.TrimSpace(s) == "" }
	add(none(r.Laboratory.Name) || len(r.Laboratory.Address) == 0, "name and address of the laboratory (7.8.2.1 b): name, address in [laboratory] of the bench file")
	add(none(r.ID), "unique identification (7.8.2.1 d): the record has no id")
	add(none(r.Job.Customer), "customer (7.8.2.1 e): customer in the job file")
	add(none(r.Job.Contact), "contact of the customer (7.8.2.1 e): contact in the job file")
	add(none(r.Procedure.Name) || none(r.Procedure.Revision), "method with its revision (7.8.2.1 f): name, revision in the procedure file")
	add(none(r.Maker) || none(r.Model), "maker and model of the unit (7.8.2.1 g): maker, model in [unit] of the procedure file")
	add(none(r.Job.Serial) && none(r.Job.Asset), "identification of the unit (7.8.2.1 g): serial or asset in the job file")
	add(none(r.Job.Condition), "condition of the unit on receipt (7.8.2.1 g): condition in the job file")
	add(r.Job.Received.IsZero(), "date of receipt (7.8.2.1 h): received in the job file")
	add(r.Run.Started.IsZero() || r.Run.Finished.IsZero(), "date of performance (7.8.2.1 i): the run has no beginning or no end")
	add(r.Created.IsZero(), "date of issue (7.8.2.1 j): the record has no date")
	add(none(r.Job.Technician), "who is responsible (7.8.2.1 o): technician in the job file")
	add(r.Job.Temperature == nil && len(r.Run.Ambient) == 0, "ambient conditions (7.8.4.1 a): temperature, humidity in the job file, or a thermometer on the bench")
	add(len(r.Standards) == 0, "standards that the results are traceable to (7.8.4.1 c)")
	for _, x := range r.Standards {
		add(none(x.Certificate), "certificate of standard %s (7.8.4.1 c): certificate in the bench file", x.Name)
		add(x.Calibrated.IsZero(), "date of calibration of standard %s (7.8.4.1 c): calibrated in the bench file", x.Name)
		add(x.Overdue, "valid calibration of standard %s: it was past its due date", x.Name)
	}
	list = append(list, withoutUncertainty(r)...)
	add(r.Run.Statement == "", "statement on the unit: the run has none")
	add(!r.Run.Complete, "the rest of the run: it ended before its plan did")
	add(r.Run.Kind != runner.AsFound && none(r.Job.Work) && len(r.Adjustments) == 0 && r.Follows != "", "what was adjusted or repaired since the as-found run (7.8.4.1 d): work in the job file")
	return list
}

// withoutUncertainty names results whose uncertainty is not stated.
func withoutUncertainty(r record.Record) []string {
	var points, findings []string
	for k := range r.Run.Points {
		p := &r.Run.Points[k]
		if p.Counted > 0 && expandedOf(p.Reported) == nil {
			points = append(points, p.Point.ID)
		}
	}
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			if x.Found != nil && x.Limit != nil && uncertain(x.Uncertainty) == nil {
				findings = append(findings, o.Task.ID+" "+x.What)
			}
		}
	}
	var list []string
	for _, of := range []struct {
		what string
		ids  []string
	}{{"points", points}, {"findings", findings}} {
		if len(of.ids) > 0 {
			more := ""
			if n := len(of.ids) - 5; n > 0 {
				of.ids, more = of.ids[:5], fmt.Sprintf(" and %d more", n)
			}
			list = append(list, fmt.Sprintf("uncertainty of %s (7.8.4.1 a): %s%s", of.what, strings.Join(of.ids, ", "), more))
		}
	}
	return list
}

package sheet

import (
	"cmp"
	"strings"

	"bandproof/reports/record"
)

// Replaced states which records of the sheet another record takes the place of,
// or withdraws; those are given by the ids of the old ones.
func (s *Sheet) Replaced(by map[string]record.Record) *Sheet {
	c := *s
	c.replaced = by
	return &c
}

// standing is a line for every page where the sheet must not be taken for what
// holds now; "" where it does.
func (s *Sheet) standing() string {
	var list []string
	for _, r := range s.runs {
		by, replaced := s.replaced[r.ID]
		switch {
		case r.Corrects != nil && r.Corrects.Withdrawn, replaced && by.Corrects != nil && by.Corrects.Withdrawn:
			list = append(list, s.say("WITHDRAWN: %s must not be relied on", r.inline))
		case replaced:
			list = append(list, s.say("REPLACED: %s stands in a newer record", r.inline))
		}
	}
	return strings.Join(list, " · ")
}

// Withdrawn names the first of the sheet's records that another one withdraws; ""
// where none is.
func (s *Sheet) Withdrawn() string {
	for _, r := range s.runs {
		if by, ok := s.replaced[r.ID]; ok && by.Corrects != nil && by.Corrects.Withdrawn {
			return r.ID
		}
	}
	return ""
}

// amendments say on the first page what was corrected, and by which record this
// one was replaced (ISO/IEC 17025:2017 7.8.8).
func (s *Sheet) amendments() []block {
	var b []block
	for _, r := range s.runs {
		if by, ok := s.replaced[r.ID]; ok && by.Corrects != nil {
			b = append(b, r.replacedBy(by))
		}
		if r.Corrects != nil {
			b = append(b, r.amended())
		}
	}
	return b
}

// replacedBy tells of the record that stands in the place of this one.
func (r run) replacedBy(by record.Record) *notice {
	c := by.Corrects
	title := r.say("%[1]s: replaced by record %[2]s", r.label, by.ID)
	if c.Withdrawn {
		title = r.say("%[1]s: withdrawn by record %[2]s", r.label, by.ID)
	}
	return &notice{Alert: true, Title: title, Lines: append([]string{r.reason(by)}, r.changes(c)...)}
}

// amended tells what the record changes of the one before.
func (r run) amended() *notice {
	c := r.Corrects
	if c.Withdrawn {
		return &notice{Alert: true, Title: r.say("%[1]s: withdrawn; this record takes the place of record %[2]s", r.label, c.ID),
			Lines: []string{r.reason(r.Record), r.say("What was measured must not be relied on; it is printed so that it can be seen what was withdrawn.")}}
	}
	return &notice{Title: r.say("%[1]s: amended record; it takes the place of record %[2]s", r.label, c.ID), Lines: append([]string{r.reason(r.Record)}, r.changes(c)...)}
}

// reason says who corrected, when, and why.
func (r run) reason(by record.Record) string {
	return r.say("%[1]s, by %[2]s; reason: %[3]s", r.day(by.Created), by.Corrects.Who, by.Corrects.Reason)
}

// changes are the values that were corrected, old and new.
func (r run) changes(c *record.Correction) (list []string) {
	for _, x := range c.Changes {
		name := strings.TrimPrefix(x.Path, "/job/")
		if k, ok := jobWords[name]; ok {
			name = r.say(k)
		}
		list = append(list, r.say(`%[1]s: "%[2]s" became "%[3]s"`, name, cmp.Or(x.Old, r.say("not stated")), cmp.Or(x.New, r.say("not stated"))))
	}
	if len(list) > 0 {
		list = append(list, r.say("All that was measured is as it was."))
	}
	return list
}

// jobWords name the keys of a job as the sheet does.
var jobWords = map[string]key{
	"customer": "Customer", "serial": "Unit: serial number", "asset": "Asset number (as the customer states)", "options": "Options (as the customer states)",
	"condition": "Condition on receipt", "received": "Received", "number": "Order", "remarks": "Remarks", "work": "Work since the earlier run",
	"temperature": "Ambient temperature", "humidity": "Relative humidity", "mains": "Mains voltage",
}

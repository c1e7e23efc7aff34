package sheet

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"bandproof/reports/record"
	"bandproof/runner"
)

// Sheet is one data sheet: one run, or up to three runs of the same unit.
type Sheet struct {
	runs  []run
	chain string
	// doubts are remarks on whether the records belong together.
	doubts []string
}

// run is one record in its place on the sheet.
type run struct {
	record.Record
	label string // "As found", as heads groups of columns
}

// kinds in the order in which they happen, with their labels.
var kinds = []struct {
	kind  runner.Kind
	label string
}{{runner.AsFound, "As found"}, {runner.AfterRepair, "After repair"}, {runner.AsLeft, "As left"}}

// New returns the data sheet of one run, or of up to three runs (as-found,
// after-repair, as-left) of one unit by one procedure, in any order. Records
// that don't belong on one sheet are an error that says what differs.
func New(records ...record.Record) (*Sheet, error) {
	if len(records) == 0 {
		return nil, errors.New("no record for the data sheet; give one, or up to three runs of one unit")
	}
	if len(records) > len(kinds) {
		return nil, fmt.Errorf("%d records for one data sheet; give at most one each of as-found, after-repair and as-left", len(records))
	}
	s := &Sheet{}
	for _, k := range kinds {
		for _, r := range records {
			if r.Run.Kind == k.kind {
				s.runs = append(s.runs, run{r, k.label})
			}
		}
	}
	for _, r := range records {
		if !slices.ContainsFunc(s.runs, func(x run) bool { return x.Run.Kind == r.Run.Kind }) {
			return nil, fmt.Errorf("record %q: run kind %q is not known; expected as-found, after-repair or as-left", r.ID, r.Run.Kind)
		}
	}
	for k := range s.runs[1:] {
		if err := s.join(s.runs[k], s.runs[k+1]); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// Chain states the head of the store's hash chain and the number of records in
// it; both are printed, in plain words, so that a tail cut off the store can be
// noticed.
func (s *Sheet) Chain(head string, count int) *Sheet {
	c := *s
	c.chain = fmt.Sprintf("when this sheet was written it held %d %s, and the hash that seals them all was %s: with these two anyone who holds the store can see whether a record was altered or taken out since.",
		count, plural(count, "record", "records"), head)
	return &c
}

// join checks that two records are runs of one unit by one procedure.
func (s *Sheet) join(a, b run) error {
	if a.Run.Kind == b.Run.Kind {
		return fmt.Errorf("records %q and %q are both %s; give one run of each kind", a.ID, b.ID, a.Run.Kind)
	}
	differ := func(what, x, y string) error {
		return fmt.Errorf("records %q and %q are not of one unit and procedure: %s is %q in the first and %q in the second; write a data sheet for each", a.ID, b.ID, what, x, y)
	}
	for _, c := range []struct{ what, x, y string }{
		{"maker", a.Maker, b.Maker}, {"model", a.Model, b.Model},
		{"serial number", a.Job.Serial, b.Job.Serial}, {"asset number", a.Job.Asset, b.Job.Asset},
		{"procedure", a.Record.Procedure.Name, b.Record.Procedure.Name},
		{"procedure revision", a.Record.Procedure.Revision, b.Record.Procedure.Revision},
		{"content (SHA-256) of the procedure file", a.Record.Procedure.SHA256, b.Record.Procedure.SHA256},
	} {
		if c.x != c.y {
			return differ(c.what, c.x, c.y)
		}
	}
	x, y := a.Run.Unit, b.Run.Unit
	if x.Stated && y.Stated && x.Serial != y.Serial {
		if a.Job.Serial == "" {
			return differ("serial number that the unit states", x.Serial, y.Serial)
		}
		s.doubts = append(s.doubts, fmt.Sprintf("The unit stated serial number %q in run %s and %q in run %s.", x.Serial, a.Run.Kind, y.Serial, b.Run.Kind))
	}
	if a.Job.Serial == "" && a.Job.Asset == "" && (!x.Stated || x.Serial == "") {
		s.doubts = append(s.doubts, "No serial or asset number shows that the runs are of one unit.")
	}
	return nil
}

// ids lists the record ids in order of the runs.
func (s *Sheet) ids() []string {
	var list []string
	for _, r := range s.runs {
		list = append(list, r.ID)
	}
	return list
}

// last is the run that comes last: its job file is the newest.
func (s *Sheet) last() run { return s.runs[len(s.runs)-1] }

// invented tells whether any record is of a virtual bench.
func (s *Sheet) invented() bool {
	return slices.ContainsFunc(s.runs, func(r run) bool { return r.Invented })
}

// build lays the records out.
func (s *Sheet) build() *document {
	l := s.last()
	d := &document{
		Title: "Calibration data sheet", IDs: s.ids(), End: "End of data sheet",
		Subject: join(" ", l.Maker, l.Model) + prefixed(", serial number ", l.Job.Serial),
		Author:  l.Laboratory.Name, Program: join(" ", l.Program.Name, l.Program.Version), Created: l.Created,
	}
	if s.invented() {
		d.Invented = "Invented data: virtual bench, not a calibration"
	}
	for _, part := range [][]block{s.front(), s.adjustments(), s.whole(), s.inputs(), s.behind(), s.otherLooks(), s.behindOthers(), s.beside(), s.back()} {
		d.Blocks = append(d.Blocks, part...)
	}
	d.clean()
	return d
}

// join puts the parts that are not empty together.
func join(between string, parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(p string) bool { return p == "" }), between)
}

// prefixed puts a prefix before a text that is not empty.
func prefixed(prefix, s string) string {
	if s == "" {
		return ""
	}
	return prefix + s
}

// stated is s, or says that it isn't there.
func stated(s string) string {
	if strings.TrimSpace(s) == "" {
		return "not stated"
	}
	return s
}

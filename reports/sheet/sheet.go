package sheet

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/runner"
)

// Sheet is one data sheet: one run, or up to three runs of the same unit.
type Sheet struct {
	*words
	runs    []run
	usual   Options // by the bench file in the newest record
	chain   *said
	seals   map[string]record.Seal // by record id
	columns int                    // of plain text; 0: as usual
	// replaced are records that take the place of those on the sheet, by the ids of
	// the latter.
	replaced map[string]record.Record
	logo     *logo
	outside  *outside // a notice to the owner instead of the data sheet
	// doubts are remarks on whether the records belong together.
	doubts []said
}

// run is one record in its place on the sheet.
type run struct {
	record.Record
	*words
	label  string // "As found", as heads groups of columns
	inline string // the same within a sentence
}

// kinds in the order in which they happen, with their labels.
var kinds = []struct {
	kind          runner.Kind
	label, inline key
}{{runner.AsFound, "As found", "as found"}, {runner.AfterRepair, "After repair", "after repair"}, {runner.AsLeft, "As left", "as left"}}

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
				s.runs = append(s.runs, run{Record: r})
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
	s.usual = usual(s.last().Record)
	return s.With(Options{})
}

// usual are the options that the bench file in a record states; an older bench
// file that can't be read any more states none.
func usual(r record.Record) Options {
	b, err := procedures.LoadBench(r.Bench.File, []byte(r.Bench.Text))
	if err != nil || b.Sheet == nil {
		return Options{}
	}
	return *b.Sheet
}

// Chain states the head of the store's hash chain and the number of records in
// it; both are printed, in plain words, so that a tail cut off the store can be
// noticed.
func (s *Sheet) Chain(head string, count int) *Sheet {
	c := *s
	c.chain = &said{"when this sheet was written it held %[1]s records, and the hash that seals them all was %[2]s: with these two anyone who holds the store can see whether a record was altered or taken out since.", []any{count, head}}
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
		s.doubts = append(s.doubts, said{`The unit stated serial number "%[1]s" in run %[2]s and "%[3]s" in run %[4]s.`, []any{x.Serial, a.Run.Kind, y.Serial, b.Run.Kind}})
	}
	if a.Job.Serial == "" && a.Job.Asset == "" && (!x.Stated || x.Serial == "") {
		s.doubts = append(s.doubts, said{key: "No serial or asset number shows that the runs are of one unit."})
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
		Head: s.letterhead(), Title: s.say("Calibration data sheet"), IDs: s.ids(), Records: s.say("Records %[2]s", s.count(len(s.runs)), strings.Join(s.ids(), ", ")), End: s.say("End of data sheet"),
		Subject: join(" ", l.Maker, l.Model) + prefixed(", ", s.serial(l.Job.Serial)),
		Author:  l.Laboratory.Name, Program: join(" ", l.Program.Name, l.Program.Version), Created: l.Created, words: s.words, Fingerprint: s.sealLine(),
	}
	if s.invented() {
		d.Invented = s.say("Invented data: virtual bench, not a calibration")
	}
	d.Invented = join(" · ", s.standing(), d.Invented)
	if s.outside != nil {
		s.buildOutside(d)
		d.clean()
		return d
	}
	for _, part := range [][]block{s.front(), s.adjustments(), s.ofUnit(), s.inputs(), s.behind(), s.otherLooks(), s.behindOthers(), s.beside(), s.back()} {
		d.Blocks = append(d.Blocks, part...)
	}
	if s.isBare() {
		d.bare()
	}
	d.clean()
	return d
}

// serial names a serial number within a line; "" where there is none.
func (w *words) serial(number string) string {
	if number == "" {
		return ""
	}
	return w.say("serial number %s", number)
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

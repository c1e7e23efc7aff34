package dcc

import (
	"bufio"
	"context"
	"encoding/base64"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"time"

	"bandproof/reports/record"
	"bandproof/runner"
)

// Options are what is not in the records.
type Options struct {
	// Country of the laboratory (ISO 3166-1 alpha-2); it takes the place of what
	// the bench file says.
	Country string
	// Issued is the date of issue; the day on which the last record was made
	// unless stated.
	Issued time.Time
	// PDF is the data sheet to enclose, under FileName; nil for none.
	PDF      []byte
	FileName string
	// Hashes are the SHA-256 of the records' bytes, in lower-case hex, by id; also
	// of one that the last record takes the place of, where it is at hand.
	Hashes map[string]string
}

// Certificate is one DCC of one unit.
type Certificate struct {
	v    version
	o    Options
	runs []run
}

// run is one record in its place.
type run struct {
	record.Record
	label string // "As found"
	id    string // XML id, prefix of those within
}

var runKinds = []struct {
	kind  runner.Kind
	label string
}{{runner.AsFound, "As found"}, {runner.AfterRepair, "After repair"}, {runner.AsLeft, "As left"}}

// countryCode is what the schema wants: two capital letters.
var countryCode = regexp.MustCompile(`^[A-Z]{2}$`)

// New takes the record of one run, or of up to three runs (as-found,
// after-repair, as-left) of one unit, in any order. Records that do not belong
// together, and a laboratory without a country, are errors that say what would
// be right.
func New(o Options, records ...record.Record) (*Certificate, error) {
	if len(records) == 0 {
		return nil, errors.New("no record for the certificate; give one, or up to three runs of one unit")
	}
	c := &Certificate{v: versions[0], o: o}
	for _, k := range runKinds {
		for _, r := range records {
			if r.Run.Kind == k.kind {
				c.runs = append(c.runs, run{r, k.label, string(k.kind)})
			}
		}
	}
	if len(c.runs) != len(records) {
		return nil, errors.New("a record's kind of run is not known; expected as-found, after-repair or as-left")
	}
	for k := range c.runs[1:] {
		if err := together(c.runs[k], c.runs[k+1]); err != nil {
			return nil, err
		}
	}
	if c.o.Country == "" {
		c.o.Country = c.last().Laboratory.Country
	}
	if !countryCode.MatchString(c.o.Country) {
		return nil, fmt.Errorf("the certificate needs the country of the laboratory as two capital letters (ISO 3166-1, such as CH), and has %q: "+
			"add country = \"..\" to [laboratory] in the bench file for records to come, or give --country now", c.o.Country)
	}
	return c, nil
}

// together checks that two records are runs of one unit by one procedure.
func together(a, b run) error {
	if a.Run.Kind == b.Run.Kind {
		return fmt.Errorf("records %q and %q are both %s; give one run of each kind", a.ID, b.ID, a.Run.Kind)
	}
	for _, c := range []struct{ what, x, y string }{
		{"maker", a.Maker, b.Maker}, {"model", a.Model, b.Model}, {"serial number", a.Job.Serial, b.Job.Serial}, {"asset number", a.Job.Asset, b.Job.Asset},
		{"laboratory", a.Laboratory.Name, b.Laboratory.Name},
	} {
		if c.x != c.y {
			return fmt.Errorf("records %q and %q do not go on one certificate: %s is %q in the first and %q in the second; write a certificate for each", a.ID, b.ID, c.what, c.x, c.y)
		}
	}
	return nil
}

// last is the run that comes last: its job file is the newest.
func (c *Certificate) last() run { return c.runs[len(c.runs)-1] }

// any tells whether a run has something.
func (c *Certificate) any(has func(run) bool) bool { return slices.ContainsFunc(c.runs, has) }

// Write writes the XML, indented, with a final line feed. Its cost grows
// linearly with the points; they are written one by one.
func (c *Certificate) Write(ctx context.Context, w io.Writer) error {
	b := bufio.NewWriterSize(until{ctx, w}, 1<<16)
	if _, err := b.WriteString(xml.Header); err != nil {
		return fmt.Errorf("certificate: %w", err)
	}
	e := xml.NewEncoder(b)
	e.Indent("", " ")
	if err := e.Encode(c.build()); err != nil {
		return fmt.Errorf("certificate: %w", err)
	}
	if err := errors.Join(b.WriteByte('\n'), b.Flush()); err != nil {
		return fmt.Errorf("certificate: %w", err)
	}
	return nil
}

// until writes until its context ends.
type until struct {
	ctx context.Context
	w   io.Writer
}

// Write writes, or fails as the context ended.
func (u until) Write(p []byte) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.w.Write(p)
}

func (c *Certificate) build() certificate {
	x := certificate{DCC: namespaceDCC, SI: namespaceSI, XSI: namespaceXSI, Location: c.v.Location, Version: c.v.Name, Admin: c.administrative()}
	for _, r := range c.runs {
		x.Results = append(x.Results, r.measurement(c))
	}
	if c.o.PDF != nil {
		x.Document = &file{Name: english("Data sheet"), Description: say("The same results laid out for people, rounded for print."),
			FileName: stated(c.o.FileName), MIME: "application/pdf", Base64: base64.StdEncoding.EncodeToString(c.o.PDF)}
	}
	return x
}

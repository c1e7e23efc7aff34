package sheet

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"
)

// ErrNothingOutside: no as-found result lies outside tolerance, so that there is
// nothing to give notice of.
var ErrNothingOutside = errors.New("nothing is outside tolerance")

// LastGood is when the unit was last known to be within tolerance; the zero
// value says that this is not known.
type LastGood struct {
	ID   string // of the record
	Kind runner.Kind
	At   time.Time
}

// UsuallySignificant is by how many limits a result must lie out to be called
// significant unless the laboratory chooses otherwise (common practice, no
// source: the record's requirements name twice the limit as a locally set line).
const UsuallySignificant = 2.0

// outside is what turns a sheet into the notice to the owner of a unit that was
// found outside tolerance.
type outside struct {
	last        LastGood
	significant float64
}

// OutOfTolerance is the notice to the owner of a unit whose as-found record lies
// outside tolerance: what earlier results it may have spoilt, and by how much, for
// the owner to judge. Results beyond so many limits are called significant.
func OutOfTolerance(r record.Record, last LastGood, significant float64) (*Sheet, error) {
	switch {
	case r.Run.Kind != runner.AsFound:
		return nil, fmt.Errorf("record %s is %s; the notice tells how a unit was found, so give the as-found record", r.ID, r.Run.Kind)
	case r.Job.Conformity == "no":
		return nil, fmt.Errorf("record %s: the customer agreed that no conformity is stated, so nothing is called outside tolerance", r.ID)
	case r.Corrects != nil && r.Corrects.Withdrawn:
		return nil, fmt.Errorf("record %s was withdrawn", r.ID)
	case !(significant >= 1) || math.IsInf(significant, 0):
		return nil, fmt.Errorf("%g limits can't be where a result begins to be significant; expected 1 or more", significant)
	case r.Run.Statement != runner.Outside && r.Run.Statement != runner.NotObtainable:
		return nil, fmt.Errorf("record %s, %s: %w", r.ID, r.Run.Statement, ErrNothingOutside)
	}
	s, err := New(r)
	if err != nil {
		return nil, err
	}
	s.outside = &outside{last, significant}
	return s, nil
}

// buildOutside lays the notice out.
func (s *Sheet) buildOutside(d *document) {
	r := s.last()
	d.Title, d.End = s.say("Out-of-tolerance notice"), s.say("End of notice")
	b := []block{s.outsideIdentity(), s.outsideSummary()}
	for _, t := range []*table{s.outsidePoints(), s.outsideOthers(), s.outsideSilent()} {
		if len(t.Rows) > 0 {
			b = append(b, t)
		}
	}
	b = append(b, &paragraph{Label: s.say("How to use this"), Text: s.say("An error is reading minus reference value: where it is positive the unit read high. A reading that was taken near a frequency of the table may be corrected by subtracting the relative error found there, if it comes from the timebase and has not changed since; a miscount can't be corrected so. The notice says what was found, not what follows from it: the owner judges which earlier results have to be looked at again.")},
		s.outsideGood(), s.standards(), &paragraph{Label: s.say("Reference topology"), Text: r.topology()})
	d.Blocks = append(b, &signatures{Lines: s.signers()})
}

func (s *Sheet) outsideIdentity() block {
	r := s.last()
	last := s.say("not known to us")
	if g := s.outside.last; g.ID != "" {
		last = s.say("%[1]s (%[2]s, record %[3]s)", r.day(g.At), s.word(string(g.Kind)), g.ID)
	}
	return &grid{Columns: 4, Items: []item{
		{s.say("Unit (maker, model)"), join(", ", s.stated(r.Maker), s.stated(r.Model))},
		{s.say("Unit: serial number"), s.stated(r.Job.Serial)},
		{s.say("Asset number (as the customer states)"), s.stated(r.Job.Asset)},
		{s.say("Customer"), join("\n", s.stated(r.Job.Customer), r.Job.Contact)},
		{s.say("Found on"), r.days(r.Run.Started, r.Run.Finished)},
		{s.say("Last known within tolerance"), last},
		{s.say("Record"), s.stated(r.ID)},
		{s.say("Procedure"), s.say("%[1]s, revision %[2]s", s.stated(r.Record.Procedure.Name), s.stated(r.Record.Procedure.Revision))},
	}}
}

func (s *Sheet) outsideSummary() block {
	r := s.last()
	n := &notice{Alert: true, Title: s.colon(r.label, s.word(string(r.Run.Statement)))}
	if r.Run.Statement == runner.NotObtainable {
		n.Lines = append(n.Lines, s.dead(r))
	}
	n.Lines = append(n.Lines, s.say("Results that were obtained with this unit after the date on which it was last known to be within tolerance may be wrong in the ranges and by the amounts below."))
	n.Lines = append(n.Lines, r.allFailures()...)
	return n
}

// outsidePoints are the points that failed with a value.
func (s *Sheet) outsidePoints() *table {
	r := s.last()
	t := &table{Title: s.say("Outside tolerance, with the error that was found"), Columns: []column{{Head: ""}, {Head: s.say("Input")}, {Head: s.say("Nominal frequency, Hz"), Align: point}, {Head: s.say("Gate"), Align: right},
		{Head: s.say("Error, Hz"), Align: point}, {Head: s.say("Error, ppm"), Align: point}, {Head: s.say("U, Hz"), Align: point}, {Head: s.say("Limit ±, Hz"), Align: point}, {Head: s.say("Error by limit"), Align: right}, {Head: s.say("The unit read")}, {Head: s.say("Weight")}},
		Legend: s.say("■ outside   ■■ significant: more than %s times the limit", s.number(quantity.Group(fmt.Sprintf("%g", s.outside.significant)))) +
			"   " + s.say("— no value.   U is the expanded uncertainty of the error.")}
	for _, name := range r.Run.InputNames() {
		for _, p := range r.points(name) {
			if p.Verdict.Bad() && p.Counted > 0 {
				t.Rows = append(t.Rows, s.outsideRow(p))
			}
		}
	}
	return t
}

func (s *Sheet) outsideRow(p *runner.PointResult) []cell {
	x := s.roundResult(p.Error, p.Limit.Total, p.Reported.Expanded, readingPlaces(p))
	share, ratio := 0.0, none
	if p.Limit.Total.Sign() > 0 {
		share = math.Abs(p.Error.Quo(p.Limit.Total).Float())
		ratio = s.significant(share, 3)
	}
	sign, weight := failed.flag(), s.say("outside")
	switch {
	case share > s.outside.significant:
		sign, weight = sign+sign, s.say("significant")
	case share <= 1:
		weight = s.word(string(p.Verdict.Reason))
	}
	read := none
	switch p.Error.Sign() {
	case 1:
		read = s.say("high")
	case -1:
		read = s.say("low")
	}
	row := []cell{}
	for _, text := range []string{sign, p.Point.Input, s.number(quantity.Group(p.Point.Frequency.Plain())), s.q(p.Point.Gate), x.Error, s.relative(p), x.U, x.Limit, ratio, read, weight} {
		row = append(row, cell{text, failed})
	}
	return row
}

// outsideOthers are findings of other measurements that failed.
func (s *Sheet) outsideOthers() *table {
	r := s.last()
	t := &table{Title: s.say("Other measurements outside tolerance"), Columns: []column{{Head: ""}, {Head: s.say("Input")}, {Head: s.say("Measurement")}, {Head: s.say("What")}, {Head: s.say("What was found")}}}
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			if x.Verdict.Bad() {
				what := s.word(x.What)
				if x.At != nil {
					what = s.say("%[1]s at %[2]s", what, s.q(x.At))
				}
				t.Rows = append(t.Rows, []cell{{failed.flag(), failed}, {Text: o.Task.Input}, {Text: r.titleOf(o)}, {Text: what}, {Text: join(", ", s.verdictOf(x.Verdict), s.numbersOf(x), s.word(x.Says))}})
			}
		}
	}
	return t
}

// outsideSilent are stretches in which the unit gave no value: what was not
// indicated can't be wrong.
func (s *Sheet) outsideSilent() *table {
	r := s.last()
	t := &table{Title: s.say("Outside tolerance, without a value: where the unit showed nothing, nothing was measured wrong; where it showed something else, nothing can be corrected"), Columns: []column{{Head: s.say("Input")}, {Head: s.say("Where")}, {Head: s.say("What was found")}}}
	for _, f := range r.findings(func(p *runner.PointResult) bool { return p.Verdict.Bad() && p.Counted == 0 }) {
		t.Rows = append(t.Rows, []cell{{Text: f.input}, {Text: f.where()}, {Text: join(", ", s.word(string(f.verdict.Reason)), s.word(f.symptom))}})
	}
	return t
}

// outsideGood says what is not concerned, and what is not known.
func (s *Sheet) outsideGood() block {
	r := s.last()
	var lines []string
	for _, name := range r.Run.InputNames() {
		for _, f := range r.findings(func(p *runner.PointResult) bool { return p.Point.Input == name && p.Verdict.Good() }) {
			if f.verdict.Word == decision.ConditionalPass {
				lines = append(lines, s.say("Input %[1]s: inside the limit at %[2]s, but nearer to it than the guard band: it may have been outside.", name, f.where()))
				continue
			}
			lines = append(lines, s.say("Input %[1]s: within tolerance at %[2]s.", name, f.where()))
		}
		for _, f := range r.findings(func(p *runner.PointResult) bool { return p.Point.Input == name && !p.Judged() }) {
			lines = append(lines, s.say("Input %[1]s: not judged at %[2]s (%[3]s).", name, f.where(), s.word(string(f.verdict.Reason))))
		}
	}
	for _, x := range s.scope() {
		lines = append(lines, s.say("Not looked at: %s.", strings.TrimSuffix(x, ".")))
	}
	return &notes{Title: s.say("Not concerned, or not known"), Lines: lines}
}

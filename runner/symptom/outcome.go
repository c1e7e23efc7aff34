package symptom

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// Kinds of measurement whose findings mean more than good or bad, by the word in
// a procedure, and the rows that are read.
const (
	sensitivityKind = "sensitivity"
	edgeKind        = "edge"
	selfTestKind    = "self-test"
	observationKind = "observation"
	timebaseKind    = "timebase"
	overlapKind     = "overlap"
	levelRangeKind  = "level range"

	edgeInLevel = "edge in level"
	offsetRow   = "timebase offset, mean of the series"
	farthestRow = "farthest single reading, limit and one count"
	perDay      = "ageing per day"
)

// outcome adds what a measurement of another kind than the band sweep says.
func (x *reader) outcome(o *runner.Outcome) {
	switch o.Task.Kind {
	case observationKind: // what a person saw: connectors, lamps, keys
	case selfTestKind:
		for _, row := range o.Rows {
			if l := x.row(o, row); l != nil {
				l.SelfTest = true
				x.list = append(x.list, l)
			}
		}
	case sensitivityKind:
		for _, row := range o.Rows {
			x.add(x.sensitivity(o, row))
		}
	case edgeKind:
		if slices.ContainsFunc(o.Rows, func(r runner.Row) bool { return r.What == edgeInLevel }) {
			x.add(x.levelEdge(o))
			return
		}
		x.shots(o)
	case levelRangeKind:
		x.levelRange(o)
	case overlapKind:
		x.shots(o)
		for _, row := range o.Rows {
			if l := x.row(o, row); l != nil && l.bad && strings.HasPrefix(row.What, "difference") {
				x.list = append(x.list, l)
			}
		}
	case timebaseKind:
		for _, row := range o.Rows {
			x.add(x.timebase(o, row))
		}
	default:
		x.rows(o)
	}
}

// rows are the findings of a measurement: each that is bad, or one for all.
func (x *reader) rows(o *runner.Outcome) {
	var good *look
	n, before := 0, len(x.list)
	for _, row := range o.Rows {
		switch l := x.row(o, row); {
		case l == nil:
		case l.bad:
			x.list = append(x.list, l)
		default:
			good, n = l, n+1
		}
	}
	if good != nil && len(x.list) == before {
		good.Says = fmt.Sprintf("%s: nothing wrong in %d findings", o.Task.Measure, n)
		x.list = append(x.list, good)
	}
}

// levelRange takes, of the levels at each frequency, those that are wrong, and of
// those that are right the lowest one.
func (x *reader) levelRange(o *runner.Outcome) {
	good := map[float64]bool{}
	for k := range o.Shots {
		l := x.point(&o.Shots[k], o.Shots[k].Point.ID)
		if l == nil || !l.bad && good[l.Frequency] {
			continue
		}
		good[l.Frequency] = good[l.Frequency] || !l.bad
		x.list = append(x.list, l)
	}
}

func badRow(o *runner.Outcome, what string) bool {
	return slices.ContainsFunc(o.Rows, func(r runner.Row) bool { return r.What == what && r.Verdict.Bad() })
}

func (x *reader) add(l *look) {
	if l != nil {
		x.list = append(x.list, l)
	}
}

// shots are settings that each were taken and judged as a point is.
func (x *reader) shots(o *runner.Outcome) {
	for k := range o.Shots {
		x.add(x.point(&o.Shots[k], o.Shots[k].Point.ID))
	}
}

// row is what a judged row says by its verdict; nil where it was not judged.
func (x *reader) row(o *runner.Outcome, row runner.Row) *look {
	if !row.Judged() {
		return nil
	}
	l := &look{bad: row.Verdict.Bad(), row: true, reason: row.Verdict.Reason}
	l.Seen = Seen{Point: o.Task.ID, Input: o.Task.Input, Level: math.NaN(), Margin: math.NaN(), At: o.Started, Kind: Good, Says: row.What}
	if row.Says != "" {
		l.Says += ": " + row.Says
	}
	if row.At != nil {
		l.Frequency = row.At.Float()
		if s := shotAt(o, *row.At); s != nil {
			l.At, l.path, l.source, l.Point = s.Started, s.Point.Path, s.Point.Source, s.Point.ID
		}
	}
	if row.Unit == "Hz" && row.Found != nil && row.Limit != nil {
		l.Error, l.Limit = row.Found.Float(), row.Limit.Float()
		if l.Frequency > 0 {
			l.PPM = l.Error / l.Frequency * 1e6
		}
	}
	l.Powered = x.powered(l.At)
	if l.bad {
		l.Kind, l.Share = ofReason(row.Verdict.Reason), 1
	}
	return l
}

// shotAt is the last setting at a frequency; nil where there is none.
func shotAt(o *runner.Outcome, f quantity.Frequency) *runner.PointResult {
	for k := len(o.Shots) - 1; k >= 0; k-- {
		if o.Shots[k].Point.Frequency.Cmp(f) == 0 {
			return &o.Shots[k]
		}
	}
	return nil
}

// sensitivity is what the search for the least level says: Level and Margin are
// those of the least level that counts properly. Where none does, it is what the
// last setting, at the highest level, showed.
func (x *reader) sensitivity(o *runner.Outcome, row runner.Row) *look {
	l := x.row(o, row)
	if l == nil {
		return nil
	}
	if row.Found == nil || row.Limit == nil {
		return x.noLevel(o, row, l)
	}
	l.Sensitivity, l.Margin = true, row.Found.Sub(*row.Limit).Float()
	l.Level = row.Found.Float()
	if row.Uncertainty != nil {
		l.u = row.Uncertainty.Standard
	}
	if row.Unit == "dBV" {
		l.Level += dBVtodBm
	}
	if l.bad {
		l.Kind = Weak
	}
	return l
}

// noLevel is what a search says that found no level that counts properly: by what
// the last setting, at the highest level, showed. One that counts there, if not
// always, needs at least as much.
func (x *reader) noLevel(o *runner.Outcome, row runner.Row, l *look) *look {
	if row.At == nil || !l.bad {
		return l
	}
	s := shotAt(o, *row.At)
	if s == nil {
		return l
	}
	p := x.point(s, s.Point.ID)
	switch {
	case p == nil:
		return l
	case p.Kind == None || p.shift:
		p.top = true
		return p
	}
	p.Kind, p.bad, p.Share, p.Sensitivity = Weak, true, 1, true
	p.Says, p.top, p.u = l.Says, true, 0
	return p
}

// dBVtodBm is 10·lg(1 V² / 50 Ω / 1 mW): levels of inputs of high impedance are
// compared as the same voltage across 50 Ω.
var dBVtodBm = quantity.VoltLevel(1).DBm(quantity.Dbm50())

// levelEdge is what a search for edges in level says: nothing of levels at which
// nothing is promised.
func (x *reader) levelEdge(o *runner.Outcome) *look {
	var list []*look
	worst, last := -1, -1 // the highest level at which it fails and should not, and at which it fails at all
	for k := range o.Shots {
		if l := x.point(&o.Shots[k], o.Task.ID); l != nil {
			list = append(list, l)
		}
	}
	slices.SortStableFunc(list, func(a, b *look) int { return cmp.Compare(a.Level, b.Level) })
	for k, l := range list {
		if l.bad {
			last = k
		}
		if l.bad && l.Margin > 0 {
			worst = k
		}
	}
	switch {
	case worst < 0 && last == len(list)-1:
		return nil // nothing is promised at any of these levels, or there are none
	case worst < 0:
		list[last+1].Sensitivity = true
		return list[last+1]
	case worst == len(list)-1:
		return list[worst]
	}
	l := list[worst]
	l.Kind, l.shift, l.Sensitivity = Weak, false, true
	l.Level, l.Margin = list[worst+1].Level, list[worst+1].Margin
	l.Says = fmt.Sprintf("counts properly from %.4g dBm on, %+.3g dB from what is specified", l.Level, l.Margin)
	return l
}

// timebase is what a row of a series of readings of the timebase says. Offsets are
// of the timebase: readings are off the other way.
func (x *reader) timebase(o *runner.Outcome, row runner.Row) *look {
	l := x.row(o, row)
	if l == nil {
		return nil
	}
	if len(o.Task.Points) > 0 {
		l.Frequency = o.Task.Points[0].Frequency.Float()
	} else if len(o.Courses) > 0 {
		l.Frequency = o.Courses[0].Expected.Float()
	}
	switch {
	case row.What == offsetRow && row.Found != nil:
		l.tested, l.ref = true, l.Frequency
		l.PPM = -row.Found.Float() * 1e6
		l.Error, l.Shown = l.PPM*1e-6*l.ref, l.ref*(1+l.PPM*1e-6)
		if row.Uncertainty != nil {
			l.u, l.fine = row.Uncertainty.Standard*l.ref, row.Uncertainty.Expanded*l.ref
		}
		if row.Limit != nil {
			l.Limit = row.Limit.Float() * l.ref
		}
		l.coarse = l.Limit + l.fine
		if l.bad {
			l.Kind = Off
		}
	case l.bad && row.What == farthestRow && badRow(o, offsetRow):
		return nil // it follows from the offset
	case !l.bad && row.What != offsetRow:
		return nil // of one series of readings, its offset speaks
	case l.bad && row.What == perDay:
		l.Kind = Other
	case l.bad && l.Kind == Other:
		l.Kind = Noisy // deviations and single readings beyond what is promised
	}
	return l
}

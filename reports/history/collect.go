package history

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/imported"
	"bandproof/reports/record"
	"bandproof/runner"
	"bandproof/runner/timebase"
)

// Name of the timebase's series.
const Timebase = "timebase"

// collector puts values where they belong.
type collector struct {
	h  *History
	at map[string]int // where the series of a key stands
}

// series returns the one of a key, made on first use.
func (c *collector) series(key string, made Series) *Series {
	k, known := c.at[key]
	if !known {
		k = len(c.h.Series)
		c.at[key] = k
		made.Values, made.Intervals = []Value{}, []Interval{}
		c.h.Series = append(c.h.Series, made)
	}
	return &c.h.Series[k]
}

// add keeps a value; of two of one run the surer one.
func (s *Series) add(v Value) {
	if k := len(s.Values) - 1; k >= 0 && s.Values[k].run == v.run {
		if s.Values[k].Expanded <= v.Expanded {
			return
		}
		s.Values = s.Values[:k]
	}
	s.Values = append(s.Values, v)
}

// record takes all that a record found.
func (c *collector) record(r record.Record) {
	run := Run{At: started(r), Kind: r.Run.Kind, Record: r.ID, Statement: r.Run.Statement, Added: len(r.Run.Only) > 0}
	run.failed = r.Run.Statement == runner.Outside || r.Run.Statement == runner.NotObtainable
	if adjusted := r.Job.Adjusted; !adjusted.IsZero() {
		run.adjusted = adjusted.Time
	}
	n := len(c.h.Runs)
	c.h.Runs = append(c.h.Runs, run)
	c.h.Asset = cmp.Or(r.Job.Asset, c.h.Asset)
	c.h.Maker, c.h.Model = cmp.Or(r.Maker, c.h.Maker), cmp.Or(r.Model, c.h.Model)
	c.h.Invented = c.h.Invented || r.Invented
	base := Value{Run: r.Run.Kind, Record: r.ID, At: run.At, run: n, share: 1}
	for _, p := range r.Run.Points {
		c.point(base, p, r.Run.Topology[p.Point.Source])
	}
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			c.row(base, o, x)
		}
	}
	if v, ok := timebaseOf(base, r); ok {
		c.series(Timebase, Series{Name: Timebase, What: "relative offset of the timebase", Unit: "1", timebase: true}).add(v)
	}
}

func started(r record.Record) time.Time {
	if r.Run.Started.IsZero() {
		return r.Created
	}
	return r.Run.Started
}

// point keeps the error at one point, where it has one.
func (c *collector) point(v Value, p runner.PointResult, t procedures.Topology) {
	if p.Counted == 0 {
		return
	}
	v.Found, v.Expanded, v.Standard = p.Error, p.Reported.Expanded, p.Reported.Standard
	v.Limit, v.Side, v.GuardBand, v.Verdict = &p.Limit.Total, runner.Within, p.GuardBand, p.Verdict
	v.Why = unfit(p)
	if v.share = p.Decision.Standard / p.Reported.Standard; !(v.share < 1) {
		v.share = 1
	}
	c.pointSeries(p.Point.Input, p.Point.Frequency, p.Point.Levels.Input.String(), t.TimebaseTested).add(v)
}

// pointSeries is that of the error at one input, frequency and level; errors that
// hold the timebase's share and such that don't are kept apart.
func (c *collector) pointSeries(input string, f quantity.Frequency, level string, own bool) *Series {
	from := "its own timebase"
	if !own {
		from = "a shared or external reference"
	}
	at := f.Trimmed().String()
	key := strings.Join([]string{"point", input, f.Exact().String(), level, from}, "\x00")
	s := Series{Name: input + " " + at, What: fmt.Sprintf("error of input %s at %s", input, at), Unit: "Hz", timebase: own,
		place: place{kind: 1, input: input, frequency: f.Float(), level: level, own: own}}
	if level != "" {
		s.What += ", " + level
	}
	s.What += ", unit on " + from
	return c.series(key, s)
}

// unfit says why a point tells nothing of drift, "" where it does.
func unfit(p runner.PointResult) string {
	switch reason := p.Verdict.Reason; {
	case p.Verdict.Word == decision.NotJudged:
		return "not judged: " + string(reason)
	case p.Symptom != "":
		return p.Symptom
	case reason == decision.Unstable, reason == decision.NoCount, reason == decision.NotObtainable, reason == decision.CoarseReply:
		return string(reason)
	}
	return ""
}

// row keeps what another measurement found as a number that is known to a stated
// uncertainty.
func (c *collector) row(v Value, o runner.Outcome, x runner.Row) {
	if x.Found == nil || x.Uncertainty == nil || !(x.Uncertainty.Expanded > 0) || x.What == timebase.OffsetRow {
		return
	}
	v.Found, v.Expanded, v.Standard, v.Limit, v.Side, v.Verdict = *x.Found, x.Uncertainty.Expanded, x.Uncertainty.Standard, x.Limit, x.Side, x.Verdict
	if x.GuardBand != nil {
		v.GuardBand = *x.GuardBand
	}
	if x.Open() {
		v.Why = "not judged: " + string(x.Verdict.Reason)
	}
	name := o.Task.Measure + ", " + x.What
	if x.At != nil {
		name += ", " + x.At.Trimmed().String()
	}
	c.series(strings.Join([]string{"row", o.Task.Kind, o.Task.Measure, o.Task.Input, x.What, name, x.Unit}, "\x00"),
		Series{Name: name, What: name, Unit: x.Unit, timebase: o.Task.Kind == "timebase", place: place{kind: 2, input: o.Task.Input, row: name}}).add(v)
}

// timebaseOf is the offset of the timebase that a record tells: of a series of
// readings where it took one, else, where the unit ran from its own timebase, of
// the point at which it is known best. A timebase that is high makes readings low.
func timebaseOf(v Value, r record.Record) (Value, bool) {
	found := false
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			if x.What != timebase.OffsetRow || x.Found == nil || x.Uncertainty == nil || found && v.Expanded <= x.Uncertainty.Expanded {
				continue
			}
			v.Found, v.Expanded, v.Standard, v.Limit, v.Side, v.Verdict = *x.Found, x.Uncertainty.Expanded, x.Uncertainty.Standard, x.Limit, x.Side, x.Verdict
			if x.GuardBand != nil {
				v.GuardBand = *x.GuardBand
			}
			v.From, found = "series of readings "+o.Task.ID, true
		}
	}
	if found {
		return v, true
	}
	var best *runner.PointResult
	share := func(p *runner.PointResult) float64 { return p.Reported.Expanded / p.Reference.Float() }
	for k := range r.Run.Points {
		p := &r.Run.Points[k]
		if p.Counted == 0 || !(p.Reported.Expanded > 0) || p.Reference.Sign() <= 0 || unfit(*p) != "" || !r.Run.Topology[p.Point.Source].TimebaseTested {
			continue
		}
		if best == nil || share(p) < share(best) {
			best = p
		}
	}
	if best == nil {
		return v, false
	}
	f := best.Reference
	v.Found = f.Quo(best.Mean.Sub(best.Bias)).Sub(quantity.ExactInt(1))
	v.Expanded, v.Standard = share(best), best.Reported.Standard/f.Float()
	v.From = "point " + best.Point.ID + " at " + best.Point.Frequency.Trimmed().String()
	for _, t := range best.Limit.Terms {
		if t.Name == accuracy.TimebaseTerm {
			limit := t.Hz.Quo(f)
			v.Limit, v.Side, v.GuardBand = &limit, runner.Within, best.GuardBand.Quo(f)
		}
	}
	return v, true
}

// results takes what was imported; lines of one day and run are one run.
func (c *collector) results(list []Imported) {
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b Imported) int {
		return cmp.Or(a.Date.Compare(b.Date.Time), cmp.Compare(a.Run, b.Run), cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line))
	})
	runs := map[string]int{}
	for _, r := range list {
		from := r.File
		for _, more := range []string{r.Laboratory, r.Certificate} {
			if more != "" {
				from += ", " + more
			}
		}
		key := r.Date.String() + string(r.Run) + from
		n, known := runs[key]
		if !known {
			n = len(c.h.Runs)
			runs[key] = n
			c.h.Runs = append(c.h.Runs, Run{At: r.Date.Time, Kind: r.Run, Imported: from})
		}
		if r.Verdict == decision.Fail || r.Verdict == decision.ConditionalFail {
			c.h.Runs[n].failed = true
		}
		c.h.Asset = cmp.Or(c.h.Asset, r.Asset)
		v := Value{Run: r.Run, Imported: fmt.Sprintf("%s, line %d", from, r.Line), At: r.Date.Time, Found: r.Error, Limit: r.Limit, run: n, share: 1, Verdict: decision.Verdict{Word: r.Verdict}}
		if r.Limit != nil {
			v.Side = runner.Within
		}
		if r.Uncertainty != nil {
			v.Standard = r.Uncertainty.Float() / r.K
			v.Expanded = v.Standard * uncertainty.Factor(0)
		}
		if r.Verdict == decision.NotJudged {
			v.Why = "not judged"
		}
		if r.Timebase() {
			c.series(Timebase, Series{Name: Timebase, What: "relative offset of the timebase", Unit: "1", timebase: true}).add(v)
			continue
		}
		c.pointSeries(r.Input, *r.Frequency, c.level(r), r.UnitReference == imported.Own).add(v)
	}
}

// level of an imported result; where none is stated that of the records' points at
// this place, if they are all at one level.
func (c *collector) level(r Imported) string {
	if r.Level != nil {
		return r.Level.String()
	}
	level, several := "", false
	for _, s := range c.h.Series {
		if p := s.place; p.kind == 1 && p.input == r.Input && p.frequency == r.Frequency.Float() && p.own == (r.UnitReference == imported.Own) {
			several = several || level != "" && level != p.level
			level = p.level
		}
	}
	if several {
		return ""
	}
	return level
}

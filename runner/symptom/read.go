package symptom

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// Read says what each judged point of a run shows, and what other measurements
// of it say, in the order taken. What the bench could not show is no evidence
// about the unit and is left out, and so is what a person saw (observations).
func Read(r runner.Result) []Seen {
	looks := read(r)
	list := make([]Seen, len(looks.list))
	for k, x := range looks.list {
		list[k] = x.Seen
	}
	return list
}

// look is what one point showed with what it takes to compare it with others.
type look struct {
	Seen
	bad      bool
	row      bool      // a finding, not a setting with its readings
	top      bool      // the highest level of a search that found none that counts
	gate     float64   // s
	law      int       // of those with one explanation; 0 where none is shared
	base     float64   // relative error that all inputs share, which other explanations take off
	proofs   []float64 // what was read, at points that had passed, to prove the path, Hz
	bench    float64   // standard uncertainty of reference and source, relative
	counting accuracy.Kind
	tested   bool // the topology is such that the unit's timebase shows
	source   string
	path     string
	ref      float64         // at the input, Hz, as exactly as the bench knows it
	errors   []float64       // of each reading that was a number, Hz
	digits   []shownDigits   // of the same readings
	reason   decision.Reason // of a bad verdict
	all      int             // readings, those without a count too
	missing  int             // readings without a count
	shift    bool            // readings hang together, and their mean is off
	steady   bool            // readings agree as well as counts allow
	count    float64         // size of one count, Hz
	fine     float64         // Hz by which Error may be off what a fault adds: counts, trigger, residual, bench
	coarse   float64         // the same with what the timebase is allowed
	u        float64         // standard uncertainty of Error, Hz; of a search, of its level, dB
}

// reader gathers looks.
type reader struct {
	r     runner.Result
	input map[string]procedures.Input
	began time.Time
	list  []*look
}

func read(r runner.Result) *reader {
	x := &reader{r: r, input: map[string]procedures.Input{}, began: began(r)}
	for _, i := range r.Inputs {
		x.input[i.Input.Name] = i.Input
	}
	for k := range r.Points {
		p := &r.Points[k]
		if l := x.point(p, p.Point.ID); l != nil {
			x.list = append(x.list, l)
		}
		x.closing(p)
	}
	x.changes()
	for k := range r.Outcomes {
		x.outcome(&r.Outcomes[k])
	}
	slices.SortStableFunc(x.list, func(a, b *look) int { return a.At.Compare(b.At) })
	for k, l := range x.list {
		l.Order = k
	}
	company(x.list)
	scatter(x.list)
	for _, l := range x.list {
		if l.Says == "" {
			l.Says = l.words()
		}
	}
	return x
}

// began is when the first point of the run was begun: the record tells how long
// the unit had been on then.
func began(r runner.Result) time.Time {
	var first time.Time
	earlier := func(t time.Time) {
		if !t.IsZero() && (first.IsZero() || t.Before(first)) {
			first = t
		}
	}
	for _, p := range r.Points {
		earlier(p.Started)
	}
	for _, o := range r.Outcomes {
		earlier(o.Started)
	}
	return first
}

// powered is how long the unit had been on at a time, in s.
func (x *reader) powered(at time.Time) float64 {
	on := x.r.OnFor.Float()
	if at.IsZero() || x.began.IsZero() {
		return on
	}
	return on + at.Sub(x.began).Seconds()
}

// serves tells whether the verdict of a point rests on a reading.
func serves(use runner.Use) bool { return use == runner.Counted || use == runner.FirstLook }

// point is what a point showed; nil where it was not judged.
func (x *reader) point(p *runner.PointResult, id string) *look {
	if !p.Verdict.Good() && !p.Verdict.Bad() {
		return nil
	}
	f := p.Point.Frequency.Float()
	l := &look{bad: p.Verdict.Bad(), reason: p.Verdict.Reason, ref: p.Reference.Float(), count: p.Limit.Resolution.Float(), path: p.Point.Path, source: p.Point.Source,
		tested: x.r.Topology[p.Point.Source].TimebaseTested}
	l.gate = p.Gate.Float()
	l.Seen = Seen{Point: id, Input: p.Point.Input, Frequency: f, Level: math.NaN(), Margin: math.NaN(), At: p.Started,
		Kind: Good, Limit: p.Limit.Total.Float()}
	if i, ok := x.input[p.Point.Input]; ok {
		l.counting = i.Accuracy.At(p.Point.Frequency).Kind
	}
	x.level(l, p)
	if l.ref <= 0 {
		l.ref = f
	}
	x.readings(l, p)
	l.Powered = x.powered(l.At)
	bench := p.Bench.Expanded
	if l.ref > 0 {
		l.bench = p.Bench.Standard / l.ref
	}
	for _, t := range p.Limit.Terms {
		if t.Name != accuracy.TimebaseTerm {
			l.fine += t.Hz.Float()
		}
	}
	if len(p.Limit.Terms) == 0 {
		l.fine = l.Limit
	}
	l.fine, l.coarse = l.fine+bench, l.Limit+bench
	if l.u = p.Reported.Standard; !(l.u > 0) {
		l.u = l.count / math.Sqrt(6) // an asynchronous gate: triangular, half-width one count
	}
	if l.bad {
		x.classify(l, p)
	}
	return l
}

// level fills in the level at the input, as measured or else as planned.
func (x *reader) level(l *look, p *runner.PointResult) {
	level := p.Point.Levels.Input
	if p.Level != nil {
		level = p.Level.Input
	}
	l.Level = finite(level.DBm(quantity.Dbm50()))
	if i, ok := x.input[p.Point.Input]; ok {
		if s, ok := i.SensitivityAt(p.Point.Frequency); ok {
			l.Margin = finite(l.Level - s.DBm(quantity.Dbm50()))
		}
	}
}

// finite is a value, or NaN where it is none.
func finite(v float64) float64 {
	if math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}

// readings fills in what was read.
func (x *reader) readings(l *look, p *runner.PointResult) {
	first := true
	for _, g := range p.Readings {
		if g.Use == runner.Proof && g.Mark == drivers.None {
			l.proofs = append(l.proofs, g.Frequency.Float())
		}
		if !serves(g.Use) {
			continue
		}
		l.all++
		if first && !g.At.IsZero() {
			l.At, first = g.At, false
		}
		if g.Mark != drivers.None {
			l.missing++
			continue
		}
		l.digits = append(l.digits, digitsOf(g.Frequency))
		l.errors = append(l.errors, g.Frequency.Exact().Sub(p.Reference).Float())
	}
	l.Readings = l.all
	if p.Counted > 0 {
		l.Shown, l.Error, l.PPM = p.Mean.Float(), p.Error.Float(), p.ErrorPPM
	}
}

// spread of the readings, Hz.
func (l *look) spread() float64 {
	if len(l.errors) == 0 {
		return 0
	}
	return slices.Max(l.errors) - slices.Min(l.errors)
}

// mainShift is how many times a shift of all readings must exceed their spread to
// be what the point mainly shows, where they scatter as well.
const mainShift = 10

// classify says what a point that failed shows by itself.
func (x *reader) classify(l *look, p *runner.PointResult) {
	h := p.Heap()
	l.Share = 1
	if h.All > 0 {
		l.Share = float64(len(h.Off)+h.Missing) / float64(h.All)
	}
	allowed := p.ScatterAllowed().Float()
	l.steady = l.spread() <= allowed*(1+1e-9)
	coming := p.Intermittent()
	switch {
	case l.Shown <= 0 && len(l.errors) == 0:
		l.Kind = None
	case coming != "":
		l.Kind, l.Says = Intermittent, coming
	case p.Verdict.Reason == decision.CoarseReply:
		l.Kind, l.Says = Other, fmt.Sprintf("replies resolve coarser than one count (%s)", hertz(l.count))
	case l.steady || math.Abs(l.Error) > math.Max(l.Limit, mainShift*l.spread()):
		l.Kind, l.shift = Other, true
		if !l.steady {
			l.fine, l.coarse = l.fine+l.spread(), l.coarse+l.spread()
		}
	default:
		l.Kind = Noisy
	}
}

// closing is what the closing check of a path showed at a point, where it read
// the unit: the same point, later.
func (x *reader) closing(p *runner.PointResult) {
	later := *p
	later.Readings = nil
	for _, g := range p.Readings {
		if g.Use == runner.ClosingCheck {
			g.Use = runner.Counted
			later.Readings = append(later.Readings, g)
		}
	}
	if len(later.Readings) == 0 || !p.Verdict.Good() {
		return
	}
	h := later.Heap()
	change, changed := x.changeOf(p.Point.ID)
	sum := quantity.Exact{}
	for _, f := range append(slices.Clone(h.Right), h.Off...) {
		sum = sum.Add(f)
	}
	later.Counted = len(h.Right) + len(h.Off)
	later.Mean, later.Error, later.ErrorPPM = quantity.Exact{}, quantity.Exact{}, 0
	if later.Counted > 0 {
		later.Mean = sum.Quo(quantity.ExactInt(int64(later.Counted)))
		later.Error = later.Mean.Sub(later.Reference)
		later.ErrorPPM = procedures.PPM(later.Error, later.Reference)
	}
	if changed {
		later.Verdict = change.Later
	} else if len(h.Off)+h.Missing > 0 {
		return // it could not be judged
	}
	if l := x.point(&later, p.Point.ID); l != nil {
		x.list = append(x.list, l)
	}
}

// changeOf finds the change that a closing check of a point brought to light.
func (x *reader) changeOf(id string) (runner.Change, bool) {
	for _, c := range x.r.Changes {
		if c.Point == id && c.Why == runner.AsClosingCheck {
			return c, true
		}
	}
	return runner.Change{}, false
}

// changes are points that passed and, repeated to prove a path, did not. The
// record keeps no error of these.
func (x *reader) changes() {
	for _, c := range x.r.Changes {
		if c.Why == runner.AsClosingCheck || !c.Later.Bad() {
			continue
		}
		for k := range x.r.Points {
			p := &x.r.Points[k]
			if p.Point.ID != c.Point {
				continue
			}
			later := runner.PointResult{Point: p.Point, Level: p.Level, Gate: p.Gate, Started: c.LaterAt}
			later.Verdict, later.Reference, later.Limit = c.Later, p.Reference, p.Limit
			l := x.point(&later, c.Point)
			if l.Says = c.Symptom; l.Says == "" {
				l.Says = string(c.Later.Reason)
			}
			l.Says, l.shift = l.Says+", repeated "+c.Why, false
			if l.Kind = ofReason(c.Later.Reason); runner.ComesAndGoes(c.Symptom) {
				l.Kind = Intermittent
			}
			x.list = append(x.list, l)
		}
	}
}

// ofReason is what a verdict alone says.
func ofReason(why decision.Reason) Kind {
	switch why {
	case decision.NoCount, decision.NotObtainable:
		return None
	case decision.Unstable:
		return Noisy
	case decision.ReadingOutside:
		return Intermittent
	}
	return Other
}

// inputs lists the inputs of looks, each once, in order.
func inputs(list []*look) []string {
	var names []string
	for _, l := range list {
		if !slices.Contains(names, l.Input) {
			names = append(names, l.Input)
		}
	}
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(a, b) })
	return names
}

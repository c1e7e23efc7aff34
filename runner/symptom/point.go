package symptom

import (
	"fmt"
	"math"
	"slices"

	"bandproof/drivers"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

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
	l.Seen = Seen{Point: id, Input: p.Point.Input, Frequency: f, Level: math.NaN(), Margin: math.NaN(), At: p.Started,
		Gate: p.Gate.Float(), Kind: Good, Limit: p.Limit.Total.Float()}
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

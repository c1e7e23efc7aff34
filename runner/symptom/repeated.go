package symptom

import (
	"slices"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

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

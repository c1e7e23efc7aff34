package runner

import (
	"context"
	"fmt"
	"slices"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
)

// Change is a point that passed and, repeated later in the same run over the
// same path, did not: the unit changed within the run. What passed before stays
// as it was taken, but the run can't end as within tolerance.
type Change struct {
	Input  string `json:"input"`
	Path   string `json:"path"`
	Point  string `json:"point"`    // that was repeated
	Why    string `json:"repeated"` // such as AsClosingCheck
	Before string `json:"last_good_point"`
	// When the point passed, when anything passed last on this path, and when the
	// point was found to pass no more.
	EarlierAt  time.Time        `json:"earlier_at"`
	LastGoodAt time.Time        `json:"last_good_at"`
	LaterAt    time.Time        `json:"later_at"`
	Earlier    decision.Verdict `json:"earlier"`
	Later      decision.Verdict `json:"later"`
	Symptom    string           `json:"symptom,omitempty"` // of the later readings
}

// AsClosingCheck is why a point was repeated that was taken once more at the end
// of its path.
const AsClosingCheck = "as closing check"

// String says what changed, in a sentence.
func (c Change) String() string {
	what := fmt.Sprintf("input %s changed within the run: point %s, %s at %s, is %s", c.Input, c.Point, c.Earlier, moment(c.EarlierAt), c.Later)
	if c.Symptom != "" {
		what += " (" + c.Symptom + ")"
	}
	what += fmt.Sprintf(" when repeated at %s %s", moment(c.LaterAt), c.Why)
	if c.Later.Reason == decision.PathNotProven {
		what += "; whether the unit or its signal was lost is not proven"
	}
	if c.Before != c.Point {
		what += fmt.Sprintf("; the last point that passed on path %s before was %s at %s", c.Path, c.Before, moment(c.LastGoodAt))
	}
	return what
}

func moment(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// repeat takes one reading at a point that passed here, and where that does not
// read right as many as the point has, so that what it shows now can be judged.
// The result is nil where the source could not be brought there. All readings
// are kept with res as proofs.
func (r *run) repeat(ctx context.Context, at *place, res *PointResult, p procedures.Point) (*PointResult, error) {
	again := r.newPoint(p)
	bench, err := r.setSource(ctx, at, p, &again.Setting)
	if bench != "" || err != nil {
		return nil, err
	}
	if bench, err := r.setGate(ctx, p.Gate); bench != "" || err != nil {
		return nil, err
	}
	if err := r.limitInForce(at, &again); err != nil {
		return nil, err
	}
	r.expect(at.input, again.Setting.Reported, again.Limit)
	bench, err = r.readings(ctx, &again, 1, nil)
	if err == nil && bench == "" && again.lastWrong() && p.Readings > 1 {
		bench, err = r.readings(ctx, &again, p.Readings-1, nil)
	}
	if err != nil {
		return nil, err
	}
	if bench == "" {
		bench, err = r.sourceGood(ctx, at, p, &again.Setting)
	}
	symptom := Reason("")
	if again.missing() > 0 {
		symptom = decision.NoCount
	}
	if err == nil {
		err = r.evaluate(at, &again, symptom, bench)
	}
	for _, x := range again.Readings {
		x.Use = Proof
		res.Readings = append(res.Readings, x)
	}
	again.Finished = r.Clock.Now()
	switch {
	case err != nil:
		return nil, err
	case again.Verdict.Good():
		res.Notes = append(res.Notes, fmt.Sprintf("path proven: point %s, repeated, reads %s", p.ID, again.Readings[len(again.Readings)-1].Frequency))
	case at.borrowed:
		res.Notes = append(res.Notes, fmt.Sprintf("point %s, which passed with another source, does not read right on this path", p.ID))
	case !again.Judged():
		res.Notes = append(res.Notes, fmt.Sprintf("point %s could not be repeated to prove the path: %s", p.ID, again.Verdict.Reason))
		return nil, nil
	default:
		res.Notes = append(res.Notes, fmt.Sprintf("point %s, which passed before, no longer reads right on this path", p.ID))
	}
	return &again, nil
}

// closes makes the closing check of a path: an early point that passed is read
// once more, so that a change is noticed even where nothing failed after it. Its
// readings are kept with that point.
func (r *run) closes(ctx context.Context, at *place, points []procedures.Point) error {
	p, ok := r.closing(at.path.Name, points)
	if !ok {
		return nil
	}
	s := &Station{r: r, at: at, task: procedures.Task{ID: p.ID}}
	one := p
	one.Readings = 1
	check, err := s.Shot(ctx, one)
	if err != nil {
		return err
	}
	if check.Verdict.Bad() {
		if check, err = r.look(ctx, s, p, check); err != nil {
			return err
		}
	}
	k := slices.IndexFunc(r.result.Points, func(x PointResult) bool { return x.Point.ID == p.ID })
	early := r.result.Points[k]
	check.use(Counted, ClosingCheck)
	check.use(FirstLook, ClosingCheck)
	early.Readings = append(slices.Clip(early.Readings), check.Readings...)
	for _, w := range check.Monitor {
		w.Use = ClosingCheck
		early.Monitor = append(slices.Clip(early.Monitor), w)
	}
	early.Notes = slices.Clip(early.Notes)
	if !check.Judged() && check.Verdict.Reason != decision.PathNotProven {
		early.Notes = append(early.Notes, noClosing+string(check.Verdict.Reason))
	}
	if err := r.replace(ctx, k, early); err != nil {
		return err
	}
	if check.Verdict.Good() || !check.Judged() && check.Verdict.Reason != decision.PathNotProven {
		return nil
	}
	return r.changed(ctx, at, []PointResult{check}, AsClosingCheck, check.Judged(), nil)
}

// noClosing begins the note on a closing check that the bench could not make.
const noClosing = "the closing check could not be made: "

// closing finds the point for the closing check of a path: it passed there, and
// others were taken after it. ok is false where there is none, where the check was
// made already, and where it is known that the unit changed.
func (r *run) closing(path string, points []procedures.Point) (p procedures.Point, ok bool) {
	x, _ := r.Bench.Path(path)
	_, set := r.Sources[x.Source].(drivers.ByHand)
	_, read := r.Counter.(drivers.ByHand)
	known := slices.ContainsFunc(r.result.Changes, func(c Change) bool { return c.Path == path })
	if known || !r.Procedure.Closes(set || read) {
		return p, false
	}
	var passed []procedures.Point
	last := ""
	for _, x := range r.result.Points {
		if x.Point.Path != path || !slices.ContainsFunc(points, func(p procedures.Point) bool { return p.ID == x.Point.ID }) {
			continue
		}
		last = x.Point.ID
		if slices.ContainsFunc(x.Readings, func(r Reading) bool { return r.Use == ClosingCheck }) ||
			slices.ContainsFunc(x.Notes, func(n string) bool { return len(n) > len(noClosing) && n[:len(noClosing)] == noClosing }) {
			return p, false
		}
		if x.Verdict.Good() {
			passed = append(passed, x.Point)
		}
	}
	p, ok = procedures.Early(passed)
	return p, ok && p.ID != last
}

// look takes all readings of a point whose closing check did not read right, so
// that what it shows now can be judged; the first one counts with them.
func (r *run) look(ctx context.Context, s *Station, p procedures.Point, check PointResult) (PointResult, error) {
	all, err := s.Shot(ctx, p)
	if err != nil || !all.Judged() {
		check.Verdict = all.Verdict
		check.Readings = append(check.Readings, all.Readings...)
		return check, err
	}
	check.use(Counted, FirstLook)
	all.Readings = append(check.Readings, all.Readings...)
	symptom, bench := Reason(""), Reason("")
	if all.missing() > 0 {
		if symptom, bench, err = r.noCount(ctx, s.at, &all, true); err != nil {
			return all, err
		}
	}
	if err := r.evaluate(s.at, &all, symptom, bench); err != nil {
		return all, err
	}
	all.Finished = r.Clock.Now()
	return all, nil
}

// changed keeps points that passed on this path and, repeated, did not. proven
// tells that the signal arrives; where it does not, only readings that are
// numbers speak against the unit. res, if any, is the point that it was noticed
// at. Each point is noted once.
func (r *run) changed(ctx context.Context, at *place, gone []PointResult, why string, proven bool, res *PointResult) error {
	for _, again := range gone {
		if slices.ContainsFunc(r.result.Changes, func(c Change) bool { return c.Point == again.Point.ID && c.Path == at.path.Name }) {
			continue
		}
		c := Change{Input: at.input.Name, Path: at.path.Name, Point: again.Point.ID, Why: why, LaterAt: again.Finished, Later: again.Verdict, Symptom: again.Symptom}
		if again.missing() > 0 && !proven {
			c.Later = decision.Verdict{Word: decision.NotJudged, Reason: decision.PathNotProven}
		}
		for _, p := range r.result.Points {
			if p.Point.Path != at.path.Name || !p.Verdict.Good() {
				continue
			}
			c.Before, c.LastGoodAt = p.Point.ID, p.Finished
			if p.Point.ID == c.Point {
				c.Earlier, c.EarlierAt = p.Verdict, p.Finished
			}
		}
		if c.EarlierAt.IsZero() {
			continue // of another kind of measurement, which judges for itself
		}
		r.result.Changes = append(r.result.Changes, c)
		r.warn(ctx, c.String())
		r.happened(Notice{Event: procedures.PointFailed, Input: c.Input, Text: c.String()})
		if res != nil {
			res.Notes = append(res.Notes, fmt.Sprintf("taken after point %s had changed within the run", c.Point))
		}
		if err := r.noteChange(ctx, at, c); err != nil {
			return err
		}
	}
	return r.interrupt
}

// noteChange notes at each point that passed on a path that it did so before
// the unit changed.
func (r *run) noteChange(ctx context.Context, at *place, c Change) error {
	note := fmt.Sprintf("passed before the unit changed within the run: point %s is %s at %s", c.Point, c.Later, moment(c.LaterAt))
	for k, p := range r.result.Points {
		if p.Point.Path != at.path.Name || !p.Verdict.Good() {
			continue
		}
		p.Notes = append(slices.Clip(p.Notes), note)
		if err := r.replace(ctx, k, p); err != nil {
			return err
		}
	}
	return nil
}

// voidChanges takes back what was said of changes on a path whose points are
// void: the bench changed, not the unit.
func (r *run) voidChanges(from int, why decision.Reason) {
	for k := range r.result.Changes {
		c := &r.result.Changes[k]
		if slices.ContainsFunc(r.result.Points[from:], func(p PointResult) bool { return p.Point.ID == c.Point }) {
			c.Later, c.Symptom = decision.Verdict{Word: decision.NotJudged, Reason: why}, ""
		}
	}
}

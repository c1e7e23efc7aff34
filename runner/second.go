package runner

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures"
	"bandproof/procedures/decision"
)

// notRepeated begins the note on a point that no other source was found for.
const notRepeated = "not repeated with another source: "

// secondLooks repeats, once the last path of an input has been through, the
// points there that failed, or that their source was not good for, through
// another source: a fault of a source must not be booked on the unit. Each path
// is connected once at most; the one that is connected already comes first, then
// those that need no hand. coming are the stops still to be made.
func (r *run) secondLooks(ctx context.Context, done procedures.Stop, coming []procedures.Stop) error {
	path, _ := r.Bench.Path(done.Path)
	if slices.ContainsFunc(coming, func(s procedures.Stop) bool { p, _ := r.Bench.Path(s.Path); return p.Input == path.Input }) {
		return nil
	}
	s := second{r: r, input: path.Input, tried: map[string]bool{}, why: map[string]string{}}
	for {
		way := s.next()
		if way == "" {
			break
		}
		if err := s.take(ctx, way); err != nil {
			return err
		}
	}
	return s.giveUp(ctx)
}

// second is the second looks at one input.
type second struct {
	r     *run
	input string
	tried map[string]bool   // paths
	why   map[string]string // by point: why the last try came to nothing
}

// open lists the results that want a second look, by their index: those with
// ways that were not tried, or, where all is set, any.
func (s *second) open(all bool) (list []int) {
	for k, p := range s.r.result.Points {
		if p.Point.Input != s.input || p.Other != nil && p.Other.Judged() || !wantsSecond(p) {
			continue
		}
		if all || slices.ContainsFunc(p.Point.Also, func(w procedures.Way) bool { return s.may(p, w) }) {
			list = append(list, k)
		}
	}
	return list
}

// may tells whether a way can still be tried for a point.
func (s *second) may(p PointResult, w procedures.Way) bool {
	for other := p.Other; other != nil; other = other.Other {
		if other.Point.Path == w.Path {
			return false // by an earlier process
		}
	}
	return !s.tried[w.Path] && (w.HandsFree || p.Verdict.Reason != decision.NoOperator)
}

// wantsSecond tells whether another source could say more: the point failed, or
// this source could not show it. A point of which an earlier process has noted
// that none could is not tried again.
func wantsSecond(p PointResult) bool {
	if len(p.Point.Also) == 0 || slices.ContainsFunc(p.Notes, func(n string) bool { return strings.HasPrefix(n, notRepeated) }) {
		return false
	}
	switch p.Verdict.Reason {
	case decision.SourceNotLocked, decision.SourceReadBack, decision.SourceOffFrequency, decision.SourceReference, decision.LevelNotAsPlanned, decision.PathNotProven, decision.NoOperator:
		return true
	}
	return p.Verdict.Bad()
}

// next is the path to try now: connected, else without a hand, else any.
func (s *second) next() string {
	best, rank := "", -1
	for _, k := range s.open(false) {
		p := s.r.result.Points[k]
		for _, w := range p.Point.Also {
			n := 0
			switch {
			case !s.may(p, w):
				continue
			case w.Path == s.r.current:
				n = 2
			case w.HandsFree:
				n = 1
			}
			if n > rank {
				best, rank = w.Path, n
			}
		}
	}
	return best
}

// take connects a path and repeats through it all points that want it.
func (s *second) take(ctx context.Context, way string) error {
	r := s.r
	var list []int
	for _, k := range s.open(false) {
		p := r.result.Points[k]
		if w, ok := wayOf(p.Point, way); ok && s.may(p, w) {
			list = append(list, k)
		}
	}
	s.tried[way] = true
	path, _ := r.Bench.Path(way)
	r.event(ctx, fmt.Sprintf("input %s: %d points are repeated with source %s", s.input, len(list), path.Source))
	at, err := r.connectAgain(ctx, way)
	if err != nil {
		return s.unconnected(ctx, list, err)
	}
	at.asked, at.borrowed = true, true // nobody is asked to prove a path for a look that is extra
	for _, p := range r.result.Points {
		if w, ok := wayOf(p.Point, way); ok && p.Point.Input == s.input && p.Verdict.Good() {
			at.proofs = append(at.proofs, p.Point.By(w))
		}
	}
	before := map[int]PointResult{}
	for _, k := range list {
		before[k] = r.result.Points[k]
		w, _ := wayOf(before[k].Point, way)
		look, err := (&Station{r: r, at: at, task: procedures.Task{ID: before[k].Point.ID}}).Point(ctx, before[k].Point.By(w))
		if err != nil {
			return err
		}
		if err := s.put(ctx, k, before[k], look); err != nil {
			return err
		}
	}
	return s.leave(ctx, at, before)
}

func wayOf(p procedures.Point, path string) (procedures.Way, bool) {
	k := slices.IndexFunc(p.Also, func(w procedures.Way) bool { return w.Path == path })
	if k < 0 {
		return procedures.Way{}, false
	}
	return p.Also[k], true
}

// put keeps what a second look says together with the first. One that is not
// judged decides nothing: the next source may.
func (s *second) put(ctx context.Context, k int, first, look PointResult) error {
	both := together(first, look)
	if err := s.r.replace(ctx, k, both); err != nil {
		return err
	}
	s.r.event(ctx, fmt.Sprintf("point %s at %s: %s with source %s, %s with source %s; it stands as %s", first.Point.ID, first.Point.Frequency,
		first.Verdict, first.Point.Source, look.Verdict, look.Point.Source, both.Verdict))
	return s.r.interrupt
}

// together weighs two looks; what earlier ones have found stays with them.
func together(first, look PointResult) PointResult {
	earlier := first.Other
	first.Other = nil
	both := weigh(first, look)
	both.Other.Other = earlier
	return both
}

// leave makes sure that route and references were what they should be while the
// second looks were taken. Otherwise these are void: the first ones stand alone.
func (s *second) leave(ctx context.Context, at *place, before map[int]PointResult) error {
	r := s.r
	r.at, r.voided = nil, ""
	at.from, at.fromTask = len(r.result.Points), len(r.result.Outcomes) // no first look is void for it
	if err := r.checkRoute(ctx, at); err != nil {
		return err
	}
	if err := r.checkReferences(ctx, at, after); err != nil {
		return err
	}
	if r.voided == "" {
		return nil
	}
	why := r.voided
	for k, first := range before {
		both := r.result.Points[k]
		look := both.Other
		if both.Point.Source != first.Point.Source { // the second one stood
			swapped := both
			swapped.Other, swapped.Alone = nil, nil
			look = &swapped
		}
		void := *look
		void.Notes = append(slices.Clip(void.Notes), "was "+void.Verdict.String()+" before it was voided")
		void.Verdict, void.Conformity, void.Risks = decision.Verdict{Word: decision.NotJudged, Reason: why}, nil, nil
		if err := r.replace(ctx, k, together(first, void)); err != nil {
			return err
		}
	}
	return nil
}

// unconnected notes why a path could not be connected. What ends a run ends it
// here too.
func (s *second) unconnected(ctx context.Context, list []int, err error) error {
	r := s.r
	why := err.Error()
	switch n, ok := asNotRouted(err); {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(err, ErrNoOperator):
		why = "no operator"
	case errors.Is(err, ErrLeftOut):
		why = ErrLeftOut.Error()
	case ok:
		why = n.note
	case r.dead != nil || r.interrupt != nil || len(r.result.RFMayBeOn) > 0:
		return err
	}
	for _, k := range list {
		s.why[r.result.Points[k].Point.ID] = why
	}
	r.event(ctx, fmt.Sprintf("input %s: %d points are %s%s", s.input, len(list), notRepeated, why))
	return r.interrupt
}

// giveUp notes at the points that no other source said anything of why.
func (s *second) giveUp(ctx context.Context) error {
	for _, k := range s.open(true) {
		p := s.r.result.Points[k]
		if p.Other != nil {
			continue // it says so itself
		}
		why := s.why[p.Point.ID]
		if why == "" {
			why = string(decision.NoOperator) // each other way needs the one who was not there
		}
		p.Notes = append(slices.Clip(p.Notes), notRepeated+why)
		if err := s.r.replace(ctx, k, p); err != nil {
			return err
		}
	}
	return nil
}

// connectAgain connects a path whose input has been through already.
func (r *run) connectAgain(ctx context.Context, path string) (*place, error) {
	in, _ := r.Bench.Path(path)
	k := r.inputResult(in.Input)
	if k == nil {
		return r.connect(ctx, path)
	}
	check := k.ReferenceCheck
	at, err := r.connect(ctx, path)
	if err != nil {
		r.inputResult(in.Input).ReferenceCheck = check // what was found of the points that stand
	}
	return at, err
}

// replace journals a point again as it now stands; nothing that was read is
// lost by it.
func (r *run) replace(ctx context.Context, k int, p PointResult) error {
	if err := r.synced(); err != nil {
		return err
	}
	if err := r.stand(ctx); err != nil {
		return err
	}
	if err := r.Journal.Point(ctx, p); err != nil {
		return fmt.Errorf("%w: point %s: %w", ErrJournal, p.Point.ID, err)
	}
	r.result.Points[k] = p
	return r.interrupt
}

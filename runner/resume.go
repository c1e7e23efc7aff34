package runner

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// Session is a stretch of a run by one process.
type Session struct {
	Began   time.Time `json:"began"`
	Program string    `json:"program,omitempty"` // its version
	Ended   time.Time `json:"ended,omitzero"`    // of one that was cut off: its last journal entry
	How     string    `json:"how,omitempty"`     // "finished", "cut off", or why it ended early
}

// How a session ended that came to the end of the run, and one that could not
// say so itself.
const (
	finished = "finished"
	cutOff   = "cut off"
)

// CutOff is the session as it stands where it could not say how it ended.
func (s Session) CutOff(last time.Time) Session {
	s.Ended, s.How = last, cutOff
	return s
}

// PutOff is a point that is to be taken again later.
type PutOff struct {
	Result  PointResult `json:"result"` // what was read so far
	So      PointResult `json:"so"`     // how it stands if it is not taken again
	NoCount bool        `json:"no_count,omitempty"`
}

// Standing is how a run stands, besides what the journal has rows of its own for.
type Standing struct {
	Result Result   `json:"result"`          // without points, outcomes, events, entries and sessions
	Alive  []string `json:"alive,omitempty"` // sources of which a point passed
	At     *Place   `json:"at,omitempty"`    // nil: the references were asked for after the last point
}

// Place is the path whose points are being taken.
type Place struct {
	Path string `json:"path"`
	From int    `json:"from"` // how many points were final when the references were last asked for
	// FromTask is how many other measurements were.
	FromTask int `json:"from_task,omitempty"`
}

// Earlier is what the journal holds of a run that was interrupted.
type Earlier struct {
	Standing Standing      // as kept with the last point; zero before the first
	Points   []PointResult // final ones, in the order in which they were first kept
	PutOff   []PutOff      // not final yet
	Outcomes []Outcome
	Steps    map[string][]json.RawMessage // of tasks, by id
	Events   []Event
	Entries  []Entry
	Sessions []Session
	Last     time.Time // of the last entry
}

// takeUp lays what the journal holds under a run that is about to go on.
func (r *run) takeUp(e *Earlier) {
	was := e.Standing.Result
	if was.ID != "" {
		r.result = was
		r.result.Complete, r.result.Ended, r.result.Finished = false, "", time.Time{}
		// Instruments are asked anew and compared; what was accepted is accepted anew.
		r.result.Sources = maps.Clone(was.Sources)
		r.result.Overdue = slices.DeleteFunc(slices.Clone(was.Overdue), func(o Overdue) bool { return o.Lapsed.IsZero() })
		r.result.Inputs = slices.Clone(was.Inputs)
		for k := range r.result.Inputs {
			r.result.Inputs[k].Input, _ = r.Procedure.Input(was.Inputs[k].Input.Name)
		}
	}
	r.result.Events, r.result.Entries = slices.Clone(e.Events), slices.Clone(e.Entries)
	r.result.Points, r.left = nil, e.Standing.At
	for k, p := range e.Points {
		if p.Verdict.Reason == decision.LinkFailed { // the link may work now
			r.again(p)
			if r.left != nil && k < e.Standing.At.From {
				r.left = &Place{r.left.Path, r.left.From - 1, r.left.FromTask}
			}
			continue
		}
		r.result.Points = append(r.result.Points, p)
		delete(r.secondsTo, p.Point.ID)
	}
	r.result.Sessions, r.result.Outcomes, r.Steps = slices.Clone(e.Sessions), slices.Clone(e.Outcomes), e.Steps
	r.result.WarmUp, _ = r.keptWarmUp() // what can't be read is said when the warm-up goes on
	for _, o := range e.Outcomes {
		delete(r.secondsTo, o.Task.ID)
	}
	if len(r.result.Sessions) == 0 { // cut off before it could say that it began
		began := e.Last
		if began.IsZero() {
			began = r.started
		}
		r.result.Sessions = []Session{{Began: began, Ended: began, How: cutOff}}
		r.result.Started = began
	}
	if k := len(e.Sessions); k > 0 {
		r.result.Started = e.Sessions[0].Began
		if last := &r.result.Sessions[k-1]; last.Ended.IsZero() {
			*last = last.CutOff(e.Last)
		}
	}
	for _, p := range e.PutOff {
		r.begun[p.Result.Point.ID] = begun{p.Result, p.So, p.NoCount}
	}
	for _, name := range e.Standing.Alive {
		r.alive[name] = true
	}
	for name := range r.Sources {
		r.everSet[name] = true // by the process before this one
	}
}

// again puts a point that a link failed at to those that are taken later. What
// was read of it stays, and counts no more.
func (r *run) again(p PointResult) {
	res := p
	res.Readings, res.Notes = slices.Clone(p.Readings), append(slices.Clone(p.Notes), "a link failed; taken again after the run was resumed")
	res.use(Counted, Discarded)
	res.use(FirstLook, Discarded)
	res.Judgement = procedures.Judgement{Limit: p.Limit, LimitPPM: p.LimitPPM}
	r.begun[p.Point.ID] = begun{res: res, so: p}
}

// beginSession keeps that this process goes on with the run from here.
func (r *run) beginSession(ctx context.Context) error {
	now := r.Clock.Now()
	if r.Earlier == nil {
		now = r.started
	}
	s := Session{Began: now, Program: r.Program}
	r.result.Sessions = append(r.result.Sessions, s)
	if err := r.Journal.Session(ctx, s); err != nil {
		return fmt.Errorf("%w: %w", ErrJournal, err)
	}
	if r.Earlier == nil {
		return nil
	}
	before := r.result.Sessions[len(r.result.Sessions)-2]
	r.event(ctx, fmt.Sprintf("run resumed with %d of %d points taken; before that it was interrupted for %s (%s at %s)", len(r.result.Points), r.result.Planned,
		now.Sub(before.Ended).Round(time.Second), before.How, before.Ended.UTC().Format(time.RFC3339)))
	return r.interrupt
}

// endSession keeps how it ended. The record of a run that was not interrupted
// says nothing of sessions.
func (r *run) endSession(ctx context.Context) error {
	k := len(r.result.Sessions) - 1
	if k < 0 {
		return nil // it did not even begin
	}
	s := &r.result.Sessions[k]
	s.Ended, s.How = r.result.Finished, r.result.Ended
	if s.How == "" {
		s.How = finished
	}
	end := *s
	if k == 0 && r.result.Complete {
		r.result.Sessions = nil
	}
	if err := r.stand(ctx); err != nil {
		return err
	}
	if err := r.Journal.Session(ctx, end); err != nil {
		return fmt.Errorf("%w: %w", ErrJournal, err)
	}
	return nil
}

// stand tells the journal how the run stands; it is kept with the next point.
func (r *run) stand(ctx context.Context) error {
	if err := r.synced(); err != nil {
		return err
	}
	s := Standing{Result: r.result}
	s.Result.Points, s.Result.Outcomes, s.Result.Events, s.Result.Entries, s.Result.Sessions = nil, nil, nil, nil, nil
	s.Result.WarmUp = nil // made of its steps
	for name, yes := range r.alive {
		if yes {
			s.Alive = append(s.Alive, name)
		}
	}
	slices.Sort(s.Alive)
	if r.at != nil {
		s.At = &Place{r.at.path.Name, r.at.from, r.at.fromTask}
	}
	if err := r.Journal.Standing(ctx, s); err != nil {
		return fmt.Errorf("%w: %w", ErrJournal, err)
	}
	return nil
}

// sameBench compares who is there now with who was there before the run was
// interrupted. Another instrument can't go on with the record of this one.
func (r *run) sameBench(ctx context.Context) error {
	if r.Earlier == nil || r.Earlier.Standing.Result.ID == "" {
		return nil
	}
	was := r.Earlier.Standing.Result
	compare := func(what string, before, now drivers.Identity) error {
		if !before.Stated || !now.Stated {
			return nil
		}
		if before.Serial != now.Serial || before.Model != now.Model || before.Maker != now.Maker {
			return fmt.Errorf("%w: %s says it is %q, but the run began with %q; connect that one, or end the run with what there is (--finish)", ErrBench, what, now.Raw, before.Raw)
		}
		if before.Firmware == now.Firmware {
			return nil
		}
		return r.accept(ctx, fmt.Sprintf("%s says firmware %q, but when the run began it was %q", what, now.Firmware, before.Firmware))
	}
	if err := compare("the unit", was.Unit, r.result.Unit); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(was.Sources)) {
		if err := compare("source "+name, was.Sources[name], r.result.Sources[name]); err != nil {
			return err
		}
	}
	for _, name := range slices.Sorted(maps.Keys(was.Aids)) {
		if err := compare(name, was.Aids[name], r.result.Aids[name]); err != nil {
			return err
		}
	}
	return nil
}

// accept has a person decide whether the run goes on though something has
// changed since it began.
func (r *run) accept(ctx context.Context, what string) error {
	question := "since the run was interrupted something has changed: " + what + ". Go on all the same?"
	yes, err := r.Operator.Confirm(ctx, question)
	if err != nil {
		return fmt.Errorf("%w: %s, and nobody has said that the run may go on: %w", ErrBench, what, err)
	}
	r.entry(ctx, question, yesNo(yes))
	if !yes {
		return fmt.Errorf("%w: %s; put it back as it was, or end the run with what there is (--finish)", ErrBench, what)
	}
	r.warn(ctx, what+"; "+r.Operator.Name()+" went on")
	return r.interrupt
}

// changes has a person decide on each change that the caller has found.
func (r *run) changes(ctx context.Context) error {
	for _, what := range r.Changed {
		if err := r.accept(ctx, what); err != nil {
			return err
		}
	}
	return nil
}

// coolsWithin is how long a unit may have been off, while the run was
// interrupted, without anybody being asked.
const coolsWithin = time.Minute

// stillWarm works out how long the unit has been on when the run goes on. Where
// nothing tells whether it was on meanwhile a person is asked, and where nobody
// answers it is warmed up anew.
func (r *run) stillWarm(ctx context.Context) error {
	if r.Earlier == nil {
		return nil
	}
	k := len(r.result.Sessions) - 1
	now := r.Clock.Now()
	before := r.result.Sessions[k-1].Ended
	gap := now.Sub(before)
	on := r.OnFor.Add(lasting(now.Sub(r.result.Started)))
	switch {
	case r.OnNow != nil:
		r.OnFor = *r.OnNow
		return nil
	case r.Procedure.WarmUp.Sign() <= 0 && r.Plan.WarmUp == nil, 0 <= gap && gap <= coolsWithin:
		r.OnFor = on
		return nil
	}
	question := fmt.Sprintf("has the unit been on all the time since %s, when the run was interrupted?", before.Local().Format("2006-01-02 15:04"))
	yes, err := r.Operator.Confirm(ctx, question)
	if err != nil && !errors.Is(err, ErrNoOperator) {
		return err
	}
	switch {
	case err != nil:
		r.entry(ctx, question, "no operator")
	default:
		r.entry(ctx, question, yesNo(yes))
	}
	if r.OnFor = on; !yes {
		r.OnFor = quantity.Duration{}
		r.event(ctx, "the unit may have gone cold while the run was interrupted: it is warmed up anew")
	}
	return r.interrupt
}

// lasting turns a time of the clock into a quantity; below zero (a clock that was
// set back) into nothing.
func lasting(d time.Duration) quantity.Duration {
	return quantity.Of[quantity.Second](max(int64(d.Round(time.Second)/time.Second), 0), 0)
}

// stillThere asks for the references after the points that an interrupted
// process has left without; they are void where the answer is not what the
// bench file says.
func (r *run) stillThere(ctx context.Context) error {
	left := r.left
	if left == nil {
		return nil
	}
	path, ok := r.Bench.Path(left.Path)
	if !ok || left.From > len(r.result.Points) || left.FromTask > len(r.result.Outcomes) || r.inputResult(path.Input) == nil {
		return nil
	}
	input, _ := r.Procedure.Input(path.Input)
	spec, _ := r.Bench.Source(path.Source)
	at := &place{path: path, input: input, spec: spec, source: r.Sources[path.Source], from: left.From, fromTask: left.FromTask}
	in := r.inputResult(input.Name)
	in.ReferenceCheck = strings.TrimSuffix(strings.TrimSuffix(in.ReferenceCheck, onlyBefore(r.Plan.Topology[spec.Name].UnitReference)), "; ")
	at.earlier = in.ReferenceCheck
	if path.Switch != "" {
		proven, stands, err := r.routed(ctx, at)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrBench, err)
		}
		if !proven {
			r.warn(ctx, fmt.Sprintf("switch %s stands at %s after the interruption; where it stood after the last point of path %s is not known", path.Switch, positionName(stands), path.Name))
		}
	}
	return r.checkReferences(ctx, at, after)
}

// onlyBefore is what the record says of a unit's reference until it was asked
// for again after the points.
func onlyBefore(reference string) string {
	return "unit reports " + reference + " before; after: not asked"
}

// open gives what is still to be taken at a stop: points without a result or
// put off, and tasks without an outcome.
func (r *run) open(s procedures.Stop) procedures.Stop {
	s.Points = slices.DeleteFunc(slices.Clone(s.Points), func(p procedures.Point) bool {
		_, putOff := r.begun[p.ID]
		return !putOff && slices.ContainsFunc(r.result.Points, func(x PointResult) bool { return x.Point.ID == p.ID })
	})
	s.Tasks = slices.DeleteFunc(slices.Clone(s.Tasks), func(t procedures.Task) bool {
		return slices.ContainsFunc(r.result.Outcomes, func(o Outcome) bool { return o.Task.ID == t.ID })
	})
	return s
}

// putOffBefore parts the points that an earlier process has put off from those
// that were not taken yet.
func (r *run) putOffBefore(points []procedures.Point) (first, later []procedures.Point) {
	for _, p := range points {
		if _, ok := r.begun[p.ID]; ok {
			later = append(later, p)
		} else {
			first = append(first, p)
		}
	}
	return first, later
}

// recall brings back to a place what was found there before the run was
// interrupted: which points passed, what the unit did with RF off, which digits
// its replies have.
func (r *run) recall(at *place, stop procedures.Stop) {
	points := stop.Points
	for k := range r.result.Points {
		p := &r.result.Points[k]
		planned := slices.IndexFunc(points, func(x procedures.Point) bool { return x.ID == p.Point.ID })
		if planned < 0 {
			continue
		}
		at.recall(p)
		if p.Verdict.Good() {
			at.proofs = append(at.proofs, points[planned])
		}
	}
	for _, p := range points {
		if b, ok := r.begun[p.ID]; ok {
			at.recall(&b.res)
		}
	}
	for _, o := range r.result.Outcomes {
		if !slices.ContainsFunc(stop.Tasks, func(t procedures.Task) bool { return t.ID == o.Task.ID }) {
			continue
		}
		for k := range o.Shots {
			shot := &o.Shots[k]
			at.recall(shot)
			if shot.Verdict.Good() && len(at.proofs) == 0 {
				at.proofs = append(at.proofs, shot.Point)
			}
		}
	}
}

func (at *place) recall(p *PointResult) {
	at.look(p)
	for k := len(p.Readings) - 1; k >= 0; k-- {
		if x := p.Readings[k]; x.Use == RFOffLook {
			at.looked, at.held = true, p.Verdict.Reason == decision.HeldReading
			return
		}
	}
}

// Finished tells whether the run came to its end, and only its record is missing.
func (e *Earlier) Finished() bool {
	k := len(e.Sessions)
	return k > 0 && e.Sessions[k-1].How == finished
}

// Vain tells whether the run ended by itself before anything was taken, so that
// there is nothing to go on with.
func (e *Earlier) Vain() bool {
	k := len(e.Sessions)
	return k > 0 && !e.Sessions[k-1].Ended.IsZero() && len(e.Points)+len(e.PutOff)+len(e.Outcomes)+len(e.Steps) == 0
}

// Rebuild makes the result of a run that came to its end from the journal.
func Rebuild(s Setup) Result {
	r := newRun(s)
	r.result.Complete = true
	r.settle()
	r.result.Finished = r.result.Sessions[len(r.result.Sessions)-1].Ended
	if len(r.result.Sessions) == 1 {
		r.result.Sessions = nil
	}
	return r.result
}

// Finish makes the result of a run that is not gone on with: what the journal
// holds, as it stands. by names who decided so; RF may still be on at the sources named.
func Finish(ctx context.Context, s Setup, by string, mayBeOn []string) (Result, error) {
	r := newRun(s)
	r.result.RFMayBeOn = mayBeOn
	r.event(ctx, "run ended with what there is, by "+by)
	r.result.Ended = "ended with what there is, by " + by
	r.settle()
	return r.result, r.interrupt
}

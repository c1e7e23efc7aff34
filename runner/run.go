package runner

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// Setup is all that a run needs; every field but Watcher, Log, Aids, Overdue and
// those of an interrupted run is required.
type Setup struct {
	ID        string
	Kind      Kind
	Procedure *procedures.Procedure
	Bench     *procedures.Bench
	Plan      *procedures.Plan
	Counter   drivers.Counter
	Sources   map[string]drivers.Source // by name in the bench file
	Aids                                // what else stands on the bench; each may be absent
	Interlock *Interlock                // the same that the sources ask
	Clock     drivers.Clock
	Journal   Journal
	Operator  Operator
	Watcher   Watcher
	Log       *slog.Logger
	// Kinds take the plan's tasks; Steps are those that an interrupted run has
	// kept of them, by task.
	Kinds []MeasureKind
	Steps map[string][]json.RawMessage
	// Serial number of the unit as the job states it; "" where it does not.
	Serial string
	// OnFor is how long the unit had been on when the run is called.
	OnFor quantity.Duration
	// Overdue are the standards past their due date that somebody has accepted.
	Overdue []Overdue
	// ReplyAgrees: the unit's replies show the digits of its display (profile).
	ReplyAgrees bool
	// Program is the version of the program, for the journal.
	Program string
	// Earlier is what the journal holds of the run, where it was interrupted;
	// nil for one that begins. Changed says in words what else is not as it was.
	Earlier *Earlier
	Changed []string
	// OnNow is how long the unit has been on when an interrupted run goes on, if stated.
	OnNow *quantity.Duration
}

// run is one sweep under way.
type run struct {
	Setup
	absence
	result  Result
	started time.Time

	current   string // path that is connected
	gate      quantity.Duration
	gateAsked quantity.Duration
	lastSet   map[string]setting // by source
	everSet   map[string]bool    // sources whose RF this run may have switched on
	linkFails int                // points in a row that a link failed at
	distrust  bool               // the conversation with the unit was found out of step
	endanger  error              // a level at an input that came too near to its damage level
	dead      error              // why a link could not even be cleared; nil: it could
	secondsTo map[string]float64 // remaining, by point id
	begun     map[string]begun   // points that were put off, by id
	at        *place             // connected now; nil between groups
	moment    instant            // of the last reading
	left      *Place             // where an interrupted process left off
	leaving   bool               // on the way out: nothing is waited for any more
	taking    int                // a point is being taken, which a link that comes back has it begin anew
	interrupt error
	pending   *pending         // the last point, if its journal write may still be under way
	alive     map[string]bool  // sources of which a point passed in this run, and has not failed to since
	deaf      map[string]bool  // thermometers that do not answer
	voided    Reason           // why points were voided last
	inDate    []procedures.Due // standards whose due date had not passed yet
}

// setting is what a source was last told.
type setting struct {
	frequency quantity.Frequency
	level     quantity.Level
	on        bool
}

// linkOffWithin bounds the switching off of RF on the way out.
const linkOffWithin = 10 * time.Second

// rfOffWithin is that bound, longer where a person has to do it.
func (r *run) rfOffWithin() time.Duration {
	within := linkOffWithin
	for _, s := range r.Sources {
		if p, ok := s.(drivers.ByHand); ok {
			within = max(within, p.Patience())
		}
	}
	return within
}

// offAtLast switches RF off where a fault of the program unwinds the run: all
// else takes the way out that is marked as leaving.
func (r *run) offAtLast() {
	if r.leaving {
		return
	}
	off, cancel := context.WithTimeout(context.Background(), linkOffWithin)
	defer cancel()
	var all sync.WaitGroup
	for _, s := range r.Sources {
		all.Go(func() {
			if err := s.RFOff(off); err != nil {
				r.Log.Error("RF may be on, switch it off by hand", "source", s.Name(), "error", err)
			}
		})
	}
	all.Wait()
}

// newRun is a run before its first contact with the bench.
func newRun(s Setup) *run {
	if s.Log == nil {
		s.Log = slog.New(slog.DiscardHandler)
	}
	if s.Watcher == nil {
		s.Watcher = silent{}
	}
	r := &run{Setup: s, started: s.Clock.Now(), lastSet: map[string]setting{}, everSet: map[string]bool{}, secondsTo: map[string]float64{}, begun: map[string]begun{},
		alive: map[string]bool{}, deaf: map[string]bool{}}
	r.result = Result{ID: s.ID, Kind: s.Kind, Started: r.started, Sources: map[string]drivers.Identity{}, Topology: s.Plan.Topology,
		Rule: s.Plan.Rule, Timebase: s.Plan.TimebaseHow, Planned: len(s.Plan.Points), PlannedTasks: len(s.Plan.Tasks), Warnings: s.Plan.Warnings, Only: s.Plan.Only}
	for _, p := range s.Plan.Points {
		r.secondsTo[p.ID] = p.Seconds
	}
	for _, t := range s.Plan.Tasks {
		r.secondsTo[t.ID] = t.Seconds
	}
	if s.Earlier != nil {
		r.takeUp(s.Earlier)
	}
	return r
}

// Run takes every point of the plan. It returns what there is also when it
// ends early: Complete is then false and Ended says why. The error is nil
// unless the bench or the journal failed (ErrBench, ErrJournal); cancelling the
// context ends the run without an error. RF is off at every source when it
// returns, or an event says which source could not be reached.
func Run(ctx context.Context, s Setup) (Result, error) {
	r := newRun(s)
	ctx, done := r.attend(ctx)
	defer done()
	defer r.offAtLast()
	err := r.all(ctx)
	r.leaving = true
	if e := r.synced(); e != nil && err == nil {
		err = e
	}
	if ctx.Err() != nil {
		r.Watcher.Says("ending the run: switching RF off")
	}
	// What follows must still be possible when the context was cancelled, and
	// what is kept must not wait for links that do not answer.
	keep := context.WithoutCancel(ctx)
	off, cancel := context.WithTimeout(keep, r.rfOffWithin())
	defer cancel()
	_ = r.rfOffAll(off) // what failed is in RFMayBeOn and a warning in the record
	r.leave(off)
	r.ambient(off, "end")
	r.Interlock.disarm()
	r.finish(keep, ctx, err)
	if e := r.endSession(keep); e != nil && err == nil {
		err = e
	}
	r.tellEnd(err)
	if err != nil && ctx.Err() != nil && errors.Is(err, ctx.Err()) {
		err = nil
	}
	return r.result, err
}

// all is the run from the first contact to the last point.
func (r *run) all(ctx context.Context) error {
	// Where only the person is missing, each point says so.
	if err := r.rfOffAll(ctx); err != nil && !errors.Is(err, ErrNoOperator) {
		return fmt.Errorf("%w: before anything else, RF could not be switched off: %w", ErrBench, err)
	}
	if err := r.beginSession(ctx); err != nil {
		return err
	}
	if err := r.changes(ctx); err != nil {
		return err
	}
	if err := r.due(ctx); err != nil {
		return err
	}
	if err := r.identify(ctx); err != nil {
		return err
	}
	if err := r.sameBench(ctx); err != nil {
		return err
	}
	if err := r.prepareAids(ctx); err != nil {
		return err
	}
	r.ambient(ctx, "start")
	if err := r.stillThere(ctx); err != nil {
		return err
	}
	if err := r.stillWarm(ctx); err != nil {
		return err
	}
	if err := r.warmUp(ctx); err != nil {
		return err
	}
	if len(r.result.Points) > 0 {
		r.result.OnFor = r.Earlier.Standing.Result.OnFor // at the first point
	}
	if err := r.stops(ctx, r.Plan.Stops()); err != nil {
		return err
	}
	return r.suspects(ctx)
}

// identify asks every instrument who it is and compares with what the files
// say: a source that is another one than its certificate belongs to ends the
// run; a unit that differs from the job is for a person to decide.
func (r *run) identify(ctx context.Context) error {
	for _, name := range slices.Sorted(maps.Keys(r.Sources)) {
		s := r.Sources[name]
		id, err := s.Identify(ctx)
		if err != nil {
			return fmt.Errorf("%w: source %s does not say who it is: %w", ErrBench, name, err)
		}
		r.result.Sources[name] = id
		spec, _ := r.Bench.Source(name)
		if what := differs(id, spec.Model, spec.Serial); what != "" {
			return fmt.Errorf("%w: source %s at %s: %s in the bench file; are two addresses swapped?", ErrBench, name, s.Address(), what)
		}
	}
	if err := r.identifyAids(ctx); err != nil {
		return err
	}
	id, err := r.Counter.Identify(ctx)
	if err != nil {
		return fmt.Errorf("%w: the unit does not say who it is: %w", ErrBench, err)
	}
	r.result.Unit = id
	what := differs(id, r.Procedure.Unit.Model, r.Serial)
	if what == "" {
		return nil
	}
	question := "the unit says it is " + what + " in procedure and job. Go on with it all the same?"
	yes, err := r.Operator.Confirm(ctx, question)
	if err != nil && !errors.Is(err, ErrNoOperator) {
		return err
	}
	r.entry(ctx, question, yesNo(yes))
	if !yes {
		return fmt.Errorf("%w: the unit says it is %s in procedure and job; mend what is wrong", ErrBench, what)
	}
	r.warn(ctx, "the unit says it is "+what+" in procedure and job; "+r.Operator.Name()+" went on")
	return nil
}

// differs says in words where an identity is not the expected model or serial
// number; "" where nothing speaks against it.
func differs(id drivers.Identity, model, serial string) string {
	if !id.Stated {
		return ""
	}
	var list []string
	if model != "" && id.Model != "" && id.Model != model {
		list = append(list, fmt.Sprintf("model %q, but %q", id.Model, model))
	}
	if serial != "" && id.Serial != "" && id.Serial != "0" && id.Serial != serial {
		list = append(list, fmt.Sprintf("serial number %q, but %q", id.Serial, serial))
	}
	return strings.Join(list, ", and ")
}

// rfOffAll switches RF off at every source, all at once, and returns the first
// failure by name, that of a link before that of a missing person; RFMayBeOn
// then lists those that failed. A source that a person would have to set, and
// that nobody was asked to switch on, is no such failure but a warning.
func (r *run) rfOffAll(ctx context.Context) error {
	names := slices.Sorted(maps.Keys(r.Sources))
	errs := make([]error, len(names))
	var all sync.WaitGroup
	for k, name := range names {
		all.Go(func() { errs[k] = r.Sources[name].RFOff(ctx) })
	}
	all.Wait()
	r.result.RFMayBeOn = nil
	var first, nobody error
	for k, name := range names {
		switch {
		case errs[k] == nil:
		case errors.Is(errs[k], ErrNoOperator) && !r.everSet[name]:
			nobody = cmp.Or(nobody, errs[k])
			r.warnOnce(context.WithoutCancel(ctx), fmt.Sprintf("nobody has confirmed that RF of source %s is off; this run did not switch it on: %v", name, errs[k]))
			continue
		default:
			r.result.RFMayBeOn = append(r.result.RFMayBeOn, name)
			r.warn(context.WithoutCancel(ctx), fmt.Sprintf("RF of source %s could not be switched off, do it by hand: %v", name, errs[k]))
			if errors.Is(errs[k], ErrNoOperator) {
				nobody = cmp.Or(nobody, errs[k])
			} else {
				first = cmp.Or(first, errs[k])
			}
			continue
		}
		set := r.lastSet[name]
		set.on = false
		r.lastSet[name] = set
	}
	return cmp.Or(first, nobody)
}

// finish fills in what follows from the points. keep may outlive ctx.
func (r *run) finish(keep, ctx context.Context, err error) {
	res := &r.result
	res.Complete = err == nil && len(res.Points) == res.Planned && len(res.Outcomes) == res.PlannedTasks && len(r.begun) == 0
	switch {
	case err == nil && res.Complete:
	case ctx.Err() != nil:
		res.Ended = endedBy(ctx)
	case err != nil:
		res.Ended = err.Error()
	default:
		res.Ended = "not all planned points were taken"
	}
	if res.Ended != "" {
		r.event(keep, "run ended: "+res.Ended)
	}
	r.settle()
}

// settle makes of the points what follows from them.
func (r *run) settle() {
	res := &r.result
	for _, p := range r.Plan.Points {
		if b, ok := r.begun[p.ID]; ok {
			b.so.Notes = append(b.so.Notes, "put off; the run ended before it was taken again")
			res.Points = append(res.Points, b.so)
		}
	}
	res.Finished = r.Clock.Now()
	r.completeInputs()
	res.Statement, res.Symptom = state(res)
	if res.Statement == NotObtainable {
		r.markUnobtainable()
		r.completeInputs() // nothing was shown
	}
}

// completeInputs computes the coverage of each input from its judged points.
func (r *run) completeInputs() {
	for _, planned := range r.Plan.Inputs {
		k := r.inputResult(planned.Input)
		if k == nil {
			i, _ := r.Procedure.Input(planned.Input)
			r.result.Inputs = append(r.result.Inputs, InputResult{Input: i})
			k = &r.result.Inputs[len(r.result.Inputs)-1]
		}
		k.NotShown = planned.NotShown
		var shown []quantity.Frequency
		for _, p := range r.result.Points {
			if p.Point.Input == planned.Input && p.Judged() && p.Verdict.Reason != decision.NotObtainable {
				shown = append(shown, p.Point.Frequency)
			}
		}
		k.Coverage = k.Input.Coverage(shown)
	}
}

func (r *run) inputResult(name string) *InputResult {
	for k := range r.result.Inputs {
		if r.result.Inputs[k].Input.Name == name {
			return &r.result.Inputs[k]
		}
	}
	return nil
}

func (r *run) event(ctx context.Context, text string) {
	r.inOrder()
	e := Event{r.Clock.Now(), text}
	r.result.Events = append(r.result.Events, e)
	r.Watcher.Says(text)
	r.Log.Info(text)
	if err := r.Journal.Event(ctx, e); err != nil && r.interrupt == nil {
		r.interrupt = fmt.Errorf("%w: %w", ErrJournal, err)
	}
}

// warnOnce warns where the very same was not said before.
func (r *run) warnOnce(ctx context.Context, text string) {
	if !slices.Contains(r.result.Warnings, text) {
		r.warn(ctx, text)
	}
}

func (r *run) warn(ctx context.Context, text string) {
	r.result.Warnings = append(r.result.Warnings, text)
	r.event(ctx, "warning: "+text)
}

func (r *run) entry(ctx context.Context, asked, answer string) {
	if k := len(r.result.Entries) - 1; answer == "no operator" && k >= 0 && r.result.Entries[k].Asked == asked && r.result.Entries[k].Who == nobodyThere {
		return // the time-out stands there already
	}
	r.keepEntry(ctx, Entry{At: r.Clock.Now(), AskedAt: r.askedAt(asked), Asked: asked, Answer: answer, Who: r.Operator.Name()})
}

func (r *run) keepEntry(ctx context.Context, e Entry) {
	r.inOrder()
	r.result.Entries = append(r.result.Entries, e)
	if err := r.Journal.Entry(ctx, e); err != nil && r.interrupt == nil {
		r.interrupt = fmt.Errorf("%w: %w", ErrJournal, err)
	}
}

// seconds converts for a clock; what is longer than a clock can say is as long
// as it can.
func seconds(d quantity.Duration) time.Duration {
	return time.Duration(math.Min(d.Float()*float64(time.Second), math.MaxInt64/2))
}

// silent is a Watcher that does nothing.
type silent struct{}

func (silent) Progress(int, int, time.Duration, PointResult) {}
func (silent) Measured(Outcome)                              {}
func (silent) Says(string)                                   {}

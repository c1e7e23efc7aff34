package runner

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// place is where a group of points is taken: one path from a source to an input.
type place struct {
	path   procedures.Path
	input  procedures.Input
	spec   procedures.Source
	source drivers.Source
	// proofs are points that passed here, to be repeated before a "no count"
	// elsewhere is believed.
	proofs   []procedures.Point
	borrowed bool // they passed on another path
	held     bool // the unit keeps showing a frequency without a signal
	looked   bool // the held check was done
	search   bool // a failure is no verdict yet: a search is under way
	from     int  // index of the first result since the reference was last checked
	fromTask int  // and of the first outcome
	asked    bool // a person was asked to prove the path
	byHand   bool // and saw the signal arrive
	seen     string

	earlier string // what was said of the references on earlier paths of this input
	// finest digit of the replies here, and whether one ended in a zero, so that
	// zeros are not suppressed.
	finest map[window]quantity.Exact
	zeros  bool
}

// outcome of taking a point once.
type outcome int

const (
	taken    outcome = iota // the result is final
	deferred                // put off to the end of the group
	nobody                  // final, and the person that the group needs is not there
)

// stop connects one path and takes its points, those that the source was not
// good for, or whose path is not proven yet, once more at the end, and then its
// tasks.
func (r *run) stop(ctx context.Context, s procedures.Stop) error {
	whole := s
	if s = r.open(s); len(s.Points)+len(s.Tasks) == 0 {
		if _, closes := r.closing(s.Path, whole.Points); !closes {
			return nil
		}
	}
	if s.Path == "" {
		return r.tasks(ctx, nil, s.Tasks)
	}
	at, err := r.connect(ctx, s.Path)
	if err != nil {
		why, note := Reason(""), err.Error()
		switch n, ok := asNotRouted(err); {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, ErrNoOperator) && r.mayComeBack():
			return errLater
		case errors.Is(err, ErrNoOperator):
			why = decision.NoOperator
		case errors.Is(err, ErrLeftOut):
			why = decision.LeftOut
		case ok:
			why, note = n.why, n.note
		default:
			return err
		}
		r.tellGivenUp(s, note)
		if err := r.giveUp(ctx, s.Points, why, note); err != nil {
			return err
		}
		return r.giveUpTasks(ctx, s.Tasks, why, note)
	}
	r.recall(at, whole)
	gone, err := r.points(ctx, at, s.Points)
	if err != nil {
		return err
	}
	if gone && r.mayComeBack() {
		return errLater
	}
	if gone {
		r.tellGivenUp(s, "nobody answered at an earlier point of this path")
		err = r.giveUpTasks(ctx, s.Tasks, decision.NoOperator, "nobody answered at an earlier point of this path")
	} else {
		err = r.tasks(ctx, at, s.Tasks)
	}
	if err != nil {
		return err
	}
	if gone {
		r.at = nil
		return nil
	}
	err = r.closes(ctx, at, whole.Points)
	r.at = nil
	if err != nil {
		return err
	}
	if err := r.checkRoute(ctx, at); err != nil {
		return err
	}
	return r.checkReferences(ctx, at, after)
}

// points takes the points of a stop; gone tells that the person whom the path
// needs is not there.
func (r *run) points(ctx context.Context, at *place, points []procedures.Point) (gone bool, err error) {
	points, later := r.putOffBefore(points)
	for k, p := range points {
		o, err := r.point(ctx, at, p, false)
		if err != nil {
			return false, err
		}
		switch o {
		case deferred:
			later = append(later, p)
		case nobody:
			return true, r.nobodyLeft(ctx, append(slices.Clone(points[k+1:]), later...))
		}
	}
	if gone, err = r.later(ctx, at, later); err == nil {
		err = r.synced()
	}
	return gone, err
}

// nobodyLeft gives up what is left of a group whose instruments a person has to
// set or read, when nobody does.
func (r *run) nobodyLeft(ctx context.Context, points []procedures.Point) error {
	if r.mayComeBack() {
		return nil // they stay open
	}
	return r.giveUp(ctx, points, decision.NoOperator, "nobody answered at an earlier point of this path")
}

// giveUp books points that could not be tried, or not be tried again.
func (r *run) giveUp(ctx context.Context, points []procedures.Point, why decision.Reason, note string) error {
	for _, p := range points {
		res := r.newPoint(p)
		if was, ok := r.begun[p.ID]; ok {
			res = was.so
			delete(r.begun, p.ID)
		}
		res.Notes, res.Verdict = append(slices.Clip(res.Notes), note), decision.Verdict{Word: decision.NotJudged, Reason: why}
		if err := r.keep(ctx, res); err != nil {
			return err
		}
	}
	return nil
}

// connect switches RF off, has the cable moved or the path routed, and selects
// the input.
func (r *run) connect(ctx context.Context, name string) (*place, error) {
	path, _ := r.Bench.Path(name)
	input, _ := r.Procedure.Input(path.Input)
	spec, _ := r.Bench.Source(path.Source)
	at := &place{path: path, input: input, spec: spec, source: r.Sources[path.Source], from: len(r.result.Points), fromTask: len(r.result.Outcomes)}
	if at.source == nil {
		return nil, fmt.Errorf("%w: source %s of path %s is not open", ErrBench, path.Source, name)
	}
	r.Interlock.disarm()
	if err := r.rfOffAll(ctx); err != nil {
		return nil, fmt.Errorf("%w: RF must be off before a cable is moved: %w", ErrBench, err)
	}
	if path.Switch != "" {
		if err := r.route(ctx, path); err != nil {
			return nil, err
		}
	} else if !path.Fixed && r.current != path.Name {
		m := move(path, input)
		if err := r.Operator.Move(ctx, m); err != nil {
			return nil, err
		}
		r.entry(ctx, m.String(), "done")
	}
	r.current = path.Name
	if r.inputResult(input.Name) == nil {
		r.result.Inputs = append(r.result.Inputs, InputResult{Input: input})
	}
	if err := r.retryLink(ctx, r.Counter, func() error { return r.Counter.SelectInput(ctx, input.Selector()) }); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrBench, err)
	}
	r.ambient(ctx, "input "+input.Name)
	r.gateAsked = quantity.Duration{} // the gate may belong to the input
	at.earlier = r.inputResult(input.Name).ReferenceCheck
	if err := r.checkReferences(ctx, at, before); err != nil {
		return nil, err
	}
	r.at = at
	return at, nil
}

func move(p procedures.Path, i procedures.Input) Move {
	m := Move{Source: p.Source, Input: i.Name, Connector: i.Connector, Path: p.Name,
		Caution: fmt.Sprintf("input %s is destroyed at %s; RF is off now", i.Name, i.Damage)}
	for _, part := range p.Parts {
		m.Parts = append(m.Parts, part.Name)
	}
	if p.Termination {
		m.Parts = append(m.Parts, "50 Ω feed-through termination at the input")
	}
	return m
}

// String writes the move as one line.
func (m Move) String() string {
	text := fmt.Sprintf("connect source %s to input %s (%s)", m.Source, m.Input, m.Connector)
	for k, part := range m.Parts {
		if k == 0 {
			text += " through "
		} else {
			text += ", "
		}
		text += part
	}
	return text
}

const (
	before = "before"
	after  = "after"
)

// checkReferences asks unit and source which reference they run from, where
// they can tell. Where an answer is not what the bench file says, the run can't
// go on with an input; after its points, those since the last check are void.
func (r *run) checkReferences(ctx context.Context, at *place, when string) error {
	if err := r.unitReference(ctx, at, when); err != nil {
		return err
	}
	if when == after {
		// Its readings were within what is allowed all the same: no point is void.
		what, err := r.monitorReference(ctx)
		if err != nil {
			return err
		}
		if what != "" {
			r.warn(ctx, what)
		}
	}
	want := "external"
	if at.spec.Reference == "own" {
		want = "own"
	}
	got, told, err := r.tellReference(ctx, at.source)
	switch {
	case err != nil:
		return err
	case !told || got == want:
		return nil
	}
	what := fmt.Sprintf("source %s reports that it runs from its %s reference %s the points of input %s, the bench file says %s (%s)", at.spec.Name, got, when, at.input.Name, at.spec.Reference, want)
	if when == before {
		return fmt.Errorf("%w: %s; connect it or mend the bench file", ErrBench, what)
	}
	r.warn(ctx, what+"; these points are void")
	return r.void(ctx, at, decision.SourceReference)
}

// tellReference asks an instrument for its reference; told is false where it
// has no way to tell.
func (r *run) tellReference(ctx context.Context, who drivers.Instrument) (got string, told bool, err error) {
	reporter, ok := who.(drivers.ReferenceReporter)
	if !ok {
		return "", false, nil
	}
	err = r.retryLink(ctx, who, func() (err error) { got, err = reporter.Reference(ctx); return err })
	if err != nil {
		return "", true, fmt.Errorf("%w: %w (an instrument that can't tell which reference it uses needs a profile without [reference])", ErrBench, err)
	}
	return got, true, nil
}

func (r *run) unitReference(ctx context.Context, at *place, when string) error {
	want := r.Plan.Topology[at.spec.Name].UnitReference
	in := r.inputResult(at.input.Name)
	got, told, err := r.tellReference(ctx, r.Counter)
	switch {
	case err != nil:
		return err
	case !told:
		return r.confirmReference(ctx, at, in, want)
	case got == want && when == before:
		in.ReferenceCheck = at.says(onlyBefore(got))
		return nil
	case got == want:
		in.ReferenceCheck = at.says("unit reports " + got + " before and after")
		return nil
	}
	in.ReferenceCheck = at.says(fmt.Sprintf("unit reports %s %s the points, the bench file says %s", got, when, want))
	if when == before {
		return fmt.Errorf("%w: the unit reports that it runs from its %s reference, the bench file says %s; connect it or mend the bench file", ErrBench, got, want)
	}
	r.warn(ctx, fmt.Sprintf("input %s: %s; %s", at.input.Name, in.ReferenceCheck, r.areVoid(at)))
	return r.void(ctx, at, decision.ReferenceChanged)
}

// says joins what is found on this path to what was found on earlier ones.
func (at *place) says(text string) string {
	if at.earlier == "" || at.earlier == text {
		return text
	}
	return at.earlier + "; " + text
}

// leave asks for the references once more where the run ended within a group;
// what can't be asked any more is said to be so in the record.
func (r *run) leave(ctx context.Context) {
	if r.at == nil {
		return
	}
	at := r.at
	r.at = nil
	if err := r.checkRoute(ctx, at); err != nil {
		r.event(ctx, fmt.Sprintf("input %s: the switch could not be asked at the end: %v", at.input.Name, err))
	}
	if err := r.checkReferences(ctx, at, after); err != nil {
		r.event(ctx, fmt.Sprintf("input %s: the references could not be asked for at the end: %v", at.input.Name, err))
	}
}

// confirmReference has a person look where the unit can't tell: once for each
// input, before its points.
func (r *run) confirmReference(ctx context.Context, at *place, in *InputResult, want string) error {
	if in.ReferenceCheck != "" {
		return nil
	}
	question := fmt.Sprintf("input %s: the unit can't tell which reference it runs from; the bench file says %s. Do its connections and its lamp say so too?", at.input.Name, r.Bench.Counter.Reference)
	yes, err := r.Operator.Confirm(ctx, question)
	switch {
	case errors.Is(err, ErrNoOperator):
		in.ReferenceCheck = "stated, not verified; nobody looked"
		r.entry(ctx, question, "no operator")
		return nil
	case err != nil:
		return err
	}
	r.entry(ctx, question, yesNo(yes))
	if !yes {
		return fmt.Errorf("%w: the unit does not run from what the bench file says (%s, %s reference); connect it or mend the bench file", ErrBench, r.Bench.Counter.Reference, want)
	}
	in.ReferenceCheck = "stated, not verified; connections and lamp confirmed by " + r.Operator.Name()
	return nil
}

func yesNo(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

// standards names what a point's result rests on: its source, what that runs
// from, and what the unit runs from, also where that is another source's output.
func (r *run) standards(p procedures.Point) []string {
	names := []string{p.Source}
	add := func(name string) {
		_, reference := r.Bench.Reference(name)
		_, source := r.Bench.Source(name)
		if (reference || source) && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	for _, name := range []string{p.Source, r.Bench.Counter.Reference} {
		add(name)
		if s, ok := r.Bench.Source(name); ok {
			add(s.Reference)
		}
	}
	if path, _ := r.Bench.Path(p.Path); p.Metered && path.Meter != nil {
		names = append(names, path.Meter.Name)
	}
	if m := r.Bench.Monitor; m != nil && p.Watched {
		names = append(names, procedures.MonitorName)
		add(m.Reference)
	}
	return names
}

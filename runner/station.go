package runner

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// MeasureKind takes measurements of one kind. Each is a package below this one with
// the same four things: its procedure keys (procedures.MeasureKind), its points
// (Keys.Plan), its step (Take) and its judgement.
type MeasureKind interface {
	procedures.MeasureKind
	// Take takes one task at the bench and judges what it found. An error ends
	// the run: the context, the journal, an input in danger. What the bench
	// could not show is a row that is not judged. A task that was cut off is
	// taken anew; one that is long keeps its steps with Station.Keep.
	Take(ctx context.Context, s *Station, t procedures.Task) (Outcome, error)
}

// Station is what a kind of measurement may do at the bench while it takes one
// task. Where the task has a path it is connected and its input selected, and
// each level goes through the interlock. Every reading that its methods take is
// kept in the outcome's shots by the caller.
type Station struct {
	r    *run
	at   *place // nil where the task needs no path
	task procedures.Task
	kept []json.RawMessage
}

// Procedure, Bench and Plan are those of the run.
func (s *Station) Procedure() *procedures.Procedure { return s.r.Procedure }
func (s *Station) Bench() *procedures.Bench         { return s.r.Bench }
func (s *Station) Plan() *procedures.Plan           { return s.r.Plan }

// RunKind tells whether the run is as-found, as-left or between.
func (s *Station) RunKind() Kind { return s.r.Kind }

// Input is the input that the task is taken at, as the procedure has it.
func (s *Station) Input() procedures.Input {
	i, _ := s.r.Procedure.Input(s.task.Input)
	return i
}

// Counter is the unit, for what only some units can (drivers.SelfTester, …).
func (s *Station) Counter() drivers.Counter { return s.r.Counter }

// ReplyAgrees tells whether the unit's replies show the digits of its display.
func (s *Station) ReplyAgrees() bool { return s.r.ReplyAgrees }

// Operator is the person at the bench; what was asked and answered is to be
// kept with Entry.
func (s *Station) Operator() Operator { return s.r.Operator }

// Points are what the band sweep has found so far in this run, Outcomes what
// other measurements have.
func (s *Station) Points() []PointResult { return s.r.result.Points }
func (s *Station) Outcomes() []Outcome   { return s.r.result.Outcomes }

// WarmUp is how the unit warmed up in this run; nil where that was not watched.
func (s *Station) WarmUp() *WarmUp { return s.r.result.WarmUp }

// OnAtStart is how long the unit had been on when the run was called.
func (s *Station) OnAtStart() quantity.Duration { return s.r.OnFor }

// AtFrequency and AtLevel give a point as it would be at another frequency, or
// at another level at the input; the error says why that can't be had.
func (s *Station) AtFrequency(p procedures.Point, f quantity.Frequency) (procedures.Point, error) {
	return s.r.Plan.AtFrequency(s.r.Procedure, s.r.Bench, p, f)
}
func (s *Station) AtLevel(p procedures.Point, level quantity.Level) (procedures.Point, error) {
	return s.r.Bench.AtLevel(s.r.Procedure.Unit, s.Input(), p, level)
}

// Now and Wait are the run's clock.
func (s *Station) Now() time.Time { return s.r.Clock.Now() }
func (s *Station) Wait(ctx context.Context, d quantity.Duration) error {
	return s.r.Clock.Sleep(ctx, seconds(d))
}

// Event, Warn and Entry go to journal and record.
func (s *Station) Event(ctx context.Context, text string)          { s.r.event(ctx, text) }
func (s *Station) Warn(ctx context.Context, text string)           { s.r.warn(ctx, text) }
func (s *Station) Entry(ctx context.Context, asked, answer string) { s.r.entry(ctx, asked, answer) }

// RFOff switches the source of the path off.
func (s *Station) RFOff(ctx context.Context) error {
	if s.at == nil {
		return nil
	}
	return s.r.quiet(ctx, s.at)
}

// Point takes a point as the band sweep does, but puts nothing off: source
// shown good, readings anew where they scatter, held check, path proof before a
// "no count" is believed.
func (s *Station) Point(ctx context.Context, p procedures.Point) (PointResult, error) {
	return s.taking(ctx, p, func(res *PointResult) (symptom, bench decision.Reason, err error) {
		return s.r.take(ctx, s.at, res, true)
	})
}

// Shot takes n readings at a point and judges them as they are: the source is
// shown good before and after, but nothing is read anew, and no path proven. It
// is for searches, where a failure is expected.
func (s *Station) Shot(ctx context.Context, p procedures.Point) (PointResult, error) {
	s.at.search = true // also below what the unit promises to count at
	defer func() { s.at.search = false }()
	return s.taking(ctx, p, func(res *PointResult) (symptom, bench decision.Reason, err error) {
		r, at := s.r, s.at
		if bench, err = r.arrive(ctx, at, p, res); bench != "" || err != nil {
			return "", bench, err
		}
		if bench, err = r.setGate(ctx, p.Gate); bench != "" || err != nil {
			return "", bench, err
		}
		if err = r.limitInForce(at, res); err != nil {
			return "", "", err
		}
		r.expect(at.input, res.Setting.Reported, res.Limit)
		for try := 1; ; try++ {
			if bench, err = r.readings(ctx, res, p.Readings, nil); bench != "" || err != nil {
				return "", bench, err
			}
			trusted, err := r.inStep(ctx, res)
			if err != nil {
				return "", "", err
			}
			if bench, err = r.sourceGood(ctx, at, p, &res.Setting); err != nil {
				return "", "", err
			}
			if bench == "" && trusted {
				break
			}
			res.use(Counted, Discarded)
			if bench != "" && bench != decision.LinkFailed {
				return "", bench, nil
			}
			if try == linkTries {
				return "", decision.LinkFailed, nil
			}
			if bench, err = r.arrive(ctx, at, p, res); bench != "" || err != nil {
				return "", bench, err
			}
		}
		if res.missing() > 0 {
			symptom = decision.NoCount
		}
		if held, err := r.heldCheck(ctx, at, res); held || err != nil {
			return symptom, decision.HeldReading, err
		}
		return symptom, "", nil
	})
}

// Proper tells whether all n readings of a shot lie within the limit and none
// is missing.
func (p PointResult) Proper() bool {
	if p.Counted < p.Point.Readings || p.missing() > 0 {
		return false
	}
	for _, x := range p.numbers() {
		if x.Sub(p.Reference).Abs().Cmp(p.Limit.Total) > 0 {
			return false
		}
	}
	return true
}

// taking is what Point and Shot share: what went wrong on the bench's side is
// in the result, an error ends the run.
func (s *Station) taking(ctx context.Context, p procedures.Point, how func(res *PointResult) (symptom, bench decision.Reason, err error)) (PointResult, error) {
	r := s.r
	res := r.newPoint(p)
	symptom, bench, err := r.anew(&res, func() (symptom, bench decision.Reason, err error) { return how(&res) })
	if err != nil {
		if ctx.Err() != nil {
			return res, ctx.Err()
		}
		bench = whose(err)
		res.Notes = append(res.Notes, err.Error())
	}
	if err := r.evaluate(s.at, &res, symptom, bench); err != nil {
		return res, err
	}
	res.Finished = r.Clock.Now()
	if res.Verdict.Good() {
		r.alive[p.Source] = true
		if len(s.at.proofs) == 0 { // one that passed in a sweep lies further from where a search ends
			s.at.proofs = append(s.at.proofs, p)
		}
	}
	if res.Verdict.Reason == decision.LinkFailed {
		r.linkFails++
	} else {
		r.linkFails = 0
	}
	if r.endanger != nil || r.dead != nil && r.linkFails > 0 || r.linkFails >= linkFailsMost {
		return res, fmt.Errorf("%w: %s at %s: %w", ErrBench, s.task.ID, p.Frequency, errors.Join(r.endanger, r.dead, err))
	}
	return res, r.interrupt
}

// Unit does something with the unit that the methods above do not. A link that
// fails is cleared and the action done again; where that does not help, bench
// and note say why it could not be done. An error ends the run.
func (s *Station) Unit(ctx context.Context, action func() error) (bench decision.Reason, note string, err error) {
	r := s.r
	failed := r.retryLink(ctx, r.Counter, action)
	switch {
	case failed == nil:
		r.linkFails = 0
		return "", "", r.interrupt
	case ctx.Err() != nil:
		return "", "", ctx.Err()
	case r.dead != nil:
		return "", "", fmt.Errorf("%w: %s: %w", ErrBench, s.task.ID, errors.Join(r.dead, failed))
	}
	return whose(failed), failed.Error(), r.interrupt
}

// Text asks the operator for a free text; "" where the operator gives none or
// can't be asked for one. What was given is kept with the record's entries.
func (s *Station) Text(ctx context.Context, question string) (string, error) {
	o, ok := s.r.Operator.(Texter)
	if !ok {
		return "", nil
	}
	text, err := o.Text(ctx, question)
	if errors.Is(err, ErrNoOperator) {
		return "", nil
	}
	if err == nil && text != "" {
		s.Entry(ctx, question, text)
	}
	return text, err
}

// whose books an error on the part of the bench that it came from.
func whose(err error) decision.Reason {
	switch {
	case errors.Is(err, drivers.ErrInterlock):
		return decision.InterlockRefused
	case errors.Is(err, ErrNoOperator):
		return decision.NoOperator
	}
	return decision.LinkFailed
}

// Keep journals a step of a long task, so that it goes on there after an
// interruption; it returns once the step would survive a power cut. Kept gives
// the steps of this task from before the interruption, in order.
func (s *Station) Keep(ctx context.Context, step any) error {
	body, err := json.Marshal(step)
	if err == nil {
		err = s.r.Journal.Step(ctx, s.task.ID, body)
	}
	if err != nil {
		return fmt.Errorf("%w: step of %s: %w", ErrJournal, s.task.ID, err)
	}
	return nil
}

// Kept gives the steps that Keep has kept of this task in earlier sessions.
func (s *Station) Kept() []json.RawMessage { return s.kept }

// Standards names what a result at the task's path rests on.
func (s *Station) Standards(points ...procedures.Point) []string {
	var list []string
	seen := map[string]bool{}
	for _, p := range points {
		for _, name := range s.r.standards(p) {
			if !seen[name] {
				seen[name] = true
				list = append(list, name)
			}
		}
	}
	return list
}

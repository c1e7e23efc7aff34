package runner

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/decision"
)

// errLater: what is left of a stop needs a person, and nobody answers; it is
// offered once more.
var errLater = errors.New("nobody answers")

// absence is what a run knows of an operator who does not answer.
type absence struct {
	prompts *Prompts          // the operator, with a time-out
	away    []procedures.Stop // put off because nobody answers
	offered bool              // for the last time
}

// stops takes all stops in the plan's order. Those that need a person who does
// not answer any more are put off, so that the rest goes on by itself; they are
// offered when somebody shows up, and once more at the end.
func (r *run) stops(ctx context.Context, list []procedures.Stop) error {
	for left := slices.Clone(list); ; {
		if r.prompts.back() {
			r.event(ctx, r.Operator.Name()+" is back")
			left, r.away = append(r.away, left...), nil
		}
		if len(left) == 0 {
			if len(r.away) == 0 {
				return nil
			}
			r.event(ctx, fmt.Sprintf("what was put off for want of an operator is offered once more (%s)", places(r.away)))
			r.prompts.again()
			left, r.away, r.offered = r.away, nil, true
		}
		err := r.stop(ctx, left[0])
		if errors.Is(err, errLater) {
			err = r.postpone(ctx, left[0])
		}
		if err == nil {
			err = r.secondLooks(ctx, left[0], slices.Concat(left[1:], r.away))
		}
		if err != nil {
			return err
		}
		left = left[1:]
	}
}

// places names what stops are about.
func places(list []procedures.Stop) string {
	text := ""
	for k, s := range list {
		if k > 0 {
			text += ", "
		}
		if s.Path == "" {
			text += "questions"
		} else {
			text += "path " + s.Path
		}
	}
	return text
}

// mayComeBack tells whether what needs a person is to be put off: nobody has
// answered, and it was not offered for the last time yet.
func (r *run) mayComeBack() bool {
	return r.prompts != nil && !r.prompts.away().IsZero() && !r.offered
}

// postpone puts a stop off whose person is not there, with RF off.
func (r *run) postpone(ctx context.Context, s procedures.Stop) error {
	if err := r.rfOffAll(ctx); err != nil && !errors.Is(err, ErrNoOperator) {
		return fmt.Errorf("%w: nobody answers, and RF could not be switched off: %w", ErrBench, err)
	}
	r.leave(ctx)
	r.away = append(r.away, s)
	path, _ := r.Bench.Path(s.Path)
	text := places([]procedures.Stop{s}) + " put off to the end of the run: nobody answers"
	r.event(ctx, text)
	r.happened(Notice{Event: procedures.InputPutOff, Input: path.Input, Text: text})
	return r.interrupt
}

// wantsPerson tells whether nothing at all came of a task for want of a person,
// so that it can be taken anew when somebody is there.
func wantsPerson(o Outcome) bool {
	open := 0
	for _, x := range o.Rows {
		if x.Judged() || x.Found != nil {
			return false
		}
		if x.Verdict.Reason == decision.NoOperator {
			open++
		}
	}
	return open > 0 && len(o.Shots) == 0
}

// noAnswer keeps that nobody answered.
func (r *run) noAnswer(ctx context.Context, e Entry) {
	r.keepEntry(ctx, e)
	r.Watcher.Says(fmt.Sprintf("%s (asked at %s): %s", e.Asked, e.AskedAt.Format(time.TimeOnly), e.Answer))
}

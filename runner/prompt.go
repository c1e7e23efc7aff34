package runner

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/manual"
	"bandproof/procedures"
)

// Prompts is an Operator who heeds what the procedure says where nobody answers
// within a time: wait, skip or stop. It also tells a Herald of the run of a
// prompt that waits, at growing intervals. One question is put at a time.
//
// Once a question has lapsed and is to be skipped the operator counts as away:
// nobody is asked any more until somebody shows up, or the run offers once more
// what was put off.
type Prompts struct {
	who    Operator
	policy procedures.Prompts
	clock  drivers.Clock
	turn   chan struct{} // held by the one question that waits

	mu   sync.Mutex
	gone time.Time // since when nobody answers; zero: somebody may
	last Prompted
	run  *run                    // nil before it begins
	stop context.CancelCauseFunc // ends the run
}

// Prompted is a question that was put.
type Prompted struct {
	Text string
	At   time.Time
}

// NewPrompts puts the questions of a run to somebody.
func NewPrompts(who Operator, policy procedures.Prompts, clock drivers.Clock) *Prompts {
	return &Prompts{who: who, policy: policy, clock: clock, turn: make(chan struct{}, 1)}
}

// Returner is an Operator that notices that somebody is there without being asked.
type Returner interface {
	// Back tells whether somebody has shown up since the last question.
	Back() bool
}

// Lapse is what happens to a question that nobody answers.
type Lapse struct {
	At     time.Time
	Within time.Duration // after it was put
	Then   string        // procedures.SkipIt or procedures.StopThen
}

// String says it in a line.
func (l Lapse) String() string {
	clock := "15:04"
	if l.Within < 10*time.Minute {
		clock = time.TimeOnly
	}
	if l.Then == procedures.StopThen {
		return "the run ends at " + l.At.Format(clock) + " if nobody answers"
	}
	return "skipped at " + l.At.Format(clock) + " if nobody answers"
}

type lapseKey struct{}

// LapseOf tells an Operator that is asked when the question lapses, and what
// happens then; ok is false where it waits without end.
func LapseOf(ctx context.Context) (l Lapse, ok bool) {
	l, ok = ctx.Value(lapseKey{}).(Lapse)
	return l, ok
}

// Name implements Operator.
func (p *Prompts) Name() string { return p.who.Name() }

// Move implements Operator.
func (p *Prompts) Move(ctx context.Context, m Move) error {
	return p.put(ctx, m.String(), func(ctx context.Context) error { return p.who.Move(ctx, m) })
}

// Confirm implements Operator.
func (p *Prompts) Confirm(ctx context.Context, question string) (yes bool, err error) {
	err = p.put(ctx, question, func(ctx context.Context) (err error) {
		yes, err = p.who.Confirm(ctx, question)
		return err
	})
	return yes, err
}

// Text implements Texter; "" where the operator can't be asked for one.
func (p *Prompts) Text(ctx context.Context, question string) (text string, err error) {
	t, ok := p.who.(Texter)
	if !ok {
		return "", nil
	}
	err = p.put(ctx, question, func(ctx context.Context) (err error) {
		text, err = t.Text(ctx, question)
		return err
	})
	return text, err
}

// Person is the operator as somebody who sets and reads instruments; nil where
// it is not.
func (p *Prompts) Person() manual.Person {
	m, ok := p.who.(manual.Person)
	if !ok {
		return nil
	}
	return hands{p, m}
}

// hands are the operator's, at an instrument.
type hands struct {
	p *Prompts
	manual.Person
}

// Ask implements manual.Person.
func (h hands) Ask(ctx context.Context, q manual.Question) (text string, err error) {
	err = h.p.put(ctx, q.Instrument+": "+q.Do, func(ctx context.Context) (err error) {
		text, err = h.Person.Ask(ctx, q)
		return err
	})
	return text, err
}

// put puts one question, and does what is to be done if it lapses.
func (p *Prompts) put(ctx context.Context, text string, ask func(context.Context) error) error {
	select {
	case p.turn <- struct{}{}:
		defer func() { <-p.turn }()
	case <-ctx.Done():
		return ctx.Err()
	}
	if since := p.away(); !since.IsZero() {
		return fmt.Errorf("%w: nobody has answered since %s", ErrNoOperator, since.Format(time.TimeOnly))
	}
	at := p.clock.Now()
	p.mu.Lock()
	p.last = Prompted{text, at}
	p.mu.Unlock()
	within, end := p.within(ctx, at)
	quiet := p.remind(text, at)
	err := ask(within)
	quiet()
	lapsed := err != nil && ctx.Err() == nil && errors.Is(context.Cause(within), context.DeadlineExceeded)
	end()
	if !lapsed {
		return err
	}
	return p.lapsed(ctx, text, at)
}

// within is the time that a question has, with what a person is told of it.
func (p *Prompts) within(ctx context.Context, at time.Time) (context.Context, func()) {
	l, lapses := p.lapse(at)
	if !lapses {
		return ctx, func() {}
	}
	return drivers.Within(context.WithValue(ctx, lapseKey{}, l), p.clock, seconds(*p.policy.Timeout))
}

func (p *Prompts) lapse(at time.Time) (l Lapse, lapses bool) {
	if p.policy.Timeout == nil || p.policy.Then() == procedures.WaitOn {
		return Lapse{}, false
	}
	within := seconds(*p.policy.Timeout)
	return Lapse{at.Add(within), within, p.policy.Then()}, true
}

// Reminders of a prompt that waits grow fourfold.
const (
	remindersGrow = 4
	mostReminding = 2 * time.Hour
)

// remind tells of a prompt that waits until quiet is called.
func (p *Prompts) remind(text string, asked time.Time) (quiet func()) {
	var mu sync.Mutex
	stop, ended := func() {}, false
	n := Prompt{Asked: asked}
	if l, lapses := p.lapse(asked); lapses {
		n.Lapses, n.Then = l.At, l.Then
	}
	var after func(time.Duration)
	after = func(wait time.Duration) {
		mu.Lock()
		defer mu.Unlock()
		if ended {
			return
		}
		stop = drivers.After(p.clock, wait, func() {
			p.tell(text, n)
			n.Reminder++
			after(min(wait*remindersGrow, max(mostReminding, wait)))
		})
	}
	after(seconds(p.policy.Telling()))
	return func() {
		mu.Lock()
		ended = true
		last := stop
		mu.Unlock()
		last()
	}
}

func (p *Prompts) tell(text string, n Prompt) {
	p.mu.Lock()
	r := p.run
	p.mu.Unlock()
	if r != nil {
		r.happened(Notice{Event: procedures.PromptWaiting, Text: text, Prompt: &n})
	}
}

// lapsed does what the procedure says where nobody has answered.
func (p *Prompts) lapsed(ctx context.Context, text string, at time.Time) error {
	p.mu.Lock()
	r := p.run
	p.mu.Unlock()
	waited := fmt.Sprintf("no answer within %s", p.policy.Timeout)
	then := "skipped"
	if p.policy.Then() == procedures.StopThen {
		then = "the run ends"
	}
	if r != nil {
		r.noAnswer(context.WithoutCancel(ctx), Entry{At: p.clock.Now(), AskedAt: at, Asked: text, Answer: waited + ": " + then, Who: nobodyThere})
	}
	if p.policy.Then() == procedures.StopThen && r != nil {
		p.stop(fmt.Errorf("%w: %s to \"%s\"; the run ends, as the procedure says", errLapsed, waited, text))
		return ctx.Err()
	}
	p.mu.Lock()
	p.gone = p.clock.Now()
	p.mu.Unlock()
	return fmt.Errorf("%w: %s to \"%s\"", ErrNoOperator, waited, text)
}

// nobodyThere stands in an entry in the place of a person.
const nobodyThere = "nobody"

// errLapsed is the cause where a question that nobody answered ends the run.
var errLapsed = errors.New("no operator")

// away tells since when nobody answers; zero: somebody may.
func (p *Prompts) away() time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.gone
}

// again has questions put again.
func (p *Prompts) again() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.gone = time.Time{}
}

// back tells whether somebody who was away has shown up; then questions are put
// again.
func (p *Prompts) back() bool {
	who, ok := p.who.(Returner)
	if p.away().IsZero() || !ok || !who.Back() {
		return false
	}
	p.again()
	return true
}

// askedAt is when a question was put last; zero where it was another one.
func (p *Prompts) askedAt(text string) time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.last.Text != text {
		return time.Time{}
	}
	return p.last.At
}

func (r *run) askedAt(text string) time.Time {
	if r.prompts == nil {
		return time.Time{}
	}
	return r.prompts.askedAt(text)
}

// attend has the prompts follow a run; done ends that.
func (r *run) attend(ctx context.Context) (_ context.Context, done func()) {
	p, ok := r.Operator.(*Prompts)
	if !ok {
		p = NewPrompts(r.Operator, r.Procedure.Prompts, r.Clock)
	}
	ctx, cancel := context.WithCancelCause(ctx)
	r.Operator, r.prompts = p, p
	p.mu.Lock()
	p.run, p.stop = r, cancel
	p.mu.Unlock()
	return ctx, func() {
		cancel(nil)
		p.mu.Lock()
		p.run = nil
		p.mu.Unlock()
	}
}

// endedBy says in the record why a cancelled run ended.
func endedBy(ctx context.Context) string {
	if cause := context.Cause(ctx); errors.Is(cause, errLapsed) {
		return cause.Error()
	}
	return "interrupted by the operator"
}

package manual

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"strings"
	"time"
	"unicode"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// Person stands at the instrument. Implementations serve one question at a
// time, from whichever instrument it comes.
type Person interface {
	// Name of the person, for the record.
	Name() string
	// Ask puts a question and returns the line that is answered, without its
	// end. It returns soon after the context has ended. Where nobody is there
	// to answer, the error wraps drivers.ErrNoOperator.
	Ask(ctx context.Context, q Question) (string, error)
	// Tell says something that needs no answer; it does not wait.
	Tell(text string)
}

// Question is what a person is to do or to read, in parts to be laid out.
type Question struct {
	Instrument string // "source LF"
	Do         string // "set 225.000 000 MHz"
	Answer     string // "press Enter when it shows so"
	Caution    string // "RF is on: the level stays at -19.0 dBm"; "" where there is no danger
	Wrong      string // what looks wrong with the last answer; "" the first time
}

// Opening is what an instrument is opened with.
type Opening struct {
	Name      string // as the bench file names it
	Panel     Panel
	Person    Person
	Interlock drivers.Interlock // asked before a level is shown; without one every level is refused
	Clock     drivers.Clock     // nil: the clock of the machine
	Log       *slog.Logger      // nil: nothing is logged
}

// address stands where other instruments have a VISA resource name.
const address = "its front panel"

// patience is how long a person gets for the last "RF off".
const patience = time.Minute

// hand is what source and counter share.
type hand struct {
	Opening
	called string        // "source LF"
	turn   chan struct{} // holds a token while an action is under way
	insist string        // what to do where an entry that looks wrong is right
}

func newHand(o Opening, called string) (hand, error) {
	if o.Person == nil {
		return hand{}, &drivers.Error{Name: o.Name, Address: address, Doing: "open", Err: fmt.Errorf("%w: nobody is there to work it", drivers.ErrNoOperator)}
	}
	if o.Clock == nil {
		o.Clock = drivers.WallClock{}
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return hand{o, called, make(chan struct{}, 1), "if it is so, enter the same again"}, nil
}

// Name is the name in the bench file.
func (h *hand) Name() string { return h.Opening.Name }

// Address says that there is no address.
func (h *hand) Address() string { return address }

// Identify: the person knows which instrument it is, the record has it from
// bench file and job.
func (h *hand) Identify(ctx context.Context) (drivers.Identity, error) {
	return drivers.Identity{}, ctx.Err()
}

// By implements drivers.ByHand.
func (h *hand) By() string { return h.Person.Name() }

// Patience implements drivers.ByHand.
func (h *hand) Patience() time.Duration { return patience }

// act does one action, alone, and says in its error what it was.
func (h *hand) act(ctx context.Context, doing string, action func(context.Context) error) error {
	err := ctx.Err()
	if err == nil {
		select {
		case h.turn <- struct{}{}:
			err = action(ctx)
			<-h.turn
		case <-ctx.Done():
			err = ctx.Err()
		}
	}
	if err == nil {
		return nil
	}
	return &drivers.Error{Name: h.Opening.Name, Address: address, Doing: doing, Err: err}
}

// ask puts one question and waits no longer than the panel's Wait.
func (h *hand) ask(ctx context.Context, q Question) (string, error) {
	q.Instrument = h.called
	within := ctx
	if h.Panel.Wait > 0 {
		var end func()
		within, end = drivers.Within(ctx, h.Clock, h.Panel.Wait)
		defer end()
	}
	text, err := h.Person.Ask(within, q)
	switch {
	case err == nil:
		h.Log.Info("answer", "asked", q.Do, "answer", text)
		return strings.TrimSpace(text), nil
	case ctx.Err() == nil && errors.Is(context.Cause(within), context.DeadlineExceeded):
		return "", fmt.Errorf("%w: no answer within %s", drivers.ErrNoOperator, h.Panel.Wait)
	}
	return "", err
}

// entry is what was taken in the end, and how it came.
type entry[T any] struct {
	value      T
	text       string
	twice      bool
	questioned []drivers.Questioned
}

// enter asks until an answer can be read and does not look wrong, or is given
// twice. key tells which answers are the same.
func enter[T any](ctx context.Context, h *hand, q Question, read func(string) (T, error), wrong func(T) string, key func(T) string) (entry[T], error) {
	var e entry[T]
	before := ""
	for {
		text, err := h.ask(ctx, q)
		if err != nil {
			return e, err
		}
		v, err := read(text)
		if err != nil {
			q.Wrong, before = strings.TrimPrefix(err.Error(), quantity.ErrSyntax.Error()+": "), ""
			continue
		}
		why := wrong(v)
		e.value, e.text, e.twice = v, printable(text), why != "" && key(v) == before
		if why == "" || e.twice {
			return e, nil
		}
		before = key(v)
		e.questioned = append(e.questioned, drivers.Questioned{Text: e.text, Why: why})
		q.Wrong = why
		if !strings.HasSuffix(why, never) {
			q.Wrong += "; " + h.insist
		}
	}
}

// never ends what looks wrong where entering it again does not help.
const never = "turn it down at once"

// printable escapes what is no text.
func printable(text string) string {
	if !strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsGraphic(r) || r == unicode.ReplacementChar }) {
		return text
	}
	quoted := strconv.Quote(text)
	return quoted[1 : len(quoted)-1]
}

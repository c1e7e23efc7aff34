package drivertest

import (
	"context"
	"errors"
	"testing"
	"time"

	"bandproof/drivers/link"
)

// MessageWire is what a link that carries whole messages is tested on: a way to
// open it, and the instrument at its end.
type MessageWire struct {
	// Config is how the link is opened. The cases change terminators, times
	// and sizes, and leave the rest as it is.
	Config     link.Config
	Opener     link.Opener
	Instrument *Instrument
	// Cut breaks every connection that there is; new ones can be made.
	// nil: the technology has none that could be cut.
	Cut func(t *testing.T)
	// Lacks names operations that the technology has not got and that must be
	// of kind errors.ErrUnsupported: "trigger", "status", "remote".
	Lacks []string
}

// MessageConformance runs every case that a link which carries whole messages
// must pass. start sets up a wire of its own for each case; it ends with the
// test.
func MessageConformance(t *testing.T, start func(t *testing.T) MessageWire) {
	for _, c := range messageCases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel() // they wait more than they work
			t.Log("rule: " + c.rule)
			w := start(t)
			c.run(&messageRig{rig: rig{T: t}, wire: w, far: w.Instrument})
		})
	}
}

// messageRig is one case under way.
type messageRig struct {
	rig
	wire MessageWire
	far  *Instrument
}

// open opens the link, with changes to its settings.
func (r *messageRig) open(changes ...func(*link.Config)) {
	r.Helper()
	r.link = r.another(changes...)
}

func (r *messageRig) another(changes ...func(*link.Config)) link.Link {
	r.Helper()
	c := r.wire.Config
	for _, change := range changes {
		change(&c)
	}
	return r.opens(r.wire.Opener, c)
}

// asks sends a question and checks the answer.
func (r *messageRig) asks(question, want string) {
	r.Helper()
	r.answered(r.query(question, patience)(), want)
}

func (r *messageRig) writes(message string) {
	r.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if err := r.link.Write(ctx, []byte(message)); err != nil {
		r.Fatalf("write %q: %v", message, err)
	}
}

// until waits for something to be so.
func (r *messageRig) until(what string, so func() bool) {
	r.Helper()
	for begin := time.Now(); !so(); time.Sleep(time.Millisecond) {
		if time.Since(begin) > patience {
			r.Fatalf("after %s still not: %s", patience, what)
		}
	}
}

// heard waits until the instrument has heard a message.
func (r *messageRig) heard(want string) {
	r.Helper()
	r.until("the instrument has heard "+want, func() bool {
		all := r.far.Heard()
		return len(all) > 0 && all[len(all)-1] == want
	})
}

// does runs an operation that the technology may lack, and tells whether it has it.
func (r *messageRig) does(op string, do func(ctx context.Context) error) bool {
	r.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	err := do(ctx)
	for _, lacking := range r.wire.Lacks {
		if lacking == op {
			r.is(err, errors.ErrUnsupported)
			return false
		}
	}
	if err != nil {
		r.Fatalf("%s: %v", op, err)
	}
	return true
}

package drivertest

import (
	"bytes"
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"bandproof/drivers/link"
)

// Wire is what a link is tested on: a way to open it, and the instrument's end.
type Wire struct {
	// Config is how the link is opened. The cases change terminators, times
	// and sizes, and leave the rest as it is.
	Config link.Config
	Opener link.Opener
	// Far is the instrument's end. It is called once for each connection that
	// the link has made, and waits for it.
	Far func(t *testing.T) Far
	// Renews tells that Clear makes a new connection, so that Far has to be
	// called again after it, and that the link can come back after a hang-up.
	Renews bool
	// Wrap, if not nil, puts another link around the one that is tested.
	Wrap func(link.Link) link.Link
}

// Far is the instrument's end of a wire. Close hangs up.
type Far interface {
	io.ReadWriteCloser
	SetReadDeadline(time.Time) error
}

// Conformance runs every case that a link which carries a stream of bytes must
// pass. start sets up a wire of its own for each case; it ends with the test.
func Conformance(t *testing.T, start func(t *testing.T) Wire) {
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel() // they wait more than they work
			t.Log("rule: " + c.rule)
			c.run(&rig{T: t, wire: start(t)})
		})
	}
}

// patience is how long anything may take that should happen at once. It is
// long, because test machines are busy.
const patience = 20 * time.Second

// short is how long is waited for what should not happen.
const short = 150 * time.Millisecond

// rig is one case under way.
type rig struct {
	*testing.T
	wire Wire
	link link.Link
	far  Far
}

// open opens the link, with changes to its settings.
func (r *rig) open(changes ...func(*link.Config)) {
	r.Helper()
	c := r.wire.Config
	c.Quiet = short
	for _, change := range changes {
		change(&c)
	}
	l := r.opens(r.wire.Opener, c)
	if r.wire.Wrap != nil {
		l = r.wire.Wrap(l)
	}
	r.link = l
	r.far = r.wire.Far(r.T)
}

// opens opens a link that must close at the end of the test.
func (r *rig) opens(o link.Opener, c link.Config) link.Link {
	r.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	l, err := o.Open(ctx, c)
	if err != nil {
		r.Fatalf("open %s: %v", c.Address, err)
	}
	r.Cleanup(func() {
		if err := l.Close(); err != nil {
			r.Errorf("close at the end: %v", err)
		}
	})
	return l
}

// result is what an operation in the background came to.
type result struct {
	answer []byte
	err    error
	took   time.Duration
}

// background starts an operation and gives its result when it has ended.
func (r *rig) background(f func() ([]byte, error)) func() result {
	done := make(chan result, 1)
	begin := time.Now()
	go func() {
		answer, err := f()
		done <- result{answer, err, time.Since(begin)}
	}()
	return func() result {
		r.Helper()
		select {
		case got := <-done:
			return got
		case <-time.After(patience):
			r.Fatalf("the operation did not end within %s", patience)
			return result{}
		}
	}
}

// query starts a query with this much time.
func (r *rig) query(question string, limit time.Duration) func() result {
	return r.background(func() ([]byte, error) {
		ctx, cancel := context.WithTimeout(context.Background(), limit)
		defer cancel()
		return r.link.Query(ctx, []byte(question))
	})
}

// exchange has a question answered and checks both. reply is on the wire as it
// is given here.
func (r *rig) exchange(question, reply, want string) {
	r.Helper()
	got := r.query(question, patience)
	r.hears(question + "\n")
	r.sends(reply)
	r.answered(got(), want)
}

func (r *rig) answered(got result, want string) {
	r.Helper()
	if got.err != nil || string(got.answer) != want {
		r.Fatalf("answer %q, %v; want %q", got.answer, got.err, want)
	}
}

// hears takes bytes at the far end and checks them.
func (r *rig) hears(want string) {
	r.Helper()
	got := make([]byte, len(want))
	if err := r.far.SetReadDeadline(time.Now().Add(patience)); err != nil {
		r.Fatalf("far end: %v", err)
	}
	n, err := io.ReadFull(r.far, got)
	if err != nil || string(got) != want {
		r.Fatalf("the instrument got %q, %v; want %q", got[:n], err, want)
	}
}

// hearsNothing checks that no bytes come to the far end.
func (r *rig) hearsNothing() {
	r.Helper()
	if err := r.far.SetReadDeadline(time.Now().Add(short)); err != nil {
		r.Fatalf("far end: %v", err)
	}
	got := make([]byte, 100)
	if n, _ := r.far.Read(got); n > 0 {
		r.Fatalf("the instrument got %q; want nothing", got[:n])
	}
}

func (r *rig) sends(reply string) {
	r.Helper()
	if _, err := r.far.Write([]byte(reply)); err != nil {
		r.Fatalf("the instrument could not send %q: %v", reply, err)
	}
}

// clear clears the link, and goes to the new far end where there is one.
func (r *rig) clear() {
	r.Helper()
	r.clears()
	if r.wire.Renews {
		r.far = r.wire.Far(r.T)
	}
}

func (r *rig) clears() {
	r.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if err := r.link.Clear(ctx); err != nil {
		r.Fatalf("clear: %v", err)
	}
}

// is checks the kind of an error, and that it names address and operation.
func (r *rig) is(err error, kind error) {
	r.Helper()
	var named *link.Error
	if !errors.Is(err, kind) || !errors.As(err, &named) {
		r.Fatalf("error %v; want a *link.Error of kind %q", err, kind)
	}
	if named.Address != r.link.Address() || named.Op == "" {
		r.Fatalf("error %v names address %q and operation %q; want %q and one", err, named.Address, named.Op, r.link.Address())
	}
}

// dirty checks that everything but Clear and Close is refused.
func (r *rig) dirty(kind error) {
	r.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	r.is(r.link.Write(ctx, []byte("REFUSED")), kind)
	_, err := r.link.Read(ctx)
	r.is(err, kind)
	_, err = r.link.Query(ctx, []byte("REFUSED?"))
	r.is(err, kind)
}

// times repeats a text.
func times(text string, n int) string { return string(bytes.Repeat([]byte(text), n)) }

package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"
)

// closeLimit is how long Close waits for what is under way. Everything that
// goes on ends when the link closes, so only a driver of the system that hangs
// takes longer.
const closeLimit = 5 * time.Second

// conversation is what all links share: whose turn it is, how long an
// operation may take, why nothing goes on before a Clear, and the wire log.
type conversation struct {
	address string
	config  Config // filled
	log     *slog.Logger
	wire    WireLog

	life   context.Context // ends with Close
	end    context.CancelFunc
	closed sync.Once
	ended  error // what Close returns
	// running is the operation that has the turn, which Close ends.
	running atomic.Pointer[operation]
	spare   atomic.Pointer[operation] // to be used once more

	turn chan struct{} // whoever has put a token in uses what follows
	sent bool          // something was sent since the last Clear, so an answer may come
	// dirty is why nothing goes on before a Clear, nil if it does; it is of
	// kind ErrDirty or ErrDisconnected.
	dirty *Error
	// stray is what the last Query threw away first.
	stray atomic.Pointer[[]byte]
}

func (o Opener) converse(r Resource, c Config) *conversation {
	address := r.String()
	v := &conversation{address: address, config: c, log: o.Log.With("address", address), wire: o.Wire, turn: make(chan struct{}, 1)}
	v.life, v.end = context.WithCancel(context.Background())
	return v
}

// open makes the first connection; an error ends the conversation.
func (v *conversation) open(ctx context.Context, join func(ctx context.Context) error) error {
	ctx, done, err := v.begin(ctx, "open")
	if err != nil {
		v.end()
		return err
	}
	defer done()
	if err := join(ctx); err != nil {
		err = v.failed(ctx, "open", err)
		v.note(Opened, "failed: "+err.Error())
		v.end()
		return err
	}
	v.note(Opened, "")
	return nil
}

// Address is the VISA resource name, in its canonical form.
func (v *conversation) Address() string { return v.address }

// begin waits for its turn and gives the operation its time: it ends with the
// caller's context, after Timeout where that has no deadline, and with the link.
func (v *conversation) begin(ctx context.Context, op string) (context.Context, func(), error) {
	o := operate(ctx, v.config.Timeout, v.spare.Swap(nil))
	release := func() {
		// Dialling leaves goroutines behind that still look at their context, and
		// Close may be about to end this one.
		if o.release(op != "open" && op != "clear" && v.life.Err() == nil) {
			v.spare.Store(o)
		}
	}
	if o.Err() == nil && v.life.Err() == nil {
		select {
		case v.turn <- struct{}{}:
			v.running.Store(o)
			if err := v.life.Err(); err != nil { // closed just now
				o.finish(err)
			}
			return o, func() {
				v.running.Store(nil)
				<-v.turn
				release()
			}, nil
		case <-o.Done():
		case <-v.life.Done():
		}
	}
	err := v.failed(o, op, nil)
	release()
	return nil, nil, err
}

// failed makes the error of an operation. That the caller or Close ended it
// counts more than what that did to the connection.
func (v *conversation) failed(ctx context.Context, op string, cause error) error {
	var known *Error
	switch {
	case v.life.Err() != nil:
		return &Error{Address: v.address, Op: op, Kind: ErrClosed}
	case errors.Is(ctx.Err(), context.Canceled):
		return &Error{Address: v.address, Op: op, Kind: ErrCancelled, Err: either(cause, context.Canceled)}
	case errors.As(cause, &known):
		return &Error{Address: v.address, Op: op, Kind: known.Kind, Err: known.Err}
	case errors.Is(cause, errors.ErrUnsupported):
		return &Error{Address: v.address, Op: op, Kind: errors.ErrUnsupported, Err: cause}
	case ctx.Err() != nil:
		return &Error{Address: v.address, Op: op, Kind: ErrTimeout, Err: either(cause, context.DeadlineExceeded)}
	}
	return &Error{Address: v.address, Op: op, Kind: ErrDisconnected, Err: cause}
}

// either keeps the reason of the context in the chain beside the cause.
func either(cause, reason error) error {
	if cause == nil {
		return reason
	}
	if errors.Is(cause, reason) {
		return cause
	}
	return fmt.Errorf("%w (%w)", reason, cause)
}

// ready refuses while the link is dirty or lost.
func (v *conversation) ready(op string) error {
	if v.dirty == nil {
		return nil
	}
	// What happened is told, but not wrapped: this error is of one kind only.
	return &Error{Address: v.address, Op: op, Kind: v.dirty.Kind, Err: fmt.Errorf("clear the link first; what happened: %v", v.dirty.Err)}
}

// soiled stops everything until a Clear, and returns the error.
func (v *conversation) soiled(err error) error {
	if v.life.Err() == nil {
		v.dirty = &Error{Kind: ErrDirty, Err: err}
	}
	return err
}

// lost is soiled for a connection that is gone.
func (v *conversation) lost(op string, cause error) error {
	if known := (*Error)(nil); errors.As(cause, &known) && known.Address == "" {
		cause = known.Err // it says no more than this error will
	}
	v.dirty = &Error{Kind: ErrDisconnected, Err: cause}
	return &Error{Address: v.address, Op: op, Kind: ErrDisconnected, Err: cause}
}

// unsupported is what an operation comes to that the technology lacks.
func (v *conversation) unsupported(op, why string) error {
	return &Error{Address: v.address, Op: op, Kind: errors.ErrUnsupported, Err: errors.New(why)}
}

// Stray is what the last Query threw away before its question was sent.
func (v *conversation) Stray() []byte {
	if p := v.stray.Load(); p != nil {
		return *p
	}
	return nil
}

func (v *conversation) tell(d Direction, line []byte, note string) {
	if v.wire != nil {
		v.wire.Exchange(Exchange{At: time.Now(), Address: loggedAs(v.address, v.config.Via), Direction: d, Bytes: bytes.Clone(line), Note: note})
	}
}

// note tells the wire log of something that has no bytes.
func (v *conversation) note(d Direction, text string) { v.tell(d, nil, text) }

// silence tells the wire log that no message came, and why.
func (v *conversation) silence(err error) {
	why := err.Error()
	if e := (*Error)(nil); errors.As(err, &e) {
		why = e.reason()
	}
	v.note(NoAnswer, why)
}

// retry joins again and again until time is over: some instruments take a
// while to notice that the old connection is gone and refuse until then.
func (v *conversation) retry(ctx context.Context, join func(ctx context.Context) error) error {
	pause := 50 * time.Millisecond
	var refused error
	for {
		err := join(ctx)
		if err != nil && ctx.Err() != nil {
			return or(refused, err) // how it was refused tells more than that time is over
		}
		if err == nil || !errors.Is(err, ErrDisconnected) {
			return err
		}
		refused = err
		timer := time.NewTimer(pause)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return refused
		}
		pause = min(2*pause, time.Second)
	}
}

// letGo waits until a connection is given up, but not for ever: a driver of
// the system may hang in close, and the program must not.
func (v *conversation) letGo(closing func() error) error {
	result := make(chan error, 1)
	go func() { result <- closing() }()
	limit := time.NewTimer(closeLimit)
	defer limit.Stop()
	select {
	case err := <-result:
		return err
	case <-limit.C:
		v.log.Error("the system does not let go of the port", "waited", closeLimit)
		return fmt.Errorf("the system does not let go of the port after %s; is the adapter's driver stuck?", closeLimit)
	}
}

// finish is Close: it ends what is under way and then leaves.
func (v *conversation) finish(leave func() error) error {
	v.closed.Do(func() {
		v.end()
		if o := v.running.Load(); o != nil {
			o.finish(context.Canceled)
		}
		limit := time.NewTimer(closeLimit)
		defer limit.Stop()
		select {
		case v.turn <- struct{}{}:
			defer func() { <-v.turn }()
			if err := leave(); err != nil {
				v.ended = &Error{Address: v.address, Op: "close", Kind: ErrDisconnected, Err: err}
			}
		case <-limit.C:
			v.ended = &Error{Address: v.address, Op: "close", Kind: ErrTimeout, Err: fmt.Errorf("an operation did not end in %s", closeLimit)}
		}
		v.note(Closed, "")
	})
	return v.ended
}

package drivertest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"sync"

	"bandproof/drivers/link"
)

// TB is what Playback needs of a *testing.T.
type TB interface {
	Helper()
	Errorf(format string, args ...any)
	Cleanup(func())
}

// Playback is a link that a script stands behind. It is as strict as a real
// one: after a failed read it is dirty until cleared.
type Playback struct {
	t       TB
	address string

	turn   sync.Mutex // one operation at a time, a query counts as one
	script Script
	at     int
	sent   bool  // something was written since the last Clear
	lost   error // why nothing goes on before a Clear: ErrDirty or ErrDisconnected
	closed bool
	broken bool // the test has failed already; say it once
}

// NewPlayback gives a link for the script. At the end of the test every step
// of it must have been taken.
func NewPlayback(t TB, address string, script Script) *Playback {
	p := &Playback{t: t, address: address, script: script}
	t.Cleanup(func() {
		p.turn.Lock()
		defer p.turn.Unlock()
		if !p.broken && p.at < len(p.script) {
			t.Errorf("%s: %d of %d steps of the script were not taken; the next is %s",
				address, len(p.script)-p.at, len(p.script), p.script[p.at:p.at+1])
		}
	})
	return p
}

var _ link.Link = (*Playback)(nil)

func (p *Playback) Address() string { return p.address }

func (p *Playback) Write(ctx context.Context, message []byte) error {
	p.turn.Lock()
	defer p.turn.Unlock()
	return p.write(ctx, message)
}

func (p *Playback) Read(ctx context.Context) ([]byte, error) {
	p.turn.Lock()
	defer p.turn.Unlock()
	return p.read(ctx)
}

// Query is a Write and a Read that no other comes between.
func (p *Playback) Query(ctx context.Context, message []byte) ([]byte, error) {
	p.turn.Lock()
	defer p.turn.Unlock()
	if err := p.write(ctx, message); err != nil {
		return nil, err
	}
	return p.read(ctx)
}

func (p *Playback) Clear(ctx context.Context) error {
	p.turn.Lock()
	defer p.turn.Unlock()
	if err := p.refuse(ctx, "clear"); err != nil && !errors.Is(err, link.ErrDirty) && !errors.Is(err, link.ErrDisconnected) {
		return err
	}
	step, err := p.step(Clear, "")
	if err != nil {
		return err
	}
	if step.Err != nil {
		return p.fail("clear", step.Err)
	}
	p.sent, p.lost = false, nil
	return nil
}

// Stray is always nil: a script has nothing that comes unasked.
func (p *Playback) Stray() []byte { return nil }

func (p *Playback) Trigger(ctx context.Context) error { return p.bare(ctx, Trigger, "trigger") }
func (p *Playback) Remote(ctx context.Context) error  { return p.bare(ctx, Remote, "remote") }
func (p *Playback) Local(ctx context.Context) error   { return p.bare(ctx, Local, "local") }

// StatusByte gives the byte that the script has.
func (p *Playback) StatusByte(ctx context.Context) (byte, error) {
	p.turn.Lock()
	defer p.turn.Unlock()
	if err := p.refuse(ctx, "status"); err != nil {
		return 0, err
	}
	step, err := p.step(Status, "")
	if err != nil {
		return 0, err
	}
	if step.Err != nil {
		return 0, p.fail("status", step.Err)
	}
	return step.Bytes[0], nil
}

// bare is an act without bytes.
func (p *Playback) bare(ctx context.Context, act Act, op string) error {
	p.turn.Lock()
	defer p.turn.Unlock()
	if err := p.refuse(ctx, op); err != nil {
		return err
	}
	step, err := p.step(act, "")
	if err != nil {
		return err
	}
	p.sent = p.sent || act == Trigger
	if step.Err != nil {
		return p.fail(op, step.Err)
	}
	return nil
}

// Close ends the link; the rest of the script stays untaken.
func (p *Playback) Close() error {
	p.turn.Lock()
	defer p.turn.Unlock()
	p.closed = true
	return nil
}

func (p *Playback) write(ctx context.Context, message []byte) error {
	p.t.Helper()
	if err := p.refuse(ctx, "write"); err != nil {
		return err
	}
	step, err := p.step(Write, fmt.Sprintf("%q", message))
	if err != nil {
		return err
	}
	if !bytes.Equal(step.Bytes, message) {
		return p.stray("step %d: byte %d differs:\n  wrote    %q\n  expected %q", p.at, differs(step.Bytes, message), message, step.Bytes)
	}
	p.sent = true
	if step.Err != nil {
		return p.fail("write", step.Err)
	}
	return nil
}

func (p *Playback) read(ctx context.Context) ([]byte, error) {
	p.t.Helper()
	if err := p.refuse(ctx, "read"); err != nil {
		return nil, err
	}
	step, err := p.step(Read, "")
	if err != nil {
		return nil, err
	}
	if step.Err != nil {
		return nil, p.fail("read", step.Err)
	}
	return append([]byte{}, step.Bytes...), nil
}

// refuse does what a real link does when it is closed or dirty, or the context
// has ended.
func (p *Playback) refuse(ctx context.Context, op string) error {
	switch {
	case p.closed:
		return &link.Error{Address: p.address, Op: op, Kind: link.ErrClosed}
	case errors.Is(ctx.Err(), context.Canceled):
		return &link.Error{Address: p.address, Op: op, Kind: link.ErrCancelled, Err: context.Canceled}
	case ctx.Err() != nil:
		return &link.Error{Address: p.address, Op: op, Kind: link.ErrTimeout, Err: ctx.Err()}
	case p.lost != nil:
		return &link.Error{Address: p.address, Op: op, Kind: p.lost, Err: errors.New("clear the link first")}
	}
	return nil
}

// step takes the next step, which must be of this kind.
func (p *Playback) step(act Act, what string) (Step, error) {
	p.t.Helper()
	if p.at == len(p.script) {
		return Step{}, p.stray("%s %s after the end of the script of %d steps", act, what, len(p.script))
	}
	step := p.script[p.at]
	if step.Act != act {
		return Step{}, p.stray("step %d: %s %s where the script has %s", p.at+1, act, what, p.script[p.at:p.at+1])
	}
	p.at++
	return step, nil
}

// fail plays a failure; what it leaves behind is that of a real link.
func (p *Playback) fail(op string, kind error) error {
	failed := &link.Error{Address: p.address, Op: op, Kind: kindOf(kind), Err: errors.New("as the script has it")}
	switch failed.Kind {
	case link.ErrDisconnected, link.ErrBusy:
		p.lost = link.ErrDisconnected
	case link.ErrCancelled:
		failed.Err = context.Canceled
	case link.ErrTimeout:
		failed.Err = context.DeadlineExceeded
	}
	if p.lost == nil && (p.sent || failed.Kind == link.ErrProtocol) {
		p.lost = link.ErrDirty
	}
	return failed
}

// stray fails the test, once, and gives the driver an error to stop at.
func (p *Playback) stray(format string, args ...any) error {
	p.t.Helper()
	err := fmt.Errorf(format, args...)
	if !p.broken {
		p.broken = true
		p.t.Errorf("%s: %v", p.address, err)
	}
	return &link.Error{Address: p.address, Op: "playback", Kind: link.ErrProtocol, Err: err}
}

// differs is the index of the first byte that differs.
func differs(a, b []byte) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}

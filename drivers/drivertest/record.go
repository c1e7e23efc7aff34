package drivertest

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"sync"

	"bandproof/drivers/link"
)

// Record is a link that writes down what goes over another one, as a script
// that Playback takes. What that link refuses without trying (because it is
// dirty, lost or closed, or the context has ended before) is not written down.
type Record struct {
	link.Link
	turn chan struct{} // held for a whole operation, so that the script is in order

	mutex  sync.Mutex
	script Script
	lost   bool // a step has failed and no Clear has mended it
}

// NewRecord wraps a link, which still has to be closed, here or there.
func NewRecord(l link.Link) *Record { return &Record{Link: l, turn: make(chan struct{}, 1)} }

var _ link.Link = (*Record)(nil)

// Script is what was written down so far.
func (r *Record) Script() Script {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	return slices.Clone(r.script)
}

func (r *Record) Write(ctx context.Context, message []byte) error {
	end := r.begin(ctx)
	err := r.Link.Write(ctx, message)
	end(Step{Act: Write, Bytes: message, Err: err})
	return err
}

func (r *Record) Read(ctx context.Context) ([]byte, error) {
	end := r.begin(ctx)
	answer, err := r.Link.Read(ctx)
	end(Step{Act: Read, Bytes: answer, Err: err})
	return answer, err
}

// Query writes down two steps: what was written and what was read.
func (r *Record) Query(ctx context.Context, message []byte) ([]byte, error) {
	end := r.begin(ctx)
	answer, err := r.Link.Query(ctx, message)
	var failed *link.Error
	if errors.As(err, &failed) && failed.Op == "write" {
		end(Step{Act: Write, Bytes: message, Err: err})
	} else {
		end(Step{Act: Write, Bytes: message}, Step{Act: Read, Bytes: answer, Err: err})
	}
	return answer, err
}

func (r *Record) Clear(ctx context.Context) error {
	end := r.begin(ctx)
	err := r.Link.Clear(ctx)
	end(Step{Act: Clear, Err: err})
	return err
}

func (r *Record) Trigger(ctx context.Context) error { return r.bare(ctx, Trigger, r.Link.Trigger) }
func (r *Record) Remote(ctx context.Context) error  { return r.bare(ctx, Remote, r.Link.Remote) }
func (r *Record) Local(ctx context.Context) error   { return r.bare(ctx, Local, r.Link.Local) }

func (r *Record) StatusByte(ctx context.Context) (byte, error) {
	end := r.begin(ctx)
	status, err := r.Link.StatusByte(ctx)
	end(Step{Act: Status, Bytes: []byte{status}, Err: err})
	return status, err
}

func (r *Record) bare(ctx context.Context, act Act, do func(context.Context) error) error {
	end := r.begin(ctx)
	err := do(ctx)
	end(Step{Act: act, Err: err})
	return err
}

// begin waits for its turn; without one the link below refuses by itself. end
// writes the steps down and gives the turn to the next.
func (r *Record) begin(ctx context.Context) (end func(steps ...Step)) {
	if ctx.Err() != nil {
		return func(...Step) {}
	}
	select {
	case r.turn <- struct{}{}:
		return func(steps ...Step) {
			r.add(steps)
			<-r.turn
		}
	case <-ctx.Done():
		return func(...Step) {}
	}
}

func (r *Record) add(steps []Step) {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	for _, step := range steps {
		if r.lost && step.Act != Clear || errors.Is(step.Err, link.ErrClosed) || errors.Is(step.Err, errors.ErrUnsupported) {
			continue
		}
		step.Bytes = bytes.Clone(step.Bytes)
		if step.Err != nil {
			step.Err = kindOf(step.Err)
			r.lost = true
		} else if step.Act == Clear {
			r.lost = false
		}
		r.script = append(r.script, step)
	}
}

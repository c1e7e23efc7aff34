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
// that Playback takes.
type Record struct {
	link.Link
	turn   sync.Mutex // held for a whole operation, so that the script is in order
	mutex  sync.Mutex
	script Script
}

// NewRecord wraps a link, which still has to be closed, here or there.
func NewRecord(l link.Link) *Record { return &Record{Link: l} }

var _ link.Querier = (*Record)(nil)

// Script is what was written down so far.
func (r *Record) Script() Script {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	return slices.Clone(r.script)
}

func (r *Record) Write(ctx context.Context, message []byte) error {
	r.turn.Lock()
	defer r.turn.Unlock()
	err := r.Link.Write(ctx, message)
	r.add(Write, message, err)
	return err
}

func (r *Record) Read(ctx context.Context) ([]byte, error) {
	r.turn.Lock()
	defer r.turn.Unlock()
	answer, err := r.Link.Read(ctx)
	r.add(Read, answer, err)
	return answer, err
}

// Query writes down two steps: what was written and what was read.
func (r *Record) Query(ctx context.Context, message []byte) ([]byte, error) {
	r.turn.Lock()
	defer r.turn.Unlock()
	answer, err := link.Query(ctx, r.Link, message)
	var failed *link.Error
	if errors.As(err, &failed) && failed.Op == "write" {
		r.add(Write, message, err)
		return answer, err
	}
	r.add(Write, message, nil)
	r.add(Read, answer, err)
	return answer, err
}

func (r *Record) Clear(ctx context.Context) error {
	r.turn.Lock()
	defer r.turn.Unlock()
	err := r.Link.Clear(ctx)
	r.add(Clear, nil, err)
	return err
}

func (r *Record) add(act Act, b []byte, err error) {
	step := Step{Act: act, Bytes: bytes.Clone(b)}
	if err != nil {
		step.Err = kindOf(err)
		if act == Read {
			step.Bytes = nil
		}
	}
	r.mutex.Lock()
	defer r.mutex.Unlock()
	r.script = append(r.script, step)
}

//go:build !linux && !darwin

package link

import (
	"context"
	"os"
)

// portClaim does nothing where the system lets a port be opened only once.
type portClaim struct{}

func claim(string) (*portClaim, error) { return &portClaim{}, nil }

func (*portClaim) configure(c Config) error { return flowControl(0, c.FlowControl) }

// send has no way to write with a deadline.
func (*portClaim) send(context.Context, []byte) error { return os.ErrNoDeadline }

func (*portClaim) release() error { return nil }

//go:build !unix

package virtual

import (
	"context"
	"errors"
	"fmt"
)

// PTY stands for a pseudo-terminal, of which this system has none.
type PTY struct{}

var errNoPTY = errors.New("this system has no pseudo-terminals; serve on TCP instead")

// OpenPTY always fails here.
func OpenPTY(linkPath string) (*PTY, error) {
	return nil, fmt.Errorf("link %s: %w", linkPath, errNoPTY)
}

func (*PTY) Path() string              { return "" }
func (*PTY) Link() string              { return "" }
func (*PTY) Reached() bool             { return false }
func (*PTY) Read([]byte) (int, error)  { return 0, errNoPTY }
func (*PTY) Write([]byte) (int, error) { return 0, errNoPTY }
func (*PTY) Close() error              { return nil }

// ServePTY always fails here.
func (b *Bench) ServePTY(_ context.Context, instrument, linkPath string) error {
	return fmt.Errorf("virtual %s: link %s: %w", instrument, linkPath, errNoPTY)
}

//go:build !linux

package link

import (
	"errors"
	"fmt"
	"runtime"
)

// flowControl refuses what the library can't set.
func flowControl(_ int, kind string) error {
	if kind == "none" {
		return nil
	}
	return &Error{Kind: errors.ErrUnsupported, Err: fmt.Errorf("flow control %s on a serial port under %s; set the instrument to none", kind, runtime.GOOS)}
}

//go:build !linux && !windows && !cgo

package main

import (
	"errors"
	"io"
)

// openSerial always fails: the serial library needs cgo on this system.
func openSerial(string, int) (io.ReadWriteCloser, error) {
	return nil, errors.New("this build has no serial ports (it was built without cgo); use --pty or --tcp")
}

//go:build unix && !linux

package virtual

import (
	"os"

	"golang.org/x/sys/unix"
)

// unread is how many bytes wait in the input of a terminal.
func unread(f *os.File) (int, error) { return unix.IoctlGetInt(int(f.Fd()), unix.TIOCOUTQ) }

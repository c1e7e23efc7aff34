package link

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// flowControl sets what the library switches off at opening. With xonxoff the
// line carries no binary data: bytes 11 and 13 (hex) are signals.
func flowControl(fd int, kind string) error {
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return fmt.Errorf("read the settings of the port: %w", err)
	}
	t.Iflag &^= unix.IXON | unix.IXOFF | unix.IXANY
	t.Cflag &^= unix.CRTSCTS
	switch kind {
	case "xonxoff":
		t.Iflag |= unix.IXON | unix.IXOFF
		t.Cc[unix.VSTART], t.Cc[unix.VSTOP] = 0x11, 0x13
	case "rtscts":
		t.Cflag |= unix.CRTSCTS
	}
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, t); err != nil {
		return fmt.Errorf("set flow control %s: %w", kind, err)
	}
	return nil
}

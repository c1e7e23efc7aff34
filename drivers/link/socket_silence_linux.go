package link

import (
	"net"

	"golang.org/x/sys/unix"
)

// limitSilence finds a half-open connection also while bytes are on their way,
// when keep-alive rests.
func limitSilence(conn *net.TCPConn) error {
	raw, err := conn.SyscallConn()
	if err != nil {
		return err
	}
	var inner error
	if err := raw.Control(func(fd uintptr) {
		inner = unix.SetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT, int(unanswered.Milliseconds()))
	}); err != nil {
		return err
	}
	return inner
}

//go:build !linux

package link

import "net"

// limitSilence leaves it to keep-alive where the system has no such limit.
func limitSilence(*net.TCPConn) error { return nil }

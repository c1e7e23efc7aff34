//go:build !linux && !darwin

package link

import "net"

// newDirect is for systems that let a program read what is there without
// waiting; here a pump reads.
func newDirect(net.Conn, func(error) error) (intake, bool) { return nil, false }

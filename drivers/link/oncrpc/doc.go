// Package oncrpc is the wire format of ONC remote procedure calls: data (XDR,
// RFC 4506), calls and replies and their records on a stream (RFC 5531), and
// the portmapper's messages (version 2, RFC 1833).
//
// It opens nothing and waits for nothing but the reader that a [Records] is
// given. A type that goes over the wire is a [Message]: one method names its
// fields in order, for writing and for reading.
package oncrpc

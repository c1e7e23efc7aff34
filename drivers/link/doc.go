// Package link carries message bytes between the program and one instrument.
//
// [Opener.Open] turns a VISA resource name and its settings into a [Link];
// [Query] sends one question and waits for its answer. Nothing else in the
// program opens a port or a socket to an instrument. What the bytes mean is
// not its business: see drivers/scpi for the format of messages and
// drivers/profile for what an instrument understands.
//
// # Late answers
//
// An answer that comes after its question was given up must never be taken for
// the next one's. So a Read that ends without a message makes the link dirty:
// Write, Read and Query refuse with ErrDirty until Clear has succeeded. Over a
// socket Clear gives the connection up, and a late answer dies with it. HiSLIP
// clears the device, which drops what is under way; in its synchronised mode
// answers also carry the identifier of their question. A
// serial line has no connection: Clear throws away what arrives until the line
// has been silent for Config.Quiet, and an answer that comes later than that
// still gets through. The layer above therefore asks for the identity after a
// Clear and goes on only when that very answer has come.
//
// An instrument on GPIB or USB keeps what it has to say until it is asked, so
// Clear is a device clear there. A GPIB adapter has one line for all the
// instruments behind it: see adapter.go for how what one of them says is kept
// from the others.
//
// # Files
//
// One file a technology: socket.go, serial.go (with serial_*.go for what
// differs between systems). Both are streams of bytes without message ends of
// their own and share stream.go, framing.go and pump.go. What carries messages
// whole is a messenger, of which messages.go makes a Link: vxi11.go, hislip.go,
// adapter.go (GPIB through an adapter), board.go (GPIB through linux-gpib) and
// usb.go, the last two by the system calls of system.go.
package link

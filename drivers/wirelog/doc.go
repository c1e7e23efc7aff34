// Package wirelog writes down what goes over the wire between the program and
// its instruments, and reads it back.
//
// [Writer] is a link.WireLog that never holds a run up. [Parse] reads what it
// wrote, and [Log.Play] makes of it what stands in for each instrument: it
// takes what was sent then and nothing else, and answers as it was answered.
//
// # File format
//
// A wire log is a text file of UTF-8, one exchange a line:
//
//	# bandproof wire log 1
//	# program: bandproof 0.1
//	# begun: 2026-11-25T11:20:33.100000Z
//	# instrument: counter TCPIP0::192.0.2.7::5025::SOCKET
//	2026-11-25T11:20:33.123456Z TCPIP0::192.0.2.7::5025::SOCKET open -
//	2026-11-25T11:20:33.124001Z TCPIP0::192.0.2.7::5025::SOCKET sent "*IDN?\n"
//	2026-11-25T11:20:33.126500Z TCPIP0::192.0.2.7::5025::SOCKET received "MAKER,MODEL,1,2\r\n"
//	2026-11-25T11:20:38.200000Z TCPIP0::192.0.2.7::5025::SOCKET silence - "timed out"
//
// Fields are parted by one space: the time in UTC with microseconds; the VISA
// resource name; what happened (a link.Direction, or "lost"); the bytes as they
// were on the wire, or "-"; a note, where there is one. Bytes stand in quotes:
// \n, \r, \t, \" and \\ by these names, printing characters of ASCII as they
// are, all others as \x and two digits. Names and notes that hold a space or
// anything but printing ASCII are quoted in the same way. Each log has exactly
// one such form, so that reading and writing it gives the same file.
//
// How a log is shown to a person is not the business of this package.
package wirelog

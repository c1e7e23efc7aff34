// Package hislip is the message format of HiSLIP, the High-Speed LAN Instrument
// Protocol (IVI-6.1): headers, message types, error codes, and reading messages
// from a connection. Both ends use it: the link and the virtual bench.
//
// Sessions are not its business: it opens nothing, waits for nothing and knows
// no order of messages.
package hislip

package hislip

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// HeaderSize is the number of bytes before the payload.
const HeaderSize = 16

// Message is one message of either channel.
type Message struct {
	Type      Type
	Control   uint8
	Parameter uint32
	Payload   []byte
}

// Append puts header and payload behind b, most significant bytes first
// (IVI-6.1 table 2).
func (m Message) Append(b []byte) []byte {
	h := Header{m.Type, m.Control, m.Parameter, uint64(len(m.Payload))}
	return append(h.Append(b), m.Payload...)
}

// Header is the head of a message, whose payload is Length bytes.
type Header struct {
	Type      Type
	Control   uint8
	Parameter uint32
	Length    uint64
}

// Append puts the header behind b.
func (h Header) Append(b []byte) []byte {
	b = append(b, 'H', 'S', uint8(h.Type), h.Control)
	b = binary.BigEndian.AppendUint32(b, h.Parameter)
	return binary.BigEndian.AppendUint64(b, h.Length)
}

// ErrHeader: what came does not begin as a message does. Where the next one
// begins can't be told, so the connection is of no more use.
var ErrHeader = errors.New("no HiSLIP message")

// ParseHeader reads the first HeaderSize bytes. Types that the standard does
// not know are read as well: what follows has to be skipped.
func ParseHeader(p []byte) (Header, error) {
	if len(p) < HeaderSize {
		return Header{}, fmt.Errorf("%w: %d bytes; a header has %d", ErrHeader, len(p), HeaderSize)
	}
	if p[0] != 'H' || p[1] != 'S' {
		return Header{}, fmt.Errorf("%w: it begins with %q instead of \"HS\"; does this port speak HiSLIP?", ErrHeader, p[:2])
	}
	return Header{Type(p[2]), p[3], binary.BigEndian.Uint32(p[4:]), binary.BigEndian.Uint64(p[8:])}, nil
}

// ErrTooLarge: a payload is longer than the reader takes.
var ErrTooLarge = errors.New("message too large")

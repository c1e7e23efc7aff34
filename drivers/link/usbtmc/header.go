package usbtmc

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// HeaderSize is the length of every header on a bulk endpoint, in bytes.
const HeaderSize = 12

// MsgID says what a transfer is (USBTMC table 2, USB488 table 1).
type MsgID byte

const (
	DevDepMsgOut        MsgID = 1   // host → instrument: a message, or a part of one
	DevDepMsgIn         MsgID = 2   // host: send me a message; instrument: here it is
	VendorSpecificOut   MsgID = 126 // not used here
	VendorSpecificIn    MsgID = 127 // not used here
	Trigger             MsgID = 128 // host → instrument, USB488: group execute trigger
	attributeEnd              = 1   // of DevDepMsgOut and of the answer: the last byte is the end of the message
	attributeTermChar         = 2   // of the request: TermChar counts; of the answer: it ended with TermChar
	reservedOfAttribute       = ^byte(attributeEnd | attributeTermChar)
)

// Header begins a transfer. Which fields mean something depends on ID and on
// the direction; the others are zero.
type Header struct {
	ID   MsgID
	Tag  byte   // 1 to 255; the answer has that of its request
	Size uint32 // bytes of the message in this transfer, or asked for; padding not counted
	End  bool   // the message ends with this transfer
	// TermChar: the request wants the answer to end with Char at the latest;
	// the answer did.
	TermChar bool
	Char     byte
}

// Append writes the header: tables 1, 3, 4 and 9, USB488 table 2.
func (h Header) Append(to []byte) []byte {
	b := [HeaderSize]byte{byte(h.ID), h.Tag, ^h.Tag}
	if h.ID != Trigger {
		binary.LittleEndian.PutUint32(b[4:], h.Size)
		if h.End {
			b[8] |= attributeEnd
		}
		if h.TermChar {
			b[8] |= attributeTermChar
		}
		b[9] = h.Char
	}
	return append(to, b[:]...)
}

// ParseOut reads the header of a transfer to an instrument.
func ParseOut(p []byte) (Header, error) {
	h, err := parse(p)
	if err != nil {
		return Header{}, err
	}
	switch {
	case h.ID == Trigger:
		if h.Size != 0 || h.End || h.TermChar || h.Char != 0 {
			return Header{}, errors.New("a trigger whose reserved bytes are not zero")
		}
	case h.ID == DevDepMsgOut && (h.TermChar || h.Char != 0):
		return Header{}, errors.New("a message out whose reserved bits are not zero")
	case h.ID == DevDepMsgIn && h.End:
		return Header{}, errors.New("a request whose reserved bits are not zero")
	case h.ID == DevDepMsgIn && h.Char != 0 && !h.TermChar:
		return Header{}, errors.New("a request that states a character and does not use it")
	}
	return h, nil
}

// ParseIn reads the header of an instrument's answer to the request with this
// tag, which asked for at most most bytes.
func ParseIn(p []byte, tag byte, most uint32) (Header, error) {
	h, err := parse(p)
	switch {
	case err != nil:
		return Header{}, err
	case h.ID != DevDepMsgIn:
		return Header{}, fmt.Errorf("an answer of kind %d; expected %d", h.ID, DevDepMsgIn)
	case h.Tag != tag:
		return Header{}, fmt.Errorf("an answer to request %d; expected that to %d", h.Tag, tag)
	case h.Size > most:
		return Header{}, fmt.Errorf("an answer of %d bytes; %d were asked for", h.Size, most)
	case h.Char != 0:
		return Header{}, errors.New("an answer whose reserved bytes are not zero")
	}
	return h, nil
}

func parse(p []byte) (Header, error) {
	if len(p) < HeaderSize {
		return Header{}, fmt.Errorf("%d bytes; a header has %d", len(p), HeaderSize)
	}
	h := Header{ID: MsgID(p[0]), Tag: p[1], Size: binary.LittleEndian.Uint32(p[4:]),
		End: p[8]&attributeEnd != 0, TermChar: p[8]&attributeTermChar != 0, Char: p[9]}
	switch {
	case h.ID != DevDepMsgOut && h.ID != DevDepMsgIn && h.ID != Trigger:
		return Header{}, fmt.Errorf("a transfer of kind %d, which is not known", h.ID)
	case h.Tag == 0:
		return Header{}, errors.New("tag 0; expected 1 to 255")
	case p[2] != ^h.Tag:
		return Header{}, fmt.Errorf("tag %#02x with %#02x; expected its inverse %#02x", h.Tag, p[2], ^h.Tag)
	case p[3] != 0 || p[10] != 0 || p[11] != 0 || p[8]&reservedOfAttribute != 0:
		return Header{}, errors.New("reserved bytes that are not zero")
	}
	return h, nil
}

// NextTag is the tag after this one: 1 to 255, and never 0.
func NextTag(tag byte) byte {
	if tag == 255 {
		return 1
	}
	return tag + 1
}

// Padded is the length of a transfer to an instrument with this many bytes of
// message: header and message, filled up to a multiple of 4 (section 3.2.1).
func Padded(size int) int { return (HeaderSize + size + 3) &^ 3 }

// AppendOut writes one whole transfer with a message, or part of one.
func AppendOut(to []byte, tag byte, part []byte, end bool) []byte {
	begin := len(to)
	to = Header{ID: DevDepMsgOut, Tag: tag, Size: uint32(len(part)), End: end}.Append(to)
	to = append(to, part...)
	return append(to, make([]byte, Padded(len(part))-(len(to)-begin))...)
}

// SplitOut reads one whole transfer to an instrument: its header and the part
// of a message in it.
func SplitOut(p []byte) (Header, []byte, error) {
	h, err := ParseOut(p)
	if err != nil {
		return Header{}, nil, err
	}
	if h.ID != DevDepMsgOut {
		if len(p) != HeaderSize {
			return Header{}, nil, fmt.Errorf("%d bytes after a header that has none", len(p)-HeaderSize)
		}
		return h, nil, nil
	}
	if uint64(h.Size) > uint64(len(p)) || len(p) != Padded(int(h.Size)) {
		return Header{}, nil, fmt.Errorf("a transfer of %d bytes that states a message of %d", len(p), h.Size)
	}
	return h, p[HeaderSize : HeaderSize+int(h.Size)], nil
}

// AppendIn writes one whole transfer of an instrument; it needs no padding
// (section 3.3.1.1).
func AppendIn(to []byte, tag byte, part []byte, end, termChar bool) []byte {
	return append(Header{ID: DevDepMsgIn, Tag: tag, Size: uint32(len(part)), End: end, TermChar: termChar}.Append(to), part...)
}

// SplitIn reads one whole transfer of an instrument; alignment bytes after it
// are allowed.
func SplitIn(p []byte, tag byte, most uint32) (Header, []byte, error) {
	h, err := ParseIn(p, tag, most)
	if err != nil {
		return Header{}, nil, err
	}
	rest := p[HeaderSize:]
	if uint64(h.Size) > uint64(len(rest)) {
		return Header{}, nil, fmt.Errorf("%d bytes of a message of %d", len(rest), h.Size)
	}
	return h, rest[:h.Size], nil
}

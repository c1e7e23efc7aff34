package oncrpc

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// The kinds of mistake in bytes that were received.
var (
	// ErrShort: the message ends before its last field does.
	ErrShort = errors.New("message is cut off")
	// ErrValue: a field holds what its type can't.
	ErrValue = errors.New("impossible value")
	// ErrLong: bytes follow the last field, or a field is longer than allowed.
	ErrLong = errors.New("message is too long")
)

// Message is a type that goes over the wire. XDR goes over its fields in order.
type Message interface {
	XDR(x *XDR)
}

// None is the message without fields ("void").
type None struct{}

// XDR implements [Message].
func (None) XDR(*XDR) {}

// Append writes a message behind b.
func Append(b []byte, m Message) []byte {
	x := XDR{buf: b}
	m.XDR(&x)
	return x.buf
}

// Parse reads a message that fills all of b. Byte slices of the message are
// parts of b. Bytes that fill up to a multiple of four may have any value, as
// common implementations have it.
func Parse(b []byte, m Message) error {
	x := XDR{buf: b, reading: true}
	m.XDR(&x)
	if x.err == nil && len(x.buf) > 0 {
		return fmt.Errorf("%w: %d bytes follow the last field", ErrLong, len(x.buf))
	}
	return x.err
}

// XDR is a message under way: fields are written behind the bytes that there
// are, or read from their front. After the first mistake reading leaves
// fields as they are.
type XDR struct {
	buf     []byte // written so far, or still to be read
	reading bool
	err     error
}

// Reading tells whether fields are filled from the wire.
func (x *XDR) Reading() bool { return x.reading }

// Fail makes reading fail, unless it has already.
func (x *XDR) Fail(err error) {
	if x.reading && x.err == nil {
		x.err = err
	}
}

// Uint32 is an unsigned integer (RFC 4506 section 4.2).
func (x *XDR) Uint32(v *uint32) {
	if !x.reading {
		x.buf = binary.BigEndian.AppendUint32(x.buf, *v)
		return
	}
	if p := x.take(4); p != nil {
		*v = binary.BigEndian.Uint32(p)
	}
}

// Int32 is an integer (4.1), and an enumeration (4.3).
func (x *XDR) Int32(v *int32) {
	u := uint32(*v)
	x.Uint32(&u)
	*v = int32(u)
}

// Uint16 is an "unsigned short": an unsigned integer of small range.
func (x *XDR) Uint16(v *uint16) {
	u := uint32(*v)
	x.Uint32(&u)
	if u > 0xFFFF {
		x.Fail(fmt.Errorf("%w: %d; expected 0 to 65535", ErrValue, u))
		return
	}
	*v = uint16(u)
}

// Char is one character, sent as an integer; a negative one is what a machine
// with signed characters makes of 128 to 255.
func (x *XDR) Char(v *byte) {
	n := int32(*v)
	x.Int32(&n)
	if n < -128 || n > 255 {
		x.Fail(fmt.Errorf("%w: %d; expected a character", ErrValue, n))
		return
	}
	*v = byte(n)
}

// Bool is 0 or 1 (4.4).
func (x *XDR) Bool(v *bool) {
	var u uint32
	if *v {
		u = 1
	}
	x.Uint32(&u)
	if u > 1 {
		x.Fail(fmt.Errorf("%w: %d; expected 0 or 1", ErrValue, u))
		return
	}
	*v = u == 1
}

// Opaque is a number of bytes, most of them at most, after their count (4.10).
func (x *XDR) Opaque(v *[]byte, most int) {
	n := uint32(len(*v))
	x.Uint32(&n)
	if !x.reading {
		x.buf = append(x.buf, *v...)
		x.buf = append(x.buf, make([]byte, padding(len(*v)))...)
		return
	}
	if x.err != nil {
		return
	}
	if uint64(n) > uint64(most) {
		x.Fail(fmt.Errorf("%w: %d bytes; at most %d are allowed", ErrLong, n, most))
		return
	}
	if p := x.take(int(n) + padding(int(n))); x.err == nil {
		*v = p[:n:n]
	}
}

// String is a text (4.11).
func (x *XDR) String(v *string, most int) {
	if !x.reading {
		p := []byte(*v)
		x.Opaque(&p, most)
		return
	}
	var p []byte
	x.Opaque(&p, most)
	if x.err == nil {
		*v = string(p)
	}
}

// Rest is all that follows.
func (x *XDR) Rest(v *[]byte) {
	if !x.reading {
		x.buf = append(x.buf, *v...)
		return
	}
	if x.err == nil {
		*v, x.buf = x.buf, nil
	}
}

func (x *XDR) take(n int) []byte {
	if x.err != nil {
		return nil
	}
	if n > len(x.buf) {
		x.err = fmt.Errorf("%w: a field needs %d bytes, %d are left", ErrShort, n, len(x.buf))
		return nil
	}
	p := x.buf[:n]
	x.buf = x.buf[n:]
	return p
}

// padding fills up to a multiple of four.
func padding(n int) int { return -n & 3 }

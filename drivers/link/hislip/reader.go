package hislip

import (
	"bufio"
	"errors"
	"fmt"
	"io"
)

// Reader reads messages. After an error of the connection that may pass, such
// as a deadline, the next call goes on where the last one stopped.
type Reader struct {
	in   *bufio.Reader
	most uint64 // bytes of a payload

	head    [HeaderSize]byte
	got     int    // bytes of head that have come
	payload []byte // what has come of it
	rest    uint64 // bytes of payload still to come
	skip    bool   // the payload is thrown away
}

// NewReader reads payloads of at most so many bytes.
func NewReader(r io.Reader, most uint64) *Reader {
	return &Reader{in: bufio.NewReaderSize(r, 16<<10), most: most}
}

// Most changes what is the longest payload.
func (r *Reader) Most(bytes uint64) { r.most = bytes }

// Buffered tells whether bytes have come that no message was made of.
func (r *Reader) Buffered() bool { return r.got > 0 || r.in.Buffered() > 0 }

// grow bounds what is allocated before the bytes have come.
const grow = 64 << 10

// Next gives the next message; its payload is the caller's. A payload that is
// too long is ErrTooLarge, with the message's head; the payload is skipped at
// the next call. A connection that ends within a message is
// io.ErrUnexpectedEOF, one that ends between two io.EOF.
func (r *Reader) Next() (Message, error) {
	if r.skip {
		if err := r.discard(); err != nil {
			return Message{}, err
		}
	}
	for r.got < HeaderSize {
		n, err := r.in.Read(r.head[r.got:])
		r.got += n
		if err != nil && r.got < HeaderSize {
			return Message{}, r.cut(err, r.got > 0)
		}
		if r.got == HeaderSize {
			if err := r.begin(); err != nil {
				return r.message(), err
			}
		}
	}
	for r.rest > 0 {
		if cap(r.payload) == len(r.payload) {
			r.payload = append(make([]byte, 0, len(r.payload)+int(min(r.rest, uint64(max(grow, len(r.payload)))))), r.payload...)
		}
		space := r.payload[len(r.payload):cap(r.payload)]
		n, err := r.in.Read(space[:min(uint64(len(space)), r.rest)])
		r.payload = r.payload[:len(r.payload)+n]
		r.rest -= uint64(n)
		if err != nil && r.rest > 0 {
			return Message{}, r.cut(err, true)
		}
	}
	m := r.message()
	r.got, r.payload = 0, nil
	return m, nil
}

// begin looks at a header that has come.
func (r *Reader) begin() error {
	h, err := ParseHeader(r.head[:])
	if err != nil {
		r.got = 0
		return err
	}
	r.rest, r.payload = h.Length, nil
	if h.Length > r.most {
		r.skip, r.got = true, 0
		return fmt.Errorf("%w: %s with %d bytes, of which %d are taken", ErrTooLarge, h.Type, h.Length, r.most)
	}
	return nil
}

// message is made of the head and the payload that is there. The head is one
// that was found good, or all that is known of a bad one.
func (r *Reader) message() Message {
	h, err := ParseHeader(r.head[:])
	if err != nil {
		return Message{}
	}
	return Message{h.Type, h.Control, h.Parameter, r.payload}
}

// discard skips the payload under way.
func (r *Reader) discard() error {
	for r.rest > 0 {
		n, err := r.in.Discard(int(min(r.rest, grow)))
		r.rest -= uint64(n)
		if err != nil && r.rest > 0 {
			return r.cut(err, true)
		}
	}
	r.skip = false
	return nil
}

// cut tells an end within a message from one between two.
func (r *Reader) cut(err error, within bool) error {
	if errors.Is(err, io.EOF) && within {
		return io.ErrUnexpectedEOF
	}
	return err
}

package oncrpc

import (
	"encoding/binary"
	"fmt"
	"io"
	"slices"
)

// lastFragment marks the last fragment of a record (RFC 5531 section 11).
const lastFragment = 1 << 31

// MarkSize is the room that [Mark] needs in front of a message.
const MarkSize = 4

// Mark makes a record of one fragment of what was written behind MarkSize
// bytes: it fills them in.
func Mark(b []byte) []byte {
	binary.BigEndian.PutUint32(b, lastFragment|uint32(len(b)-MarkSize))
	return b
}

// mostEmpty is how many fragments of a record may be without bytes.
const mostEmpty = 16

// Records takes records apart that come in on a stream. It keeps what has come
// of a record when the reader fails, so that a read that was given up can go
// on later. The zero value is ready for use.
type Records struct {
	in    []byte // read and not used; begins at at
	at    int
	body  []byte // of the record under way
	left  int    // bytes of the fragment under way that have not come
	last  bool   // the fragment under way is the last one
	empty int
}

// Partial tells whether part of a record has come.
func (r *Records) Partial() bool {
	return len(r.in) > r.at || len(r.body) > 0 || r.left > 0 || r.last || r.empty > 0
}

// Next reads one record of at most this many bytes, which stays valid until
// the next call. A record that is too long is ErrLong; the stream can't be used after it.
func (r *Records) Next(from io.Reader, most int) ([]byte, error) {
	if r.left == 0 && !r.last && r.empty == 0 {
		r.body = r.body[:0] // the record before was given out
	}
	for {
		if r.left == 0 {
			if r.last {
				r.last, r.empty = false, 0
				return r.body, nil
			}
			if err := r.mark(from, most); err != nil {
				return nil, err
			}
			continue
		}
		if r.at == len(r.in) {
			if err := r.fill(from); err != nil {
				return nil, err
			}
		}
		n := min(r.left, len(r.in)-r.at)
		r.body = append(r.body, r.in[r.at:r.at+n]...)
		r.at += n
		r.left -= n
	}
}

// mark reads the head of a fragment.
func (r *Records) mark(from io.Reader, most int) error {
	for len(r.in)-r.at < MarkSize {
		if err := r.fill(from); err != nil {
			return err
		}
	}
	head := binary.BigEndian.Uint32(r.in[r.at:])
	r.at += MarkSize
	size := int(head &^ lastFragment)
	r.last = head&lastFragment != 0
	if size > most-len(r.body) {
		return fmt.Errorf("%w: record of %d bytes and more; at most %d are allowed", ErrLong, len(r.body)+size, most)
	}
	r.left = size
	if r.empty++; size > 0 {
		r.empty = 1
	}
	if r.empty > mostEmpty {
		return fmt.Errorf("%w: %d fragments without bytes", ErrValue, r.empty)
	}
	return nil
}

// chunk is how much is read from the stream at once, in bytes.
const chunk = 16 << 10

func (r *Records) fill(from io.Reader) error {
	rest := copy(r.in, r.in[r.at:])
	r.in, r.at = r.in[:rest], 0
	r.in = slices.Grow(r.in, chunk)
	for range 100 {
		n, err := from.Read(r.in[rest : rest+chunk])
		if n > 0 {
			r.in = r.in[:rest+n]
			return nil // an error comes again
		}
		if err != nil {
			return err
		}
	}
	return io.ErrNoProgress
}

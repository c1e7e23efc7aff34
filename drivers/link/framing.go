package link

import "fmt"

// framer finds where messages end in a stream of bytes. It looks at each byte
// once, however the stream is cut into pieces.
type framer struct {
	terminator string // "": it never finds an end
	plain      bool   // no blocks
	longest    int    // bytes of one message, terminator not counted

	at       int  // bytes looked at
	blockEnd int  // first byte after the last block; before it nothing is text
	quote    byte // the quote that a string began with, or 0
}

// frame is one message within the bytes that were looked at.
type frame struct {
	end  int // the message is [0, end)
	next int // the next message begins here
}

// scan looks for the end of the message that begins at in[0]. It is called
// again with more bytes until it finds one; then the caller takes the bytes
// away and calls reset.
func (f *framer) scan(in []byte) (frame, bool, error) {
	for f.at < len(in) {
		if f.at < f.blockEnd {
			f.at = min(f.blockEnd, len(in))
			continue
		}
		if f.at > f.longest {
			break
		}
		size, more := f.ends(in)
		if more {
			break
		}
		if size > 0 {
			return frame{end: f.withoutCR(in), next: f.at + size}, true, nil
		}
		more, err := f.element(in)
		if err != nil {
			return frame{}, false, err
		}
		if more {
			break
		}
		f.at++
	}
	if f.at > f.longest {
		return frame{}, false, fmt.Errorf("more than %d bytes without an end; is the read terminator right?", f.longest)
	}
	return frame{}, false, nil
}

// reset forgets the message that was found.
func (f *framer) reset() { f.at, f.blockEnd, f.quote = 0, 0, 0 }

// inBlock tells whether a block is not yet whole.
func (f *framer) inBlock(in []byte) bool { return f.blockEnd > len(in) }

// ends gives the length of the terminator that stands at the byte under way, 0
// for none; more: that can't be told yet.
func (f *framer) ends(in []byte) (size int, more bool) {
	if f.terminator == "" {
		return 0, false
	}
	rest := in[f.at:]
	for i := range len(f.terminator) {
		if i == len(rest) {
			return 0, true
		}
		if rest[i] != f.terminator[i] {
			return 0, false
		}
	}
	return len(f.terminator), false
}

// withoutCR drops a CR before a LF, for instruments that end with both. The
// last byte of a block stays.
func (f *framer) withoutCR(in []byte) int {
	if f.terminator == "\n" && f.at > f.blockEnd && in[f.at-1] == '\r' {
		return f.at - 1
	}
	return f.at
}

// element follows strings and finds blocks. A '#' within a string is text, and
// a terminator ends the message even within a string: an answer with a quote
// too few must not swallow the next one.
func (f *framer) element(in []byte) (more bool, err error) {
	c := in[f.at]
	switch {
	case f.plain:
	case f.quote != 0:
		if c == f.quote {
			f.quote = 0
		}
	case c == '"' || c == '\'':
		if f.begins(in) || in[f.at-1] == c { // the second of a doubled quote goes on with the string
			f.quote = c
		}
	case c == '#' && f.begins(in):
		return f.block(in)
	}
	return false, nil
}

// begins tells whether a data element can begin at the byte under way.
func (f *framer) begins(in []byte) bool {
	if f.at == 0 || f.at == f.blockEnd {
		return true
	}
	switch in[f.at-1] {
	case ' ', '\t', ',', ';', '(':
		return true
	}
	return false
}

// block reads the head of a definite-length block (IEEE 488.2 clause 8.7.9,
// from memory): #, one digit n, n digits that are the length. Anything else
// after the # is text: #H1F, or a block of indefinite length, which ends with
// the message.
func (f *framer) block(in []byte) (more bool, err error) {
	rest := in[f.at:]
	if len(rest) < 2 {
		return true, nil
	}
	digits := int(rest[1]) - '0'
	if digits < 1 || digits > 9 {
		return false, nil
	}
	length := 0
	for i := range digits {
		if 2+i == len(rest) {
			return true, nil
		}
		c := rest[2+i]
		if c < '0' || c > '9' {
			return false, nil
		}
		length = length*10 + int(c-'0')
	}
	head := f.at + 2 + digits
	if length > f.longest-head {
		return false, fmt.Errorf("a block of %d bytes, which makes the message longer than %d", length, f.longest)
	}
	f.blockEnd = head + length
	f.at = head - 1 // the caller goes one on
	return false, nil
}

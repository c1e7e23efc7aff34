// Package plusplus is the format of what goes over the line of a GPIB adapter
// that takes the `++` controller commands: lines that are either a command for
// the adapter or a message for the instrument, with the escapes that keep them
// apart. It moves no bytes.
//
// Such adapters differ in detail. What is written here is what the manuals of
// several open firmwares agree on; there is no standard.
package plusplus

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// Esc before a byte makes it an ordinary one.
const Esc = 0x1b

// special are the bytes that mean something on the line itself.
const special = "\r\n+\x1b"

// Longest is the longest line in bytes that a Scanner gives; it is what an
// adapter with room for large waveforms takes.
const Longest = 1 << 20

// AppendMessage writes a message for the instrument as one line.
func AppendMessage(to, message []byte) []byte {
	for _, c := range message {
		if strings.IndexByte(special, c) >= 0 {
			to = append(to, Esc)
		}
		to = append(to, c)
	}
	return append(to, '\n')
}

// Line is what came in one line.
type Line struct {
	Command bool   // it began with ++
	Text    []byte // without escapes, and without ++
	TooLong bool   // Text is its beginning
}

// Scanner takes a stream of bytes apart into lines. The zero value is ready.
type Scanner struct {
	text    []byte
	plain   int  // bytes of text that came unescaped from its beginning on, for ++
	escaped bool // the next byte is an ordinary one
	begun   bool
	tooLong bool
}

// Scan takes bytes and gives the lines that they end. Empty lines are none:
// many programs end with CR and LF.
func (s *Scanner) Scan(p []byte) (lines []Line) {
	for _, c := range p {
		switch {
		case s.escaped:
			s.escaped = false
			s.take(c, false)
		case c == Esc:
			s.escaped, s.begun = true, true
		case c == '\r' || c == '\n':
			if s.begun {
				lines = append(lines, s.line())
			}
		default:
			s.take(c, true)
		}
	}
	return lines
}

func (s *Scanner) take(c byte, plain bool) {
	s.begun = true
	if len(s.text) >= Longest {
		s.tooLong = true
		return
	}
	if plain && s.plain == len(s.text) {
		s.plain++
	}
	s.text = append(s.text, c)
}

func (s *Scanner) line() Line {
	l := Line{Text: bytes.Clone(s.text), TooLong: s.tooLong}
	if s.plain >= 2 && bytes.HasPrefix(l.Text, []byte("++")) {
		l.Command, l.Text = true, l.Text[2:]
	}
	*s = Scanner{text: s.text[:0]}
	return l
}

// Command is a command for the adapter, taken apart.
type Command struct {
	Name      string // in lower case, without ++
	Arguments []string
}

// ParseCommand reads the text of a line that is a command.
func ParseCommand(text []byte) (Command, error) {
	fields := strings.Fields(string(text))
	if len(fields) == 0 {
		return Command{}, errors.New("++ without a name")
	}
	return Command{Name: strings.ToLower(fields[0]), Arguments: fields[1:]}, nil
}

// String is the command as it goes over the line, without its end.
func (c Command) String() string {
	return "++" + strings.Join(append([]string{c.Name}, c.Arguments...), " ")
}

// SecondaryBase is added to a secondary address on the line: 96 to 126 stand
// for 0 to 30.
const SecondaryBase = 96

// FormatAddress writes an address as ++addr takes it; secondary is negative
// where there is none.
func FormatAddress(primary, secondary int) string {
	if secondary < 0 {
		return strconv.Itoa(primary)
	}
	return strconv.Itoa(primary) + " " + strconv.Itoa(secondary+SecondaryBase)
}

// ParseAddress reads an address as an adapter tells it, or as ++addr takes it:
// one or two numbers with a space, comma or colon between. A secondary address
// may be written with or without SecondaryBase; it is -1 where there is none.
func ParseAddress(text string) (primary, secondary int, err error) {
	fields := strings.FieldsFunc(text, func(c rune) bool { return c == ' ' || c == ',' || c == ':' || c == '\t' })
	if len(fields) != 1 && len(fields) != 2 {
		return 0, -1, fmt.Errorf("%q is no GPIB address; expected such as 7 or 7 96", text)
	}
	numbers := [2]int{0, -1}
	for i, f := range fields {
		n, err := strconv.Atoi(f)
		if err != nil || n < 0 || n > 30 && (i == 0 || n < SecondaryBase || n > SecondaryBase+30) {
			return 0, -1, fmt.Errorf("%q is no GPIB address; expected 0 to 30, and a secondary one from 96 to 126", text)
		}
		numbers[i] = n
	}
	if numbers[1] >= SecondaryBase {
		numbers[1] -= SecondaryBase
	}
	return numbers[0], numbers[1], nil
}

// ParseStatus reads an adapter's answer to ++spoll.
func ParseStatus(text string) (byte, error) {
	n, err := strconv.ParseUint(strings.TrimSpace(text), 10, 8)
	if err != nil {
		return 0, fmt.Errorf("%q is no status byte; expected a number from 0 to 255", text)
	}
	return byte(n), nil
}

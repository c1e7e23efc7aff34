package wirelog

import (
	"errors"
	"strconv"
	"strings"
)

const hex = "0123456789abcdef"

// Quote writes bytes in quotes, exactly and in printing ASCII.
func Quote(b []byte) string {
	var s strings.Builder
	s.Grow(len(b) + 2)
	s.WriteByte('"')
	for _, c := range b {
		switch {
		case c == '"' || c == '\\':
			s.WriteByte('\\')
			s.WriteByte(c)
		case c == '\n':
			s.WriteString(`\n`)
		case c == '\r':
			s.WriteString(`\r`)
		case c == '\t':
			s.WriteString(`\t`)
		case c < 0x20 || c >= 0x7f:
			s.WriteString(`\x`)
			s.WriteByte(hex[c>>4])
			s.WriteByte(hex[c&15])
		default:
			s.WriteByte(c)
		}
	}
	s.WriteByte('"')
	return s.String()
}

// word writes a name plain where it can be, else in quotes.
func word(text string) string {
	plain := text != "" && text != "-"
	for i := range len(text) {
		plain = plain && text[i] > 0x20 && text[i] < 0x7f && text[i] != '"'
	}
	if plain {
		return text
	}
	return Quote([]byte(text))
}

// note writes a note, always in quotes. Unlike bytes it may hold any printing
// character, as messages of the program do.
func note(text string) string {
	return strconv.Quote(text)
}

var errQuotes = errors.New("the quotes do not end, or hold an escape that is none")

// next takes the first field off a line, quoted or plain.
func next(line string) (field, rest string, quoted bool, err error) {
	if strings.HasPrefix(line, `"`) {
		q, err := strconv.QuotedPrefix(line)
		if err != nil {
			return "", "", false, errQuotes
		}
		text, err := strconv.Unquote(q)
		if err != nil {
			return "", "", false, errQuotes
		}
		return text, line[len(q):], true, nil
	}
	end := strings.IndexByte(line, ' ')
	if end < 0 {
		end = len(line)
	}
	return line[:end], line[end:], false, nil
}

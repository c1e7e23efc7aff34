package record

import (
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/gowebpki/jcs"
)

// isCanonical tells in one pass, without making the canonical form, that a text is
// canonical JSON (RFC 8785). It says yes only where that is certain: what it does
// not know, such as member names beyond ASCII, is left to checkCanonical.
func isCanonical(text []byte) bool {
	c := canonicalReader{text: text}
	return len(text) > 0 && text[0] == '{' && c.value(0) && c.at == len(text)
}

// mostDeep bounds how values may lie within each other.
const mostDeep = 100

// canonicalReader reads a text; each method reads one thing, and tells whether it is there in
// canonical form.
type canonicalReader struct {
	text []byte
	at   int
}

func (c *canonicalReader) next() byte {
	if c.at < len(c.text) {
		return c.text[c.at]
	}
	return 0 // which stands nowhere in JSON
}

func (c *canonicalReader) take(b byte) bool {
	is := c.next() == b
	if is {
		c.at++
	}
	return is
}

func (c *canonicalReader) value(deep int) bool {
	switch b := c.next(); {
	case deep == mostDeep:
		return false
	case b == '{':
		return c.object(deep)
	case b == '[':
		return c.array(deep)
	case b == '"':
		_, ok := c.quoted()
		return ok
	case b == '-' || '0' <= b && b <= '9':
		return c.number()
	}
	for _, word := range []string{"true", "false", "null"} {
		if strings.HasPrefix(string(c.text[c.at:min(len(c.text), c.at+len(word))]), word) {
			c.at += len(word)
			return true
		}
	}
	return false
}

// object has its members by name: those of ASCII alone sort by bytes as they do by
// UTF-16.
func (c *canonicalReader) object(deep int) bool {
	c.at++
	if c.take('}') {
		return true
	}
	for before := ""; ; {
		name, ok := c.quoted()
		if !ok || !isPlain(name) || name <= before && before != "" || !c.take(':') || !c.value(deep+1) {
			return false
		}
		if c.take('}') {
			return true
		}
		if !c.take(',') || name == "" {
			return false
		}
		before = name
	}
}

func (c *canonicalReader) array(deep int) bool {
	c.at++
	if c.take(']') {
		return true
	}
	for {
		if !c.value(deep + 1) {
			return false
		}
		if c.take(']') {
			return true
		}
		if !c.take(',') {
			return false
		}
	}
}

// quoted reads a string and gives what stands between its quotes.
func (c *canonicalReader) quoted() (inside string, ok bool) {
	if !c.take('"') {
		return "", false
	}
	from, ascii := c.at, true
	for c.at < len(c.text) {
		switch b := c.text[c.at]; {
		case b == '"':
			raw := c.text[from:c.at]
			c.at++
			return string(raw), ascii || utf8.Valid(raw)
		case b == '\\':
			if !c.escape() {
				return "", false
			}
			continue
		case b < ' ':
			return "", false
		case b >= utf8.RuneSelf:
			ascii = false
		}
		c.at++
	}
	return "", false
}

// escape reads one of those that must be: the short one where there is one, else
// \u00 and two digits in lower case, for a control character.
func (c *canonicalReader) escape() bool {
	rest := c.text[c.at+1:]
	switch {
	case len(rest) > 0 && strings.IndexByte(`"\bfnrt`, rest[0]) >= 0:
		c.at += 2
		return true
	case len(rest) >= 5 && string(rest[:3]) == "u00" && (rest[3] == '0' || rest[3] == '1') && strings.IndexByte("0123456789abcdef", rest[4]) >= 0:
		short := rest[3] == '0' && strings.IndexByte("89acd", rest[4]) >= 0 // \b \t \n \f \r
		c.at += 6
		return !short
	}
	return false
}

// number reads one; a whole number of up to 15 digits is written as it is.
func (c *canonicalReader) number() bool {
	from := c.at
	c.take('-')
	first := c.at
	for '0' <= c.next() && c.next() <= '9' {
		c.at++
	}
	if b := c.next(); b != '.' && b != 'e' {
		n := c.at - first
		return n > 0 && n <= 15 && (c.text[first] != '0' || n == 1 && first == from)
	}
	for strings.IndexByte("0123456789.e+-", c.next()) >= 0 {
		c.at++
	}
	token := string(c.text[from:c.at])
	f, err := strconv.ParseFloat(token, 64)
	if err != nil {
		return false
	}
	canonical, err := jcs.NumberToJSON(f)
	return err == nil && canonical == token
}

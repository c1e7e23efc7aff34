package scpi

import (
	"fmt"
	"strconv"
	"strings"
)

// ErrorEntry is one entry of an instrument's error queue, the reply to
// SYSTem:ERRor? (SCPI-1999 volume 2 chapter 21).
type ErrorEntry struct {
	Code   int    // 0: the queue is empty; below 0: as the standard lists them; above: the maker's own
	Text   string // without quotes and detail
	Detail string // what comes after the first ';' of the text
	Raw    string // as it came
}

// Empty tells that the queue holds nothing.
func (e ErrorEntry) Empty() bool { return e.Code == 0 }

// String writes the entry as SCPI has it.
func (e ErrorEntry) String() string {
	text := e.Text
	if e.Detail != "" {
		text += ";" + e.Detail
	}
	return strconv.Itoa(e.Code) + "," + QuoteString(text)
}

// ParseErrorEntry reads an entry: a whole number from -32768 to 32767 (SCPI-1999
// volume 2 chapter 21, from memory), a comma, a text in quotes. Instruments leave
// out the quotes, or the text, and these are read as well. A number alone is no
// entry unless it is 0: it could be a reading that came late.
func ParseErrorEntry(reply []byte) (ErrorEntry, error) {
	e := ErrorEntry{Raw: string(reply)}
	head, text, comma := strings.Cut(trim(e.Raw), ",")
	code := trim(head)
	n, err := strconv.ParseInt(strings.TrimPrefix(code, "+"), 10, 32)
	if err != nil || strings.HasPrefix(code, "+-") || strings.HasPrefix(code, "++") {
		return ErrorEntry{}, fmt.Errorf("%s is no entry of an error queue: %s is no whole number; expected such as -113,\"Undefined header\"", show(e.Raw), show(code))
	}
	if n < -32768 || n > 32767 || !comma && n != 0 {
		return ErrorEntry{}, fmt.Errorf("%s is no entry of an error queue; expected a number from -32768 to 32767 and a text, such as -113,\"Undefined header\"", show(e.Raw))
	}
	e.Code = int(n)
	text = trim(text)
	if whole, err := ParseString([]byte(text)); err == nil {
		text = whole
	} else {
		text = trim(strings.Trim(text, `"`)) // one quote is missing
	}
	e.Text, e.Detail, _ = strings.Cut(text, ";")
	e.Text, e.Detail = trim(e.Text), trim(e.Detail)
	return e, nil
}

package scpi

import (
	"fmt"
	"strings"
)

// Identity is the reply to *IDN? (IEEE 488.2 clause 10.14): four fields. Bytes
// that are no printable ASCII stand as \x escapes in the fields.
type Identity struct {
	Maker, Model, Serial, Firmware string
	// Raw is the reply as it came.
	Raw string
	// Note says what was not as the standard has it, and how it was read; else
	// it is empty.
	Note string
}

// ParseIdentity reads an identity. It never fails: what an instrument says of
// itself is worth keeping in any form. Firmware that holds commas keeps them,
// because the standard's four fields end with it.
func ParseIdentity(reply []byte) Identity {
	id := Identity{Raw: string(reply)}
	var notes []string
	note := func(format string, args ...any) { notes = append(notes, fmt.Sprintf(format, args...)) }
	text := trim(id.Raw)
	if text == "" {
		id.Note = "the reply is empty"
		return id
	}
	if whole, err := ParseString([]byte(text)); err == nil {
		text = whole
		note("the whole reply is in quotes")
	}
	fields := strings.SplitN(text, ",", 4)
	if len(fields) < 4 {
		note("%d of 4 fields came", len(fields))
	} else if strings.Contains(fields[3], ",") {
		note("more than 4 fields came; all from the fourth on are the firmware")
	}
	for i, into := range []*string{&id.Maker, &id.Model, &id.Serial, &id.Firmware} {
		if i < len(fields) {
			*into = printable(trim(fields[i]))
		}
	}
	if printable(text) != text {
		note("bytes that are no printable ASCII are shown as escapes")
	}
	id.Note = strings.Join(notes, "; ")
	return id
}

// printable replaces each byte that is no printable ASCII. A backslash stays,
// so the text can't be read back; Raw is for that.
func printable(text string) string {
	var b strings.Builder
	for i := range len(text) {
		if c := text[i]; c < ' ' || c > '~' {
			fmt.Fprintf(&b, `\x%02x`, c)
		} else {
			b.WriteByte(c)
		}
	}
	return b.String()
}

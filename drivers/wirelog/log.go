package wirelog

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"bandproof/drivers/link"
)

// Schema names the format and its version; it stands in the first line.
const Schema = "bandproof wire log 1"

// Lost is what the writer notes where it could not keep up: exchanges are
// missing here. Its address is empty.
const Lost link.Direction = "lost"

// stampForm is a time in UTC with microseconds.
const stampForm = "2006-01-02T15:04:05.000000Z"

// Instrument is the name that a bench gives to an address.
type Instrument struct {
	Name    string
	Address string // VISA resource name, in its canonical form
}

// Header is what stands before the exchanges.
type Header struct {
	Program     string    // program and version that wrote the log
	Begun       time.Time // UTC, to the microsecond
	Instruments []Instrument
}

// Log is a whole wire log.
type Log struct {
	Header
	Exchanges []link.Exchange
}

// ErrFormat is the kind of every error of Parse.
var ErrFormat = errors.New("no wire log")

// String is the log as text. Times are cut to microseconds.
func (l Log) String() string {
	var b strings.Builder
	b.WriteString(l.Header.String())
	for _, e := range l.Exchanges {
		b.Write(appendLine(nil, e))
	}
	return b.String()
}

// String is the header's lines.
func (h Header) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "# %s\n# program: %s\n# begun: %s\n", Schema, oneLine(h.Program), stamp(h.Begun))
	for _, i := range h.Instruments {
		fmt.Fprintf(&b, "# instrument: %s %s\n", word(i.Name), word(i.Address))
	}
	return b.String()
}

func stamp(t time.Time) string { return t.UTC().Format(stampForm) }

func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// appendLine writes one exchange.
func appendLine(b []byte, e link.Exchange) []byte {
	b = append(b, stamp(e.At)...)
	b = append(b, ' ')
	b = append(b, word(e.Address)...)
	b = append(b, ' ')
	b = append(b, e.Direction...)
	b = append(b, ' ')
	if e.Direction.CarriesBytes() || len(e.Bytes) > 0 {
		b = append(b, Quote(e.Bytes)...)
	} else {
		b = append(b, '-')
	}
	if e.Note != "" {
		b = append(b, ' ')
		b = append(b, note(e.Note)...)
	}
	return append(b, '\n')
}

// Parse reads a wire log. An error is of kind ErrFormat and names file and
// line; what stands before that line is returned, because a program that was
// killed may have left half a line.
func Parse(file string, text []byte) (Log, error) {
	var l Log
	lines := strings.Split(string(text), "\n")
	ends := lines[len(lines)-1] == ""
	if ends {
		lines = lines[:len(lines)-1]
	}
	in := header
	for k, line := range lines {
		line = strings.TrimSuffix(line, "\r") // a mail program may have put it there
		err := error(nil)
		if in, err = l.take(in, k, line); err != nil {
			if k == len(lines)-1 && !ends {
				err = fmt.Errorf("%w; the file ends within this line", err)
			}
			return l, fmt.Errorf("%s:%d: %w: %w", file, k+1, ErrFormat, err)
		}
	}
	if l.Begun.IsZero() {
		return l, fmt.Errorf("%s: %w: expected %q and \"# begun: …\" at its head", file, ErrFormat, "# "+Schema)
	}
	return l, nil
}

// part of a log that a line belongs to.
type part int

const (
	header part = iota
	body
)

// take reads one line.
func (l *Log) take(in part, k int, line string) (part, error) {
	text, isHeader := strings.CutPrefix(line, "# ")
	switch {
	case k == 0 && !(isHeader && text == Schema):
		return in, fmt.Errorf("expected %q, as the first line of a wire log of this version", "# "+Schema)
	case k == 0:
		return header, nil
	case isHeader && in == header:
		return header, l.Header.take(k, text)
	case k < 3:
		return in, errors.New(`expected "# program: …", then "# begun: …"`)
	}
	e, err := parseLine(line)
	if err != nil {
		return body, err
	}
	l.Exchanges = append(l.Exchanges, e)
	return body, nil
}

func (h *Header) take(k int, text string) error {
	key, value, ok := strings.Cut(text, ": ")
	switch {
	case !ok:
		return fmt.Errorf("%.40q: expected program, begun or instrument, with a colon and a value", text)
	case k == 1 && key == "program":
		if value != oneLine(value) {
			return errors.New("program: expected single spaces")
		}
		h.Program = value
	case k == 2 && key == "begun":
		at, err := parseStamp(value)
		if err != nil {
			return err
		}
		h.Begun = at
	case k > 2 && key == "instrument":
		return h.instrument(value)
	default:
		return fmt.Errorf("%.40q: expected program, begun, then instrument, each with a value", text)
	}
	return nil
}

func (h *Header) instrument(value string) error {
	name, rest, _, err := next(value)
	if err != nil {
		return err
	}
	address, rest2, _, err := next(strings.TrimPrefix(rest, " "))
	if err != nil {
		return err
	}
	if got := word(name) + " " + word(address); got != value || rest2 != "" {
		return fmt.Errorf("instrument: expected a name and an address, as %s", got)
	}
	h.Instruments = append(h.Instruments, Instrument{name, address})
	return nil
}

func parseStamp(text string) (time.Time, error) {
	at, err := time.Parse(stampForm, text)
	if err != nil || stamp(at) != text || at.IsZero() {
		return time.Time{}, fmt.Errorf("%.40q is no time; expected such as 2026-11-25T11:20:33.123456Z", text)
	}
	return at, nil
}

// parseLine reads one exchange.
func parseLine(line string) (link.Exchange, error) {
	var e link.Exchange
	at, rest, _ := strings.Cut(line, " ")
	var err error
	if e.At, err = parseStamp(at); err != nil {
		return e, err
	}
	if e.Address, rest, _, err = next(rest); err != nil {
		return e, fmt.Errorf("address: %w", err)
	}
	direction, rest, _ := strings.Cut(strings.TrimPrefix(rest, " "), " ")
	e.Direction = link.Direction(direction)
	if !slices.Contains(append(link.Directions(), Lost), e.Direction) {
		return e, fmt.Errorf("%.40q is nothing that happens to a link; expected sent, received, discarded, open …", direction)
	}
	text, rest, quoted, err := next(rest)
	if err != nil {
		return e, fmt.Errorf("bytes: %w", err)
	}
	if quoted {
		e.Bytes = []byte(text)
	}
	if rest != "" {
		if e.Note, _, _, err = next(strings.TrimPrefix(rest, " ")); err != nil {
			return e, fmt.Errorf("note: %w", err)
		}
	}
	if want := strings.TrimSuffix(string(appendLine(nil, e)), "\n"); want != line {
		return e, fmt.Errorf("is not in the one form that a log has; expected %.200s", want)
	}
	return e, nil
}

// Name is the instrument's name, or its address where it has none.
func (h Header) Name(address string) string {
	for _, i := range h.Instruments {
		if i.Address == address {
			return i.Name
		}
	}
	return address
}

// Addresses lists the addresses that something happened at, in order of
// appearance.
func (l Log) Addresses() []string {
	var list []string
	for _, e := range l.Exchanges {
		if e.Direction != Lost && !slices.Contains(list, e.Address) {
			list = append(list, e.Address)
		}
	}
	return list
}

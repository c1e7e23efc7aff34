package sheet

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"strings"

	"github.com/mattn/go-runewidth"
)

// How wide plain text is at most, unless chosen, and what may be chosen.
const (
	textColumns               = 100
	LeastColumns, MostColumns = 40, 1000
)

// textWriter writes a document as plain text for mail and terminals: UTF-8, no
// line wider than columns, no tabs, no blanks at line ends.
type textWriter struct {
	out     *bufio.Writer
	doc     *document
	columns int
	blank   bool // the last line was empty
	err     error
}

// Columns chooses how wide [Sheet.Text] is at most.
func (s *Sheet) Columns(n int) (*Sheet, error) {
	if n < LeastColumns || n > MostColumns {
		return nil, fmt.Errorf("text of %d columns; expected %d to %d", n, LeastColumns, MostColumns)
	}
	c := *s
	c.columns = n
	return &c, nil
}

// Text writes the sheet as plain text, at most 100 columns wide unless [Sheet.Columns]
// says otherwise. Wide tables are split into groups of columns, each with the
// first column repeated.
func (s *Sheet) Text(out io.Writer) error { return s.build().text(out, cmp.Or(s.columns, textColumns)) }

func (d *document) text(out io.Writer, columns int) error {
	w := &textWriter{out: bufio.NewWriter(out), doc: d, columns: columns, blank: true}
	w.begin()
	for _, b := range d.Blocks {
		w.block(b)
	}
	w.gap()
	w.banner(d.End, "=")
	if w.err == nil {
		w.err = w.out.Flush()
	}
	if w.err != nil {
		return fmt.Errorf("write data sheet as text: %w", w.err)
	}
	return nil
}

func (w *textWriter) begin() {
	for _, x := range append([]string{w.doc.Head.Name}, w.doc.Head.Lines...) {
		if x != "" {
			w.wrapped("", x)
		}
	}
	w.line(strings.Repeat("=", w.columns))
	w.wrapped("", w.doc.Title)
	w.wrapped("", w.doc.Records)
	for _, x := range []string{w.doc.Fingerprint, w.doc.Subject} {
		if x != "" {
			w.wrapped("", x)
		}
	}
	w.line(strings.Repeat("=", w.columns))
	if w.doc.Invented != "" {
		w.banner(w.doc.Invented, "*")
	}
}

// terminalWidth measures characters as terminals draw them, whatever the
// language of the machine (UAX 11: ambiguous ones are narrow).
var terminalWidth = &runewidth.Condition{}

// columnsOf is the width of a line on a terminal.
func columnsOf(s string) int {
	n := 0
	for _, r := range s {
		n += terminalWidth.RuneWidth(r)
	}
	return n
}

func (w *textWriter) wrap(s string, width int) []string {
	return breakLines(s, float64(max(width, 1)), func(r rune) float64 { return float64(terminalWidth.RuneWidth(r)) })
}

// plainSpaces puts usual spaces for the narrow and no-break ones, which few
// terminals draw right. Done last, so that nothing breaks there.
var plainSpaces = strings.NewReplacer("\u202f", " ", "\u00a0", " ")

// line writes one line.
func (w *textWriter) line(s string) {
	s = strings.TrimRight(plainSpaces.Replace(s), " ")
	w.blank = s == ""
	if w.err == nil {
		_, w.err = w.out.WriteString(s + "\n")
	}
}

// gap parts blocks by one empty line.
func (w *textWriter) gap() {
	if !w.blank {
		w.line("")
	}
}

// wrapped writes a text, its lines after the first indented as far as first is
// wide.
func (w *textWriter) wrapped(first, s string) {
	n := columnsOf(first)
	for _, l := range w.wrap(s, w.columns-n) {
		w.line(first + l)
		first = strings.Repeat(" ", n)
	}
}

// underlined writes a text with a line of the sign below it.
func (w *textWriter) underlined(s, sign string) {
	lines := w.wrap(oneLine(s), w.columns)
	most := 0
	for _, l := range lines {
		w.line(l)
		most = max(most, columnsOf(l))
	}
	w.line(strings.Repeat(sign, most))
}

// banner is a text in the middle of a line of signs, if there is room for them.
func (w *textWriter) banner(s, sign string) {
	if columnsOf(s)+4 > w.columns {
		w.wrapped("", s)
		return
	}
	w.line(centred(" "+s+" ", sign, w.columns))
}

// centred puts a text into the middle of a line of signs.
func centred(s, sign string, columns int) string {
	room := columns - columnsOf(s)
	if room < 2 {
		return strings.TrimSpace(s)
	}
	return strings.Repeat(sign, room/2) + s + strings.Repeat(sign, room-room/2)
}

// padded fills a text up to a width, on the left or the right.
func padded(s string, width int, right bool) string {
	room := strings.Repeat(" ", max(width-columnsOf(s), 0))
	if right {
		return room + s
	}
	return s + room
}

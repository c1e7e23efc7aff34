package imported

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"
)

// ErrFile is wrapped by every error of [Parse].
var ErrFile = errors.New("results can't be imported")

// Bounds on a file, far beyond what a unit has results.
const (
	mostBytes    = 16 << 20
	mostLines    = 100_000
	mostMistakes = 30 // that are told at once
)

// Options say how the file is written; what is empty is found out.
type Options struct {
	Separator string // "," or ";"
	Decimal   string // "point" or "comma"
	// Today is the last day that a result may be of.
	Today time.Time
}

// Parse reads a CSV file (RFC 4180, UTF-8 with or without a byte order mark; a
// semicolon may stand for the comma, and a line feed alone may end a line) whose
// first line names the columns. Every mistake is told with its line and column,
// and a file with a mistake gives no result.
func Parse(name string, text []byte, o Options) (File, error) {
	f := File{Name: name, SHA256: sum(text), Text: string(text)}
	rows, err := f.rows(text, o)
	if err == nil {
		err = f.read(rows, o)
	}
	if err != nil {
		return File{}, err
	}
	return f, nil
}

// row is one line of fields with the line that it begins in.
type row struct {
	line   int
	fields []string
}

func (f *File) wrong(line int, column, format string, args ...any) error {
	at := fmt.Sprintf("%s, line %d", f.Name, line)
	if column != "" {
		at += ", column " + column
	}
	return fmt.Errorf("%w: %s: %s", ErrFile, at, fmt.Sprintf(format, args...))
}

// rows takes the file apart.
func (f *File) rows(text []byte, o Options) ([]row, error) {
	switch {
	case len(text) > mostBytes:
		return nil, f.wrong(1, "", "the file has %d bytes; expected at most %d", len(text), mostBytes)
	case bytes.HasPrefix(text, []byte{0xFF, 0xFE}), bytes.HasPrefix(text, []byte{0xFE, 0xFF}):
		return nil, f.wrong(1, "", "the file is UTF-16; save it as UTF-8")
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if !utf8.Valid(text) {
		return nil, f.wrong(notUTF8(text), "", "not UTF-8; save the file as UTF-8")
	}
	first, _, _ := bytes.Cut(text, []byte("\n"))
	f.Separator = o.Separator
	if f.Separator == "" {
		f.Separator = ","
		if bytes.Count(first, []byte(";")) > bytes.Count(first, []byte(",")) {
			f.Separator = ";"
		}
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.Comma, r.ReuseRecord = rune(f.Separator[0]), false
	var list []row
	for {
		begins := r.InputOffset()
		fields, err := r.Read()
		if blank := bytes.HasPrefix(text[begins:], []byte("\n")) || bytes.HasPrefix(text[begins:], []byte("\r\n")); blank {
			return nil, f.wrong(1+bytes.Count(text[:begins], []byte("\n")), "", "the line is empty; take it out")
		}
		if errors.Is(err, io.EOF) {
			return list, nil
		}
		if err != nil {
			return nil, f.syntax(err, list)
		}
		line, _ := r.FieldPos(0)
		if list = append(list, row{line, fields}); len(list) > mostLines {
			return nil, f.wrong(line, "", "more than %d lines", mostLines)
		}
	}
}

func notUTF8(text []byte) int {
	line := 1
	for len(text) > 0 {
		c, n := utf8.DecodeRune(text)
		if c == utf8.RuneError && n == 1 {
			break
		}
		if c == '\n' {
			line++
		}
		text = text[n:]
	}
	return line
}

// syntax says what is wrong with the form of the file.
func (f *File) syntax(err error, before []row) error {
	var p *csv.ParseError
	if !errors.As(err, &p) {
		return fmt.Errorf("%w: %s: %w", ErrFile, f.Name, err)
	}
	what := p.Err.Error()
	switch {
	case errors.Is(p.Err, csv.ErrFieldCount):
		what = fmt.Sprintf("has another number of fields than the first line, which has %d parted by %q", len(before[0].fields), f.Separator)
	case errors.Is(p.Err, csv.ErrBareQuote):
		what = "a quote stands within a field; put the field in quotes and write the quote twice"
	case errors.Is(p.Err, csv.ErrQuote):
		what = "a quoted field does not end, or something follows its end; a quote within it is written twice"
	}
	return f.wrong(p.StartLine, "", "%s", what)
}

// decimal finds out whether numbers have a decimal comma.
func (f *File) decimal(rows []row, at map[string]int, o Options) error {
	if f.Decimal = o.Decimal; f.Decimal != "" {
		return nil
	}
	f.Decimal = "point"
	comma, point := 0, 0 // the first lines that have one
	for _, r := range rows {
		for _, name := range numbers {
			k, ok := at[name]
			if !ok {
				continue
			}
			if strings.Contains(r.fields[k], ",") && comma == 0 {
				comma = r.line
			}
			if strings.Contains(r.fields[k], ".") && point == 0 {
				point = r.line
			}
		}
	}
	switch {
	case comma > 0 && point > 0:
		return f.wrong(max(comma, point), "", "numbers have a comma in line %d and a point in line %d; say which is the decimal mark (--decimal), and leave out marks of thousands", comma, point)
	case comma > 0:
		f.Decimal = "comma"
	}
	return nil
}

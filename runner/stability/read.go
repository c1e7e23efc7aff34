package stability

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// GapWord marks a missing value in a file, in any case of letters.
const GapWord = "NaN"

// Format says how a file of values is read. Nothing is guessed: without Column
// there is one value a line and no header.
type Format struct {
	Column string // name of the column of a CSV file with a header; empty: one value a line
	Gap    string // a further text that marks a missing value, or empty
}

// overRange is where the markers of SCPI-1999 for infinity and not a number
// begin (9.9E37, 9.91E37; from memory).
const overRange = 9.9e37

// Read reads the values of a file. An error names the line and what would be
// right; blank lines are allowed at the end only.
func Read(r io.Reader, f Format) ([]float64, error) {
	b := bufio.NewReaderSize(r, 1<<16)
	if mark, err := b.Peek(3); err == nil && string(mark) == "\uFEFF" {
		_, _ = b.Discard(3)
	}
	if f.Column != "" {
		return f.readColumn(b)
	}
	return f.readLines(b)
}

func (f Format) readLines(r io.Reader) ([]float64, error) {
	var values []float64
	s := bufio.NewScanner(r)
	s.Buffer(make([]byte, 0, 1<<12), 1<<16)
	line, blank := 0, 0
	for s.Scan() {
		line++
		text := strings.TrimSpace(s.Text())
		if text == "" && f.Gap == "" {
			if blank == 0 {
				blank = line
			}
			continue
		}
		if blank > 0 {
			return nil, fmt.Errorf("line %d is empty; expected a number, or %s for a missing value", blank, GapWord)
		}
		v, err := f.value(text)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		values = append(values, v)
	}
	if err := s.Err(); errors.Is(err, bufio.ErrTooLong) {
		return nil, fmt.Errorf("line %d is too long; expected one number a line", line+1)
	} else if err != nil {
		return nil, fmt.Errorf("line %d: %w", line+1, err)
	}
	if len(values) == 0 {
		return nil, errors.New("there are no values; expected one number a line")
	}
	return values, nil
}

func (f Format) readColumn(r io.Reader) ([]float64, error) {
	c := csv.NewReader(r)
	c.ReuseRecord = true
	header, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("line 1: there is no header; expected a line with the names of the columns")
	} else if err != nil {
		return nil, csvMistake(err)
	}
	column, err := f.find(header)
	if err != nil {
		line, _ := c.FieldPos(0)
		return nil, fmt.Errorf("line %d: %w", line, err)
	}
	expected := nextLine(c, header)
	var values []float64
	for {
		record, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, csvMistake(err)
		}
		if line, _ := c.FieldPos(0); line > expected { // the csv reader skips empty lines
			return nil, fmt.Errorf("line %d is empty; expected %d columns", expected, len(header))
		}
		v, err := f.value(strings.TrimSpace(record[column]))
		if err != nil {
			line, _ := c.FieldPos(column)
			return nil, fmt.Errorf("line %d, column %q: %w", line, f.Column, err)
		}
		values = append(values, v)
		expected = nextLine(c, record)
	}
	if len(values) == 0 {
		return nil, fmt.Errorf("column %q has no values; expected lines after the header", f.Column)
	}
	return values, nil
}

// nextLine is where the record after this one has to begin.
func nextLine(c *csv.Reader, record []string) int {
	last := len(record) - 1
	line, _ := c.FieldPos(last)
	return line + strings.Count(record[last], "\n") + 1
}

func (f Format) find(header []string) (int, error) {
	at := -1
	names := make([]string, len(header))
	for k, name := range header {
		name = strings.TrimSpace(name)
		names[k] = strconv.Quote(clip(name))
		if name != f.Column {
			continue
		}
		if at >= 0 {
			return 0, fmt.Errorf("column %q stands in the header twice; expected it once", f.Column)
		}
		at = k
	}
	if at < 0 {
		if len(names) > 20 {
			names = append(names[:20], "…")
		}
		return 0, fmt.Errorf("there is no column %q; the header has %s", f.Column, strings.Join(names, ", "))
	}
	return at, nil
}

// csvMistake words an error of the csv reader like ours.
func csvMistake(err error) error {
	var p *csv.ParseError
	if !errors.As(err, &p) {
		return err
	}
	if errors.Is(p.Err, csv.ErrFieldCount) {
		return fmt.Errorf("line %d has more or fewer columns than the header", p.Line)
	}
	return fmt.Errorf("line %d: %w", p.Line, p.Err)
}

// value reads one number: plain decimal, with or without exponent.
func (f Format) value(text string) (float64, error) {
	if strings.EqualFold(text, GapWord) || f.Gap != "" && text == strings.TrimSpace(f.Gap) {
		return math.NaN(), nil
	}
	number := strings.Replace(text, "\u2212", "-", 1) // minus sign, as our own print uses
	v, err := strconv.ParseFloat(number, 64)
	plain := !strings.ContainsFunc(number, func(r rune) bool { return !strings.ContainsRune("+-.0123456789eE", r) })
	switch {
	case !plain || errors.Is(err, strconv.ErrSyntax):
		return 0, fmt.Errorf("%s is not a number; expected one such as 10000000.25 or 1.5e-11, or %s for a missing value", shown(text), GapWord)
	case err != nil:
		return 0, fmt.Errorf("%s is out of range", shown(text))
	case math.Abs(v) >= overRange:
		return 0, fmt.Errorf("%s marks an over-range or no number in replies of instruments; to read it as a missing value state it as the gap mark", shown(text))
	}
	return v, nil
}

func shown(text string) string {
	if text == "" {
		return "nothing"
	}
	return strconv.Quote(clip(text))
}

// clip keeps what is shown of a line short and printable.
func clip(s string) string {
	const most = 40
	s = strings.Map(func(r rune) rune {
		if r == utf8.RuneError || unicode.IsControl(r) {
			return '?'
		}
		return r
	}, s)
	if r := []rune(s); len(r) > most {
		return string(slices.Clip(r[:most])) + "…"
	}
	return s
}

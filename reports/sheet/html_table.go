package sheet

import (
	"strings"
	"unicode/utf8"
)

// htmlSpan is a stretch of columns with one heading above theirs, or none.
type htmlSpan struct {
	Group string
	Of    int
}

type htmlColumn struct{ Head, Class string }

// htmlCell is a cell as the template takes it. Pad is what the number lacks
// after its decimal point to stand in line with the others; it is shown as
// empty room and is no text.
type htmlCell struct {
	Text, Class, Pad string
	Auto             bool // words, whose direction of writing may differ
}

// markClass is how the style sheet names marks.
var markClass = map[mark]string{plain: "", failed: "failed", conditional: "conditional", notJudged: "unjudged"}

var alignClass = map[align]string{left: "", right: "r", point: "p"}

// manyColumns is from where on a table is printed in small type.
const manyColumns = 11

func (w *htmlWriter) table(t *table) error {
	head := struct {
		ID, Title     string
		Wide, Grouped bool
		Spans         []htmlSpan
		Columns       []htmlColumn
	}{ID: w.id(), Title: t.Title, Wide: len(t.Columns) >= manyColumns}
	for k, c := range t.Columns {
		head.Columns = append(head.Columns, htmlColumn{c.Head, alignClass[c.Align]})
		head.Grouped = head.Grouped || c.Group != ""
		if n := len(head.Spans); k > 0 && head.Spans[n-1].Group == c.Group {
			head.Spans[n-1].Of++
			continue
		}
		head.Spans = append(head.Spans, htmlSpan{c.Group, 1})
	}
	if err := w.put("table", head); err != nil {
		return err
	}
	parts := w.longestParts(t)
	row := make([]htmlCell, len(t.Columns))
	for _, r := range t.Rows {
		for k := range row {
			row[k] = htmlCell{}
			if k < len(r) {
				row[k] = w.cell(r[k], t.Columns[k].Align, parts[k])
			}
		}
		if err := w.put("row", row); err != nil {
			return err
		}
	}
	return w.put("table-end", t)
}

func (w *htmlWriter) cell(c cell, a align, longest string) htmlCell {
	out := htmlCell{Text: c.Text, Auto: a == left && c.Text != ""}
	classes := []string{alignClass[a], markClass[c.Mark]}
	switch {
	case breaks(c.Text, a):
		classes = append(classes, "long")
	case a == point:
		_, part := w.doc.style.split(c.Text)
		out.Pad = padding(part, longest)
	case a == left && len(c.Text) > wordyLeast:
		classes = append(classes, "wordy")
	case a == left && len(c.Text) <= wholeMost && strings.ContainsAny(c.Text, "-/"):
		classes = append(classes, "whole")
	}
	out.Class = join(" ", classes...)
	return out
}

// wholeMost is the length up to which a text with hyphens, such as the id of a
// point or a date, stays on one line; wordyLeast that from which on words get
// room, so that they aren't set one below the other.
const (
	wholeMost  = 14
	wordyLeast = 24
)

// breaks tells whether a cell must be broken so that the table keeps its shape.
func breaks(s string, a align) bool {
	const longWord, longNumber = 30, 40
	if a != left {
		return len(s) > longNumber && utf8.RuneCountInString(s) > longNumber
	}
	if len(s) <= longWord {
		return false
	}
	for word := range strings.FieldsFuncSeq(s, breaking) {
		if utf8.RuneCountInString(word) > longWord {
			return true
		}
	}
	return false
}

// longestParts gives for each column on the point the longest text from the
// point on.
func (w *htmlWriter) longestParts(t *table) []string {
	parts := make([]string, len(t.Columns))
	for k, c := range t.Columns {
		if c.Align != point {
			continue
		}
		for _, r := range t.Rows {
			if k >= len(r) || breaks(r[k].Text, point) {
				continue
			}
			if _, part := w.doc.style.split(r[k].Text); utf8.RuneCountInString(part) > utf8.RuneCountInString(parts[k]) {
				parts[k] = part
			}
		}
	}
	return parts
}

// padding is what part lacks to the longest one.
func padding(part, longest string) string {
	n := utf8.RuneCountInString(part)
	for k := range longest {
		if n == 0 {
			return longest[k:]
		}
		n--
	}
	return ""
}

package sheet

import (
	"fmt"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"github.com/xuri/excelize/v2"
)

// xlsxFont is what cells are written in: it has the widths of the fonts that
// texts are measured with, and wherever it is missing there is another such.
const xlsxFont = "Arial"

// look is how a cell looks. It tells verdicts apart without colour.
type look struct {
	Size   float64
	Bold   bool
	Align  align
	Middle bool // centred
	Wrap   bool
	Format string // of a number; "" for text
	Mark   mark
	Box    bool  // a cell of a table
	Head   bool  // of a table's headings
	First  bool  // begins a group of columns
	Frame  edges // of a notice
	Top    bool  // a rule above
	Fill   int   // grey, 0 for none
}

// edges are where a frame has a line.
type edges int

const (
	sides edges = 1 << iota
	above
	below
)

// faceSet measures texts.
type faceSet struct{ regular, bold *face }

func newFaces() (f faceSet, err error) {
	if f.regular, err = newFace("", liberationsansregular.TTF); err != nil {
		return f, err
	}
	f.bold, err = newFace("B", liberationsansbold.TTF)
	return f, err
}

func (f faceSet) of(bold bool) *face {
	if bold {
		return f.bold
	}
	return f.regular
}

// greys of marked cells, as in the PDF, and their borders: dashes and dots, so
// that they differ on any printer.
var (
	markGrey   = map[mark]int{failed: 212, conditional: 228, notJudged: 240}
	markBorder = map[mark]int{failed: borderMedium, conditional: borderDashed, notJudged: borderDotted}
)

// Styles of borders by the library's numbers.
const (
	borderThin   = 1
	borderMedium = 2
	borderDashed = 3
	borderDotted = 4
	borderHair   = 7
)

// style is the number of a look in the workbook.
func (b *book) style(l look) (int, error) {
	if id, ok := b.looks[l]; ok {
		return id, nil
	}
	s := &excelize.Style{Font: &excelize.Font{Family: xlsxFont, Size: l.Size, Bold: l.Bold || l.Mark != plain},
		Alignment: &excelize.Alignment{Vertical: "top", WrapText: l.Wrap, Horizontal: "left"}}
	if l.Align != left {
		s.Alignment.Horizontal = "right"
	}
	if l.Align == left && (l.Box || l.Head) && !l.Middle {
		s.Alignment.Indent = 1
	}
	if l.Middle {
		s.Alignment.Horizontal = "center"
	}
	if l.Head {
		s.Alignment.Vertical = "bottom"
	}
	if l.Format != "" {
		s.CustomNumFmt = &l.Format
	} else {
		s.NumFmt = textFormat
	}
	if grey := max(l.Fill, markGrey[l.Mark]); grey > 0 {
		s.Fill = excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{fmt.Sprintf("#%02X%02[1]X%02[1]X", grey)}}
	}
	s.Border = l.borders()
	id, err := b.file.NewStyle(s)
	if err != nil {
		return 0, err
	}
	b.looks[l] = id
	return id, nil
}

// textFormat makes a cell text that stays text when somebody edits it
// (ISO/IEC 29500-1, 18.8.30 numFmt, id 49).
const textFormat = 49

func (l look) borders() []excelize.Border {
	lines := map[string]int{}
	all := func(style int) {
		for _, side := range []string{"left", "right", "top", "bottom"} {
			lines[side] = style
		}
	}
	switch {
	case l.Mark != plain:
		all(markBorder[l.Mark])
	case l.Head:
		all(borderThin)
	case l.Box:
		all(borderHair)
	case l.Frame != 0:
		sidesOf := map[edges][]string{sides: {"left", "right"}, above: {"top"}, below: {"bottom"}}
		for edge, names := range sidesOf {
			for _, side := range names {
				if l.Frame&edge != 0 {
					lines[side] = borderThin
				}
			}
		}
	case l.Top:
		lines["top"] = borderThin
	}
	if l.First && l.Mark == plain {
		lines["left"] = borderMedium
	}
	var list []excelize.Border
	for _, side := range []string{"left", "right", "top", "bottom"} {
		if lines[side] > 0 {
			list = append(list, excelize.Border{Type: side, Style: lines[side], Color: "#000000"})
		}
	}
	return list
}

// cellOf is what a cell of a table holds, with its look: a number where that
// loses nothing, else text.
func (l look) cellOf(c cell, a align, s numberStyle) (any, look) {
	l.Align, l.Mark = a, c.Mark
	if a != left {
		if n, ok := s.numberOf(c.Text); ok {
			l.Format, l.Wrap = n.format(), false
			return n.value, l
		}
	}
	if c.Text == "" {
		return nil, l
	}
	return c.Text, l
}

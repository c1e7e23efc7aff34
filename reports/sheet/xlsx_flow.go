package sheet

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

// A worksheet of running content has so many narrow columns of one width, which
// its blocks span as they need.
const (
	flowColumns = 36
	flowColumn  = 3.4  // in characters of the standard font
	flowUnit    = 21.0 // the same in points
	flowSize    = 9.0  // of text
	flowLine    = 12.0 // of its lines
	// mostLines is what a row of the greatest height there is (409 points) holds.
	mostLines = 32
)

// flow is a worksheet of running content, kept until it is written: blocks are
// few, however many points there are.
type flow struct {
	book     *book
	name     string
	rows     []flowRow
	pictures []flowPicture
}

type flowRow struct {
	height float64
	cells  []flowCell
	keep   bool // on one page with the next
}

// flowCell stands at column at, counted from 0, and spans so many.
type flowCell struct {
	at, span int
	value    any
	look     look
}

func (b *book) newFlow(tab string) error {
	name, err := b.newSheet(tab, false)
	b.flow = &flow{book: b, name: name}
	return err
}

func (f *flow) add(height float64, cells ...flowCell) {
	f.rows = append(f.rows, flowRow{height: height, cells: cells})
}

func (f *flow) gap(height float64) {
	if len(f.rows) > 0 {
		f.add(height)
	}
}

// stick keeps the row that was added last on one page with the next.
func (f *flow) stick() {
	if n := len(f.rows); n > 0 {
		f.rows[n-1].keep = true
	}
}

// lines is how many lines a text takes over so many columns.
func (f *flow) lines(s string, span int, l look) int {
	width := float64(span)*flowUnit - 6
	return len(f.book.faces.of(l.Bold || l.Mark != plain).wrap(s, max(width*0.97, 1), l.Size))
}

// text writes a text over columns at … at+span, on as many rows as it needs.
func (f *flow) text(at, span int, s string, l look) {
	l.Wrap = true
	line := max(l.Size*flowLine/flowSize, 1)
	for _, part := range f.pieces(s, span, l) {
		f.add(float64(f.lines(part, span, l))*line+1, flowCell{at, span, part, l})
	}
}

// pieces cuts a text where a row can't hold it; together they are the text.
func (f *flow) pieces(s string, span int, l look) []string {
	if f.lines(s, span, l) <= mostLines {
		return []string{s}
	}
	runes := []rune(s)
	n := len(runes) / 2
	for k := n; k > max(n-200, 0); k-- {
		if runes[k] == ' ' || runes[k] == '\n' {
			n = k + 1
			break
		}
	}
	if n == 0 || n == len(runes) {
		return []string{s}
	}
	return append(f.pieces(string(runes[:n]), span, l), f.pieces(string(runes[n:]), span, l)...)
}

// title is the top of the first worksheet.
func (f *flow) title(d *document) {
	f.letterhead(d.Head)
	f.text(0, flowColumns, d.Title, look{Size: 16, Bold: true})
	if d.Invented != "" {
		f.text(0, flowColumns, d.Invented, look{Size: 10, Bold: true, Middle: true, Fill: 225, Frame: sides | above | below})
	}
}

// letterhead has the logo on the right, over rows of its own.
func (f *flow) letterhead(h letterhead) {
	const logoColumns = 8
	span := flowColumns
	if h.Logo != nil {
		width, height := h.Logo.fitted()
		span -= logoColumns + 1
		f.pictures = append(f.pictures, flowPicture{len(f.rows), flowColumns - logoColumns, h.Logo.PNG, h.Logo.Width, width, h.Name})
		defer func(first int) {
			for _, r := range f.rows[first:] {
				height -= r.height
			}
			if height > 0 {
				f.add(height)
			}
		}(len(f.rows))
	}
	if h.Name != "" {
		f.text(0, span, h.Name, look{Size: 12, Bold: true})
	}
	for _, l := range h.Lines {
		f.text(0, span, l, look{Size: flowSize})
	}
}

// end is the mark below which nothing follows.
func (f *flow) end(mark string) {
	f.gap(flowLine)
	f.stick()
	f.text(0, flowColumns, mark, look{Size: flowSize, Bold: true, Middle: true, Top: true})
}

func (f *flow) heading(h *heading) {
	size := 13.0
	if h.Level > 1 {
		size = 10
	}
	f.gap(flowLine)
	f.stick()
	f.text(0, flowColumns, oneLine(h.Text), look{Size: size, Bold: true})
	f.stick()
}

func (f *flow) paragraph(p *paragraph) {
	f.gap(4)
	if p.Label != "" {
		f.stick()
		f.text(0, flowColumns, p.Label, look{Size: flowSize, Bold: true})
		f.stick()
	}
	f.text(0, flowColumns, p.Text, look{Size: flowSize})
}

func (f *flow) notice(n *notice) {
	l := look{Size: flowSize, Frame: sides}
	if n.Alert {
		l.Fill = 235
	}
	f.gap(6)
	f.stick()
	head := l
	head.Size, head.Bold, head.Frame = 11, true, sides|above
	if len(n.Lines) == 0 {
		head.Frame |= below
	}
	f.text(0, flowColumns, n.Title, head)
	for k, x := range n.Lines {
		if k == len(n.Lines)-1 {
			l.Frame |= below
		}
		if k == 0 || k == len(n.Lines)-1 || len(n.Lines) <= 6 {
			f.stick()
		}
		f.text(0, flowColumns, x, l)
	}
}

func (f *flow) notes(n *notes) {
	f.gap(4)
	if n.Title != "" {
		f.stick()
		f.text(0, flowColumns, n.Title, look{Size: flowSize, Bold: true})
		f.stick()
	}
	for _, x := range n.Lines {
		f.text(0, flowColumns, "– "+x, look{Size: flowSize})
	}
}

// grid sets keys above their values; a value too long for its place has the
// full width.
func (f *flow) grid(g *grid) {
	const most = 6
	span := flowColumns / max(g.Columns, 1)
	key, value := look{Size: 7.5, Bold: true}, look{Size: flowSize, Wrap: true}
	var keys, values []flowCell
	rows := 0
	flush := func() {
		if len(keys) > 0 {
			f.add(10, keys...)
			f.stick()
			f.add(float64(rows)*flowLine+3, values...)
		}
		keys, values, rows = nil, nil, 0
	}
	f.gap(4)
	for _, x := range g.Items {
		n := f.lines(x.Value, span-1, value)
		if n > most || f.lines(x.Key, span, key) > 1 {
			flush()
			f.text(0, flowColumns, x.Key, key)
			f.text(0, flowColumns, x.Value, value)
			continue
		}
		at := len(keys) * span
		keys = append(keys, flowCell{at, span, x.Key, key})
		values = append(values, flowCell{at, span - 1, x.Value, value})
		if rows = max(rows, n); len(keys) == max(g.Columns, 1) {
			flush()
		}
	}
	flush()
}

// signatures have a line each with room to write.
func (f *flow) signatures(s *signatures) {
	if len(s.Lines) == 0 {
		return
	}
	span := flowColumns / len(s.Lines)
	f.stick()
	f.add(34)
	f.stick()
	l := look{Size: flowSize, Top: true, Wrap: true}
	for k, x := range s.Lines {
		text := f.book.doc.colon(x.Key, x.Value) + "\n" + f.book.doc.say("date, signature")
		if len(s.Lines) > 4 || f.lines(text, span-1, l) > 4 {
			f.text(0, flowColumns, text, l)
			f.add(30)
			continue
		}
		cell := flowCell{k * span, span - 1, text, l}
		if k == 0 {
			f.add(4 * flowLine)
		}
		last := &f.rows[len(f.rows)-1]
		last.cells = append(last.cells, cell)
	}
}

// write puts the worksheet into the file.
func (f *flow) write() error {
	if err := f.book.pictures(f); err != nil {
		return err
	}
	hidden := false
	if err := f.book.file.SetSheetView(f.name, 0, &excelize.ViewOptions{ShowGridLines: &hidden}); err != nil {
		return err
	}
	if err := f.book.file.SetSheetDimension(f.name, "A1:"+cellName(flowColumns-1, max(len(f.rows)-1, 0))); err != nil {
		return err
	}
	w, err := f.book.file.NewStreamWriter(f.name)
	if err != nil {
		return err
	}
	if err := w.SetColWidth(1, flowColumns, flowColumn); err != nil {
		return err
	}
	breaks := f.breaks()
	for k, r := range f.rows {
		if slices.Contains(breaks, k) {
			if err := w.InsertPageBreak(cellName(0, k)); err != nil {
				return err
			}
		}
		if err := f.row(w, k, r); err != nil {
			return fmt.Errorf("worksheet %q, row %d: %w", f.name, k+1, err)
		}
	}
	return w.Flush()
}

func (f *flow) row(w *excelize.StreamWriter, k int, r flowRow) error {
	var values []any
	for _, c := range r.cells {
		id, err := f.book.style(c.look)
		if err != nil {
			return err
		}
		for len(values) < c.at+c.span {
			values = append(values, nil)
		}
		values[c.at] = excelize.Cell{StyleID: id, Value: c.value}
		for n := c.at + 1; n < c.at+c.span; n++ { // so that borders go all round
			values[n] = excelize.Cell{StyleID: id}
		}
		if c.span > 1 {
			if err := w.MergeCell(cellName(c.at, k), cellName(c.at+c.span-1, k)); err != nil {
				return err
			}
		}
	}
	return w.SetRow(cellName(0, k), values, excelize.RowOpts{Height: math.Min(math.Ceil(r.height*4)/4, excelize.MaxRowHeight)})
}

// cellName names a cell by column and row, both counted from 0. Numbers of rows
// and columns are checked where they grow.
func cellName(column, row int) string {
	var name strings.Builder
	letters := ""
	for n := column + 1; n > 0; n = (n - 1) / 26 {
		letters = string(rune('A'+(n-1)%26)) + letters
	}
	fmt.Fprint(&name, letters, row+1)
	return name.String()
}

package sheet

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

// Rows of a worksheet of a table, counted from 0.
const (
	tableTitle = 0
	tableGroup = 1
	tableHead  = 2
	tableFirst = 3
)

// table gives a table a worksheet of its own, and says in the running content
// where it is.
func (b *book) table(t *table) error {
	wanted := t.Tab
	if wanted == "" {
		wanted = b.flow.name
	}
	name, err := b.newSheet(wanted, true)
	if err != nil {
		return err
	}
	b.flow.gap(6)
	b.flow.stick()
	b.flow.text(0, flowColumns, t.Title+" → "+name, look{Size: flowSize, Bold: true})
	if err := b.tableSheet(name, t); err != nil {
		return fmt.Errorf("worksheet %q: %w", name, err)
	}
	return nil
}

func (b *book) tableSheet(name string, t *table) error {
	last := cellName(len(t.Columns)-1, tableHead+len(t.Rows))
	if n := tableFirst + len(t.Rows) + 3; n > excelize.TotalRows {
		return fmt.Errorf("%d rows, and a worksheet holds %d; write the data sheet as CSV", n, excelize.TotalRows)
	}
	if err := b.file.SetSheetDimension(name, "A1:"+last); err != nil {
		return err
	}
	if err := b.file.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Titles", RefersTo: fmt.Sprintf("%s!$1:$%d", quoted(name), tableHead+1), Scope: name}); err != nil {
		return err
	}
	if len(t.Rows) > 0 {
		if err := b.file.AutoFilter(name, cellName(0, tableHead)+":"+last, nil); err != nil {
			return err
		}
	}
	if err := b.fit(name); err != nil { // the filter has unset it
		return err
	}
	w, err := b.file.NewStreamWriter(name)
	if err != nil {
		return err
	}
	widths := b.widths(t)
	for k, x := range slices.Backward(widths) { // the library lists them backwards
		if err := w.SetColWidth(k+1, k+1, x); err != nil {
			return err
		}
	}
	if err := w.SetPanes(&excelize.Panes{Freeze: true, XSplit: 1, YSplit: tableFirst, TopLeftCell: cellName(1, tableFirst), ActivePane: "bottomRight"}); err != nil {
		return err
	}
	if err := b.tableHeads(w, t, widths); err != nil {
		return err
	}
	row := tableFirst
	for _, r := range t.Rows {
		if err := b.tableRow(w, t, row, r); err != nil {
			return err
		}
		row++
	}
	if err := b.tableLegend(w, t, widths, row+1); err != nil {
		return err
	}
	return w.Flush()
}

// Sizes of text in tables.
const tableSize = 9.0

// widths are those of the columns in characters of the standard font: a
// character is 7 pixels of 96 to the inch, and 5 pixels are between columns.
func (b *book) widths(t *table) []float64 {
	least, most := b.needs(t, tableSize)
	for k := range most {
		most[k] = math.Min(math.Round(math.Ceil(math.Max(least[k], most[k])/0.75-5)/7*100+30)/100, excelize.MaxColumnWidth)
		if t.Columns[k].Head == "" {
			most[k] = math.Max(most[k], 4) // flags, with room for the filter's button
		}
	}
	return most
}

func points(width float64) float64 { return (width*7 + 5) * 0.75 }

func (b *book) tableHeads(w *excelize.StreamWriter, t *table, widths []float64) error {
	title, err := b.style(look{Size: 11, Bold: true})
	if err != nil {
		return err
	}
	if err := w.SetRow(cellName(0, tableTitle), []any{excelize.Cell{StyleID: title, Value: t.Title}}, excelize.RowOpts{Height: 18}); err != nil {
		return err
	}
	groups, heads := make([]any, len(t.Columns)), make([]any, len(t.Columns))
	lines := 1
	for k, c := range t.Columns {
		l := look{Size: tableSize, Bold: true, Head: true, Wrap: true, Fill: 235, First: t.beginsGroup(k)}
		if c.Align != left {
			l.Align = right
		}
		id, err := b.style(l)
		if err != nil {
			return err
		}
		heads[k] = excelize.Cell{StyleID: id, Value: c.Head}
		lines = max(lines, len(b.faces.bold.wrap(c.Head, math.Max(points(widths[k])-18, 1), tableSize)))
		l.Middle, l.Wrap = true, false
		if id, err = b.style(l); err != nil {
			return err
		}
		groups[k] = excelize.Cell{StyleID: id}
		if t.beginsGroup(k) {
			groups[k] = excelize.Cell{StyleID: id, Value: c.Group}
			if end := t.groupEnd(k); end > k+1 {
				if err := w.MergeCell(cellName(k, tableGroup), cellName(end-1, tableGroup)); err != nil {
					return err
				}
			}
		}
	}
	if hasGroups(t) {
		if err := w.SetRow(cellName(0, tableGroup), groups); err != nil {
			return err
		}
	}
	return w.SetRow(cellName(0, tableHead), heads, excelize.RowOpts{Height: math.Min(float64(lines)*12+4, excelize.MaxRowHeight)})
}

func (b *book) tableRow(w *excelize.StreamWriter, t *table, row int, r []cell) error {
	values := make([]any, len(t.Columns))
	for k, c := range t.Columns {
		x := cellAt(r, k)
		l := look{Size: tableSize, Box: true, First: t.beginsGroup(k), Wrap: strings.Contains(x.Text, "\n") || c.Align == left}
		value, l := l.cellOf(x, c.Align, b.doc.style)
		if s, isText := value.(string); isText && units(s) > excelize.TotalCellChars {
			return fmt.Errorf("row %d: a text of %d characters, and a cell holds %d; write the data sheet as PDF", row+1, units(s), excelize.TotalCellChars)
		}
		id, err := b.style(l)
		if err != nil {
			return err
		}
		values[k] = excelize.Cell{StyleID: id, Value: value}
	}
	return w.SetRow(cellName(0, row), values)
}

// tableLegend stands below the table, over its columns.
func (b *book) tableLegend(w *excelize.StreamWriter, t *table, widths []float64, row int) error {
	if t.Legend == "" {
		return nil
	}
	id, err := b.style(look{Size: 8, Wrap: true})
	if err != nil {
		return err
	}
	width, last := 0.0, 0
	for k, x := range widths {
		if width < 700 {
			width, last = width+points(x), k
		}
	}
	lines := len(b.faces.regular.wrap(t.Legend, math.Max(width-8, 1), 8))
	if last > 0 {
		if err := w.MergeCell(cellName(0, row), cellName(last, row)); err != nil {
			return err
		}
	}
	return w.SetRow(cellName(0, row), []any{excelize.Cell{StyleID: id, Value: t.Legend}}, excelize.RowOpts{Height: math.Min(float64(lines)*11+4, excelize.MaxRowHeight)})
}

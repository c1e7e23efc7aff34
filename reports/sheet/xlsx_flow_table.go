package sheet

import "math"

// table sets a short table among running content; its columns span as many of
// the narrow ones as they need.
func (f *flow) table(t *table) {
	f.gap(6)
	f.stick()
	if t.Title != "" {
		f.text(0, flowColumns, t.Title, look{Size: flowSize, Bold: true})
		f.stick()
	}
	spans := f.spans(t)
	if hasGroups(t) {
		f.groupRow(t, spans)
		f.stick()
	}
	head := make([]cell, len(t.Columns))
	for k, c := range t.Columns {
		head[k] = cell{Text: c.Head}
	}
	f.tableRow(t, spans, head, look{Size: 8, Bold: true, Head: true, Wrap: true, Fill: 235})
	f.stick()
	for _, r := range t.Rows {
		f.tableRow(t, spans, r, look{Size: 8, Box: true, Wrap: true})
	}
	if t.Legend != "" {
		f.stick()
		f.text(0, flowColumns, t.Legend, look{Size: 7.5})
	}
}

func hasGroups(t *table) bool {
	for _, c := range t.Columns {
		if c.Group != "" {
			return true
		}
	}
	return false
}

// beginsGroup tells whether a group of columns begins at column k.
func (t *table) beginsGroup(k int) bool {
	return t.Columns[k].Group != "" && (k == 0 || t.Columns[k-1].Group != t.Columns[k].Group)
}

// groupEnd is the column after the group, or the columns without one, that
// begins at k.
func (t *table) groupEnd(k int) int {
	n := k + 1
	for n < len(t.Columns) && t.Columns[n].Group == t.Columns[k].Group {
		n++
	}
	return n
}

func (f *flow) groupRow(t *table, spans []int) {
	var cells []flowCell
	at := 0
	for k := 0; k < len(t.Columns); {
		end, span := t.groupEnd(k), 0
		for _, n := range spans[k:end] {
			span += n
		}
		cells = append(cells, flowCell{at, span, t.Columns[k].Group, look{Size: 8, Bold: true, Head: true, Middle: true, Fill: 235, First: t.beginsGroup(k)}})
		at, k = at+span, end
	}
	f.add(flowLine, cells...)
}

// tableRow sets one row; a text too long for one row goes on in those below.
func (f *flow) tableRow(t *table, spans []int, r []cell, l look) {
	parts := make([][]string, len(t.Columns))
	rows := 1
	for k := range t.Columns {
		l.Mark = cellAt(r, k).Mark
		parts[k] = f.pieces(cellAt(r, k).Text, spans[k], l)
		rows = max(rows, len(parts[k]))
	}
	for n := range rows {
		var cells []flowCell
		at, lines := 0, 1
		for k, c := range t.Columns {
			x := cell{Mark: cellAt(r, k).Mark}
			if n < len(parts[k]) {
				x.Text = parts[k][n]
			}
			a := c.Align
			if l.Head {
				a = left
			}
			value, kind := l.cellOf(x, a, f.book.doc.style)
			if l.Head && c.Align != left {
				kind.Align = right
			}
			kind.First = t.beginsGroup(k)
			cells = append(cells, flowCell{at, spans[k], value, kind})
			lines = max(lines, f.lines(x.Text, spans[k], kind))
			at += spans[k]
		}
		f.add(float64(lines)*l.Size*flowLine/flowSize+2, cells...)
	}
}

func cellAt(r []cell, k int) cell {
	if k < len(r) {
		return r[k]
	}
	return cell{}
}

// spans shares the narrow columns out among the table's: each gets what its
// longest word needs, and the rest goes where most text wraps.
func (f *flow) spans(t *table) []int {
	least, most := f.book.needs(t, 8)
	spans, left := make([]int, len(t.Columns)), flowColumns
	for k := range spans {
		spans[k] = 1
		left--
	}
	for ; left > 0; left-- {
		at, lack := -1, 0.0
		for _, needs := range [][]float64{least, most} {
			for k, w := range needs {
				if x := w / (float64(spans[k]) * flowUnit); x > 1 && x > lack {
					at, lack = k, x
				}
			}
			if at >= 0 {
				break
			}
		}
		if at < 0 {
			break
		}
		spans[at]++
	}
	return spans
}

// needs returns for each column the least width in points without odd breaks,
// and the width at which nothing wraps, both bounded.
func (b *book) needs(t *table, size float64) (least, most []float64) {
	const pad, indent, widestWord, widestCell = 7, 7, 110, 260
	least, most = make([]float64, len(t.Columns)), make([]float64, len(t.Columns))
	for k, c := range t.Columns {
		token := b.faces.bold.longestToken(c.Head, size)
		full := math.Min(b.faces.bold.width(c.Head, size), 60)
		for _, r := range t.Rows {
			x := cellAt(r, k)
			f := b.faces.of(x.Mark != plain)
			width := f.widest(x.Text, size)
			full = math.Max(full, math.Min(width, widestCell))
			if c.Align == left {
				width = math.Min(f.longestToken(x.Text, size), widestWord)
			}
			token = math.Max(token, math.Min(width, widestCell))
		}
		least[k], most[k] = token+pad, math.Max(token, full)+pad
		if c.Align == left {
			least[k], most[k] = least[k]+indent, most[k]+indent
		}
	}
	return least, most
}
